"""The age of films against their touch-up intervals, on both sides of every boundary."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.covers.rules.dates import add_months
from scheduling.covers.rules.exposure import RawDay
from scheduling.covers.rules.facts import CoverFacts
from scheduling.covers.rules.touch_ups import FilmStage, compute_film_ages, count_whole_months, judge_film
from scheduling.terms.rules.terms import SevereExposureTerms, Terms, TouchUpTerms
from treatments.enums import CorrosivityCategory, ProductFamily, TreatmentKind, ZoneKind
from treatments.records.rules.history import PlaceRecord, TreatmentRecord, VehicleHistory, ZoneLine

DAYS = st.dates(date(1990, 1, 1), date(2060, 12, 31))
WAX, FILM = ProductFamily.CAVITY_WAX, ProductFamily.PENETRATING_FILM
FACTS = CoverFacts("C1", date(2024, 1, 1), date(2024, 1, 1))
TERMS = Terms("t", 1, "t", touch_ups=(TouchUpTerms(interval_months=24, family=WAX),))


@given(first=DAYS, months=st.integers(0, 400))
def test_a_film_is_so_many_months_old_from_the_day_that_the_calendar_gives(first: date, months: int) -> None:
    day = add_months(first, months)
    assert count_whole_months(first, day) >= months
    if months:
        assert count_whole_months(first, day - timedelta(days=1)) < months


@given(first=DAYS, days=st.integers(0, 5000))
def test_the_months_counted_are_over_and_one_more_is_not(first: date, days: int) -> None:
    last = first + timedelta(days=days)
    months = count_whole_months(first, last)
    assert add_months(first, months) <= last < add_months(first, months + 1)


@pytest.mark.parametrize(
    ("day", "stage"),
    [
        (date(2024, 5, 31), FilmStage.FRESH),
        (date(2024, 11, 29), FilmStage.FRESH),
        (date(2024, 11, 30), FilmStage.AGEING),
        (date(2025, 5, 30), FilmStage.AGEING),
        (date(2025, 5, 31), FilmStage.DUE),
    ],
)
def test_half_of_the_interval_ages_a_film_and_all_of_it_makes_it_due(day: date, stage: FilmStage) -> None:
    assert judge_film(date(2024, 5, 31), RawDay(date(2025, 5, 31), 12, ""), day) is stage
    assert judge_film(date(2024, 5, 31), None, day) is FilmStage.NO_INTERVAL


def coat(record: str, day: date, *lines: tuple[str, ProductFamily], amends: str | None = None) -> TreatmentRecord:
    made = tuple(
        ZoneLine(zone, zone, ZoneKind.ENCLOSED_CAVITY, family, f"{family} of a test") for zone, family in lines
    )
    return TreatmentRecord(record, day, TreatmentKind.FIRST_TREATMENT, made, amends=amends)


def test_the_film_that_is_due_first_speaks_for_its_zone() -> None:
    history = VehicleHistory(
        treatments=(
            coat("1", date(2024, 1, 10), ("rocker", WAX), ("door", FILM), ("sill", WAX)),
            coat("2", date(2025, 1, 10), ("rocker", FILM), ("door", WAX)),
            coat("3", date(2025, 6, 10), ("sill", WAX)),
        )
    )
    films = compute_film_ages(history, date(2026, 1, 10), terms=TERMS, facts=FACTS)
    # A later coat without an interval hides no wax that is due; a coat of the same family restarts the clock.
    assert (films["rocker"].stage, films["rocker"].months, films["rocker"].family) == (FilmStage.DUE, 24, WAX)
    assert (films["door"].stage, films["door"].months, films["door"].family) == (FilmStage.AGEING, 12, WAX)
    assert (films["sill"].stage, films["sill"].months) == (FilmStage.FRESH, 7)
    then = compute_film_ages(history, date(2024, 12, 31), terms=TERMS, facts=FACTS)
    assert (then["rocker"].months, then["door"].stage) == (11, FilmStage.NO_INTERVAL)
    assert compute_film_ages(history, date(2024, 1, 9), terms=TERMS, facts=FACTS) == {}
    without = compute_film_ages(history, date(2026, 1, 10))
    assert {film.stage for film in without.values()} == {FilmStage.NO_INTERVAL}
    assert without["rocker"].family is FILM


def test_an_amended_coat_counts_as_amended_and_a_severe_place_shortens_the_interval() -> None:
    history = VehicleHistory(
        treatments=(
            coat("1", date(2024, 1, 10), ("rocker", WAX)),
            coat("2", date(2024, 7, 10), ("rocker", WAX), amends="1"),
        )
    )
    mild = compute_film_ages(history, date(2025, 7, 10), terms=TERMS, facts=FACTS)
    assert (mild["rocker"].months, mild["rocker"].interval_months) == (12, 24)
    severe = SevereExposureTerms(from_category=CorrosivityCategory.C5, touch_up_interval_months=12)
    terms = replace(TERMS, severe_exposure=severe)
    assert compute_film_ages(history, date(2025, 7, 10), terms=terms, facts=FACTS) == mild
    there = replace(FACTS, corrosivity=CorrosivityCategory.C5)
    harsh = compute_film_ages(history, date(2025, 7, 10), terms=terms, facts=there)
    assert (harsh["rocker"].stage, harsh["rocker"].interval_months) == (FilmStage.DUE, 12)
    moved = PlaceRecord("place 1", CorrosivityCategory.C5, date(2025, 6, 1), date(2025, 6, 1))
    lately = compute_film_ages(history, date(2025, 7, 10), terms=terms, facts=replace(FACTS, places=(moved,)))
    assert (lately["rocker"].stage, lately["rocker"].due_on) == (FilmStage.AGEING, date(2025, 7, 31))
