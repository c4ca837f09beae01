"""Severe exposure that comes and goes, and waivers whose duty moves: both sides of every boundary."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from scheduling.covers.rules.cover import assess_cover
from scheduling.covers.rules.dates import make_table
from scheduling.covers.rules.due import compute_due_items
from scheduling.covers.rules.due_item import DueItem, DueKind, DueStatus
from scheduling.covers.rules.exposure import ExposureRun, RawDay, count_from, list_exposure_runs
from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.terms.rules.terms import Anchor, ReinspectionTerms, SevereExposureTerms, TouchUpTerms
from tests.scheduling.test_due_and_cover import ALWAYS_OPEN, START, due, make_history, make_terms, seen, treated
from treatments.enums import CorrosivityCategory, ZoneKind
from treatments.records.rules.history import PlaceRecord

ONE_DAY = timedelta(days=1)
C1, C4, C5 = CorrosivityCategory.C1, CorrosivityCategory.C4, CorrosivityCategory.C5
SEVERE = SevereExposureTerms(C4, reinspection_interval_months=6, touch_up_interval_months=6)
LAST_VISIT = make_terms(severe_exposure=SEVERE, reinspection=ReinspectionTerms(anchor=Anchor.LAST_VISIT))
ANNIVERSARY = make_terms(severe_exposure=SEVERE)
MILD = CoverFacts("C1", START, START, C1)


def used(category: CorrosivityCategory | None, from_day: date, known_on: date | None = None) -> PlaceRecord:
    return PlaceRecord(f"place {from_day}", category, from_day, known_on or from_day)


def with_places(*places: PlaceRecord, site: CorrosivityCategory = C1) -> CoverFacts:
    return replace(MILD, corrosivity=site, places=places)


# Which place counts.


@pytest.mark.parametrize(("after", "category"), [(-1, C1), (0, C5), (1, C5)])
@pytest.mark.parametrize("known_first", [True, False])
def test_a_place_counts_from_the_later_of_its_two_days(
    after: int, category: CorrosivityCategory, known_first: bool
) -> None:
    earlier, later = START - 50 * ONE_DAY, START
    place = used(C5, later, earlier) if known_first else used(C5, earlier, later)
    assert with_places(place).find_place_of_use(START + after * ONE_DAY) is category


def test_the_place_that_begins_last_counts_and_of_one_day_that_written_last() -> None:
    day = START + 100 * ONE_DAY
    # Told later of an earlier time: it says nothing about the time since the later beginning.
    assert with_places(used(C5, START), used(C1, START - ONE_DAY, day)).find_place_of_use(day) is C5
    assert with_places(used(C5, START), used(C1, START, day)).find_place_of_use(day - ONE_DAY) is C5
    assert with_places(used(C5, START), used(C1, START, day)).find_place_of_use(day) is C1
    assert with_places(used(C5, START), used(None, day), site=C4).find_place_of_use(day) is C4


def test_runs_end_the_day_before_the_exposure_turns() -> None:
    facts = with_places(used(C4, START), used(C5, START + 5 * ONE_DAY), used(None, START + 9 * ONE_DAY))
    runs = list_exposure_runs(ANNIVERSARY, facts, START + 20 * ONE_DAY)
    assert [(run.first, run.last, run.severe) for run in runs] == [
        (date.min, START - ONE_DAY, False),
        (START, START + 8 * ONE_DAY, True),
        (START + 9 * ONE_DAY, START + 20 * ONE_DAY, False),
    ]
    assert len(list_exposure_runs(ANNIVERSARY, facts, START - ONE_DAY)) == 1
    assert len(list_exposure_runs(ANNIVERSARY, facts, START)) == 2
    assert len(list_exposure_runs(make_terms(), facts, START + 20 * ONE_DAY)) == 1


# The raw day.


@pytest.mark.parametrize(
    ("since", "day", "months", "why"),
    [
        (date.min, date(2023, 9, 14), 6, "interval"),
        (date(2023, 7, 16), date(2023, 9, 14), 6, "interval"),  # 60 days before the severe day
        (date(2023, 7, 17), date(2023, 9, 15), 6, "put_off"),
        (date(2024, 1, 13), date(2024, 3, 13), 6, "put_off"),
        (date(2024, 1, 14), date(2024, 3, 14), 12, None),  # no earlier than the usual day
        (date(2024, 5, 1), date(2024, 3, 14), 12, None),
    ],
)
def test_the_severe_day_leaves_room_for_the_window_and_is_never_later_than_the_usual(
    since: date, day: date, months: int, why: str | None
) -> None:
    found = count_from(START, 12, 6, ExposureRun(since, date.max, True, C5), 60)
    assert (found.day, found.months) == (day, months)
    assert (found.exposure.code if found.exposure else None) == (f"due.exposure.{why}" if why else None)


def test_without_severe_exposure_or_a_shorter_interval_the_day_is_the_usual_one() -> None:
    usual = RawDay(date(2024, 3, 14), 12)
    assert count_from(START, 12, 6, ExposureRun(date.min, date.max, False, C1), 60) == usual
    assert count_from(START, 12, 12, ExposureRun(date.min, date.max, True, C5), 60) == usual


@pytest.mark.parametrize(
    ("since", "target"),
    [
        (date(2023, 7, 16), date(2023, 9, 14)),
        (date(2023, 7, 17), date(2024, 3, 14)),  # a whole interval later, which is the anniversary
        (date(2024, 7, 1), date(2024, 9, 14)),
    ],
)
def test_with_anniversaries_a_day_is_put_off_by_whole_intervals(since: date, target: date) -> None:
    visits = [seen(date(2024, 3, 14))] if since.year == 2024 else []
    items = due(ANNIVERSARY, treated(START), *visits, as_of=since, facts=with_places(used(C5, since)))
    assert items[-1].dates.target_on == target and items[-1].dates.opens_on >= since


def test_a_reinspection_after_severe_exposure_comes_the_usual_interval_later() -> None:
    facts = with_places(used(C5, START), used(C1, date(2023, 10, 1)))
    items = due(ANNIVERSARY, treated(START), seen(date(2023, 9, 14)), as_of=date(2023, 10, 1), facts=facts)
    assert [item.dates.target_on for item in items] == [date(2023, 9, 14), date(2024, 9, 14)]


# The past stays.


@pytest.mark.parametrize("terms", [LAST_VISIT, ANNIVERSARY])
def test_a_place_told_today_makes_no_day_gone_by_a_missed_one(terms: object) -> None:
    """Used at the coast from the first day on, which the shop hears eleven months later."""
    known_on = date(2024, 2, 20)
    facts = with_places(used(C5, START, known_on))
    for day in (known_on - ONE_DAY, known_on, date(2024, 4, 13)):
        (item,) = due(terms, treated(START), as_of=day, facts=facts)  # type: ignore[arg-type]
        assert (item.status, item.dates.target_on) == (DueStatus.OPEN, date(2024, 3, 14))


@pytest.mark.parametrize(
    ("leaves_on", "status", "target"),
    [
        (date(2023, 10, 14), DueStatus.OPEN, date(2024, 3, 14)),  # the last day of grace
        (date(2023, 10, 15), DueStatus.OPEN, date(2024, 3, 14)),  # the day after: by the dates on that day
        (date(2023, 10, 16), DueStatus.MISSED, date(2023, 9, 14)),
    ],
)
def test_what_was_missed_stays_missed_when_the_vehicle_leaves(leaves_on: date, status: DueStatus, target: date) -> None:
    facts = with_places(used(C5, START), used(C1, leaves_on))
    item = due(LAST_VISIT, treated(START), as_of=date(2023, 12, 1), facts=facts)[0]
    assert (item.status, item.dates.target_on) == (status, target)


def test_what_was_done_keeps_its_dates() -> None:
    facts = with_places(used(C5, START), used(C1, date(2023, 9, 2)))
    items = due(LAST_VISIT, treated(START), seen(date(2023, 9, 1)), as_of=date(2023, 12, 1), facts=facts)
    assert [(item.status, item.dates.target_on) for item in items] == [
        (DueStatus.DONE, date(2023, 9, 14)),
        (DueStatus.OPEN, date(2024, 9, 1)),
    ]


@pytest.mark.parametrize(("after", "until"), [(-2, -1), (-1, -1), (0, None)])
def test_an_assessment_holds_until_the_day_before_a_place_counts(after: int, until: int | None) -> None:
    moves_on = date(2023, 6, 1)
    facts = with_places(used(C5, moves_on, START))
    found = assess_cover(
        make_table(LAST_VISIT, ALWAYS_OPEN), facts, make_history(treated(START)), moves_on + after * ONE_DAY
    )
    if until is None:
        assert found.holds_until is not None and found.holds_until > moves_on
    else:
        assert found.holds_until == moves_on + until * ONE_DAY


# Touch-ups.


def touch_up(facts: CoverFacts, as_of: date, *, treatments: tuple[object, ...] = ()) -> DueItem:
    terms = make_terms(severe_exposure=SEVERE, touch_ups=(TouchUpTerms(12),))
    records = treatments or (treated(START),)
    items = compute_due_items(terms, facts, make_history(*records), ALWAYS_OPEN, as_of)
    return next(item for item in items if item.kind is DueKind.TOUCH_UP)


def test_a_touch_up_moves_with_the_place_until_it_is_missed() -> None:
    since = date(2023, 8, 1)
    moved = touch_up(with_places(used(C5, since)), since)
    assert (moved.dates.opens_on, moved.dates.target_on) == (since, date(2023, 9, 30))
    back = with_places(used(C5, since), used(C1, date(2023, 10, 31)))
    assert touch_up(back, date(2023, 11, 5)).dates.target_on == date(2024, 3, 14)
    late = with_places(used(C5, since), used(C1, date(2023, 11, 1)))
    assert touch_up(late, date(2023, 11, 5)).status is DueStatus.MISSED


# Waivers.


def waiver(key: str, day: date) -> Waiver:
    return Waiver(key, day, "flood", f"change {key}")


@pytest.mark.parametrize(
    ("named", "status"),
    [
        (date(2024, 1, 13), DueStatus.MISSED),
        (date(2024, 1, 14), DueStatus.WAIVED),  # the opening
        (date(2024, 4, 13), DueStatus.WAIVED),  # the last day of grace
        (date(2024, 4, 14), DueStatus.MISSED),
    ],
)
def test_a_waiver_fits_from_the_opening_through_the_last_day_of_grace(named: date, status: DueStatus) -> None:
    facts = replace(MILD, waivers=(waiver(f"reinspection:{named}", date(2024, 4, 20)),))
    assert due(make_terms(), treated(START), as_of=date(2024, 6, 1), facts=facts)[0].status is status


@pytest.mark.parametrize(("given", "status"), [(-1, DueStatus.OPEN), (0, DueStatus.WAIVED), (1, DueStatus.WAIVED)])
def test_a_waiver_fits_by_the_dates_that_stood_on_the_day_it_was_given(given: int, status: DueStatus) -> None:
    """The window of the severe interval opens on the day since when the exposure counts as severe."""
    since = date(2023, 8, 1)
    letting_off = waiver("reinspection:2023-09-30", since + given * ONE_DAY)
    facts = replace(with_places(used(C5, since)), waivers=(letting_off,))
    assert due(LAST_VISIT, treated(START), as_of=date(2023, 8, 10), facts=facts)[0].status is status


def test_a_waiver_stays_with_its_duty_when_a_visit_is_written_down_before_it() -> None:
    """With the last visit as anchor the second one is let off; then a visit of the first year comes to light."""
    terms = make_terms(reinspection=ReinspectionTerms(anchor=Anchor.LAST_VISIT))
    first, second = seen(date(2024, 3, 1)), seen(date(2023, 12, 20))
    facts = replace(MILD, waivers=(waiver("reinspection:2025-03-01", date(2025, 2, 1)),))
    before = due(terms, treated(START), first, as_of=date(2025, 6, 1), facts=facts)
    assert [item.status for item in before] == [DueStatus.DONE, DueStatus.WAIVED, DueStatus.OPEN]
    after = due(terms, treated(START), second, first, as_of=date(2025, 6, 1), facts=facts)
    assert [item.key for item in after if item.status is DueStatus.WAIVED] == ["reinspection:3"]
    assert [item.waiver_key for item in after if item.status is DueStatus.WAIVED] == ["reinspection:2025-03-01"]


@pytest.mark.parametrize(("visit", "waived"), [(date(2025, 2, 1), 1), (date(2025, 2, 2), 0)])
def test_a_duty_done_by_the_day_of_a_waiver_leaves_it_to_the_next_that_fits(visit: date, waived: int) -> None:
    """A visit on that day did the duty; a visit after it did too, but the waiver was the duty's own and is spent."""
    monthly = ReinspectionTerms(
        anchor=Anchor.LAST_VISIT, first_after_months=3, interval_months=3, window_before_days=60, grace_days=5
    )
    start = date(2024, 12, 1)
    facts = CoverFacts("C1", start, start, C1, waivers=(waiver("reinspection:2025-03-04", date(2025, 2, 1)),))
    items = due(make_terms(reinspection=monthly), treated(start), seen(visit), as_of=visit, facts=facts)
    assert [item.status for item in items].count(DueStatus.WAIVED) == waived
    assert items[0].status is DueStatus.DONE


def test_one_waiver_lets_off_one_duty_and_of_two_the_first_given_counts() -> None:
    one = waiver("reinspection:2024-03-14", date(2024, 5, 1))
    other = waiver("reinspection:2024-03-20", date(2024, 4, 20))
    items = due(make_terms(), treated(START), as_of=date(2025, 6, 1), facts=replace(MILD, waivers=(one, other)))
    assert [item.status for item in items] == [DueStatus.WAIVED, DueStatus.MISSED, DueStatus.OPEN]
    assert items[0].records == (other.record,)


@pytest.mark.parametrize(
    ("key", "status"),
    [
        ("touch_up:cavity_wax:2023-03-14:2024-03-14", DueStatus.WAIVED),
        ("touch_up:cavity_wax:2023-03-12:2024-03-12", DueStatus.WAIVED),  # the coat was amended to another day
        ("touch_up:underbody_wax:2023-03-14:2024-03-14", DueStatus.MISSED),
        ("touch_up:cavity_wax:2023-03-14:2024-01-13", DueStatus.MISSED),  # before its window
    ],
)
def test_a_waiver_of_a_touch_up_follows_the_coat(key: str, status: DueStatus) -> None:
    facts = replace(MILD, waivers=(waiver(key, date(2024, 4, 20)),))
    assert touch_up(facts, date(2024, 6, 1)).status is status


@pytest.mark.parametrize(
    ("named", "waived"),
    [(date(2024, 3, 14), "rocker_left"), (date(2024, 3, 29), "rocker_left"), (date(2024, 3, 30), "seam_rear")],
)
def test_of_two_touch_ups_of_a_coat_the_waiver_lets_off_the_one_that_is_nearer(named: date, waived: str) -> None:
    """The one is due on 14 March, the other on 14 April."""
    terms = make_terms(touch_ups=(TouchUpTerms(12), TouchUpTerms(13, zone_kind=ZoneKind.SEAM)))
    coat = treated(START)
    seam = replace(coat.lines[0], zone="seam_rear", zone_kind=ZoneKind.SEAM)
    facts = replace(MILD, waivers=(waiver(f"touch_up:cavity_wax:2023-03-14:{named}", date(2024, 4, 1)),))
    history = make_history(replace(coat, lines=(*coat.lines, seam)))
    items = compute_due_items(terms, facts, history, ALWAYS_OPEN, date(2024, 4, 2))
    assert [item.zones for item in items if item.status is DueStatus.WAIVED] == [(waived,)]
