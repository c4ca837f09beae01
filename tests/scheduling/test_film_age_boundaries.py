"""The film that speaks for its zone, the vehicle to call first, and the depth that ranks it: values at boundaries."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from scheduling.covers.rules.exposure import (
    DAYS_A_YEAR,
    RawDay,
    count_days_to_lose,
    estimate_risk,
    find_last_seen,
    find_risk_day,
)
from scheduling.covers.rules.touch_ups import FilmStage, compute_film_ages, count_whole_months, judge_film
from scheduling.terms.rules.terms import ReinspectionTerms, SevereExposureTerms, TouchUpTerms
from tests.scheduling.test_due_and_cover import FACTS, START, make_history, make_terms, seen, treated
from tests.scheduling.test_film_age import FILM, WAX, coat
from treatments.enums import CorrosivityCategory
from treatments.records.rules.history import PlaceRecord, VehicleHistory
from treatments.vehicles.rules.corrosivity import FIRST_YEAR_UPPER_UM, compute_metal_loss_um

DAY = timedelta(days=1)


@pytest.mark.parametrize(
    ("last", "months"),
    [
        (date(2024, 1, 31), 0),
        (date(2024, 2, 28), 0),
        (date(2024, 2, 29), 1),
        (date(2024, 12, 30), 10),
        (date(2024, 12, 31), 11),
        (date(2025, 1, 30), 11),
        (date(2025, 1, 31), 12),
        (date(2026, 3, 30), 25),
        (date(2026, 3, 31), 26),
    ],
)
def test_whole_months_from_the_last_day_of_a_month(last: date, months: int) -> None:
    assert count_whole_months(date(2024, 1, 31), last) == months


def test_a_film_ages_from_half_of_an_odd_interval_rounded_up() -> None:
    interval = RawDay(date(2024, 8, 1), 7, "")
    stages = [judge_film(date(2024, 1, 1), interval, date(2024, month, 1)) for month in (4, 5, 7, 8)]
    assert stages == [FilmStage.FRESH, FilmStage.AGEING, FilmStage.AGEING, FilmStage.DUE]


def test_of_two_films_the_one_due_first_or_else_the_later_coat_speaks() -> None:
    both = make_terms(touch_ups=(TouchUpTerms(24, WAX), TouchUpTerms(12, FILM)))
    history = VehicleHistory(
        treatments=(coat("1", date(2024, 1, 10), ("rocker", WAX)), coat("2", date(2024, 6, 10), ("rocker", FILM)))
    )

    def speaks(terms: object, past: VehicleHistory = history) -> tuple[object, object]:
        film = compute_film_ages(past, date(2024, 7, 1), terms=terms, facts=FACTS)["rocker"]  # type: ignore[arg-type]
        return film.family, film.due_on

    assert speaks(both) == (FILM, date(2025, 6, 10))
    assert speaks(make_terms(touch_ups=(TouchUpTerms(12, WAX), TouchUpTerms(12, FILM)))) == (WAX, date(2025, 1, 10))
    # Due on the same day: the one found first stays. Without intervals the later coat speaks, whichever comes first.
    assert speaks(make_terms(touch_ups=(TouchUpTerms(17, WAX), TouchUpTerms(12, FILM)))) == (WAX, date(2025, 6, 10))
    assert speaks(make_terms()) == (FILM, None)
    one_day = VehicleHistory(treatments=(coat("1", date(2024, 1, 10), ("rocker", FILM), ("rocker", WAX)),))
    assert speaks(make_terms(), one_day) == (FILM, None)
    # An interval outweighs a later coat without one, in either order.
    assert speaks(make_terms(touch_ups=(TouchUpTerms(24, WAX),))) == (WAX, date(2026, 1, 10))
    assert speaks(make_terms(touch_ups=(TouchUpTerms(24, FILM),))) == (FILM, date(2026, 6, 10))


def test_a_severe_place_shortens_an_interval_and_leaves_room_for_the_window() -> None:
    history = VehicleHistory(treatments=(coat("1", date(2024, 1, 10), ("rocker", WAX)),))
    there = replace(FACTS, corrosivity=CorrosivityCategory.C5)
    severe = SevereExposureTerms(CorrosivityCategory.C5, None, 12)

    def tell(facts: object, **changes: object) -> tuple[int | None, date | None]:
        terms = make_terms(touch_ups=(TouchUpTerms(24, WAX),), **{"severe_exposure": severe, **changes})
        film = compute_film_ages(history, date(2025, 1, 1), terms=terms, facts=facts)["rocker"]  # type: ignore[arg-type]
        return film.interval_months, film.due_on

    assert tell(there) == (12, date(2025, 1, 10))
    assert compute_film_ages(history, date(2025, 1, 1))["rocker"].product == f"{WAX} of a test"
    assert tell(None) == (24, date(2026, 1, 10))
    assert tell(there, severe_exposure=None) == (24, date(2026, 1, 10))
    assert tell(there, severe_exposure=SevereExposureTerms(CorrosivityCategory.C5, 6)) == (24, date(2026, 1, 10))
    assert tell(there, severe_exposure=SevereExposureTerms(CorrosivityCategory.C5, None, 36)) == (24, date(2026, 1, 10))
    lately = PlaceRecord("p", CorrosivityCategory.C5, date(2024, 12, 20), date(2024, 12, 20))
    moved = replace(FACTS, places=(lately,))
    # The usual window of sixty days after the day since when it counts; with terms that open ten days before, ten.
    assert tell(moved) == (12, date(2025, 2, 18))
    assert tell(moved, reinspection=None) == (12, date(2025, 2, 18))
    assert tell(moved, reinspection=ReinspectionTerms(window_before_days=30)) == (12, date(2025, 1, 19))


# Whom to call first.


def test_the_days_to_lose_fifty_micrometres_by_category() -> None:
    """ISO 9223 gives the upper bounds of the first year, 50 at C3; ISO 9224 the exponent 0.523 for steel."""
    assert count_days_to_lose(CorrosivityCategory.C3) == 366  # a year of 365.25 days
    rates = {CorrosivityCategory.C4: 80.0, CorrosivityCategory.C5: 200.0}
    for category, rate in rates.items():
        years = (50.0 / rate) ** (1 / 0.523)
        assert count_days_to_lose(category) == pytest.approx(years * 365.25, abs=1)
    # The first day by which the depth is lost, by the power law and, beyond twenty years, by the tangent.
    rate = FIRST_YEAR_UPPER_UM[CorrosivityCategory.C2]
    for loss in (25.0, 100.0, 119.0, 120.0, 121.0, 130.0, 200.0):
        days = count_days_to_lose(CorrosivityCategory.C2, loss)
        assert compute_metal_loss_um(rate, (days - 1) / DAYS_A_YEAR) < loss
        assert compute_metal_loss_um(rate, days / DAYS_A_YEAR) >= loss - 1e-9
    assert count_days_to_lose(CorrosivityCategory.C1) == 36_525  # a hundred years at most


def test_the_risk_day_counts_from_the_day_last_seen_and_never_leaves_the_calendar() -> None:
    assert find_risk_day(START, CorrosivityCategory.C3) == START + 366 * DAY
    assert find_risk_day(date.max - DAY, CorrosivityCategory.C3) == date.max


def test_the_day_last_seen_is_that_of_the_last_treatment_or_inspection_so_far() -> None:
    history = make_history(treated(START), seen(START + 10 * DAY), treated(START + 20 * DAY))
    found = [find_last_seen(history, START + n * DAY) for n in (-1, 0, 9, 10, 19, 20)]
    at, looked, again = START, START + 10 * DAY, START + 20 * DAY
    assert found == [None, at, at, looked, looked, again]


def test_the_estimated_loss_is_none_on_the_day_and_before_it() -> None:
    for category in (CorrosivityCategory.C3, CorrosivityCategory.C5):
        now, before = estimate_risk(START, category, START), estimate_risk(START, category, START - 9 * DAY)
        assert now == before
        assert estimate_risk(START, category, START + DAY) != now
    four = estimate_risk(START, CorrosivityCategory.C3, START + 1461 * DAY)
    assert four.upper_um == pytest.approx(50 * 4**0.523)
