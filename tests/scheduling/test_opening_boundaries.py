"""Open times, bays and due dates of a search, each on both sides of its boundary."""

from datetime import date, datetime, time, timedelta

import pytest

from scheduling.booking.rules.opening import (
    BayTimes,
    DueDates,
    Span,
    VisitWork,
    find_open_moment_from,
    finish_work,
    intersect,
    list_open_spans,
    subtract,
)
from scheduling.covers.rules.dates import (
    CLOSED_DAY,
    PUBLIC_HOLIDAY,
    WEEKDAYS_CLOSED,
    CalendarError,
    WorkingCalendar,
)
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import BayKind, Skill
from tests.scheduling.test_slots import MONDAY, ZONE, local, make_site
from treatments.rules.explanation import explain

DAY = timedelta(days=1)


def span(first: int, last: int, day: date = MONDAY) -> Span:
    return Span(local(day, first), local(day, last))


def work(kind: BayKind = BayKind.LIFT, *, height_mm: int | None = None, mass_kg: int | None = None) -> VisitWork:
    return VisitWork(kind, Skill.SPRAYING, 60, height_mm=height_mm, mass_kg=mass_kg)


@pytest.mark.parametrize(
    ("bay", "visit", "expected"),
    [
        (BayTimes(1, "L", BayKind.LIFT), work(), True),
        (BayTimes(1, "F", BayKind.GROUND), work(), False),
        (BayTimes(1, "F", BayKind.GROUND), work(BayKind.GROUND), True),
        (BayTimes(1, "L", BayKind.LIFT), work(BayKind.GROUND), True),
        (BayTimes(1, "L", BayKind.LIFT, 2000), work(height_mm=2000), True),
        (BayTimes(1, "L", BayKind.LIFT, 2000), work(height_mm=2001), False),
        (BayTimes(1, "L", BayKind.LIFT, 2000), work(), True),
        (BayTimes(1, "L", BayKind.LIFT), work(height_mm=9000, mass_kg=9000), True),
        (BayTimes(1, "L", BayKind.LIFT, None, 3500), work(mass_kg=3500), True),
        (BayTimes(1, "L", BayKind.LIFT, None, 3500), work(mass_kg=3501), False),
        (BayTimes(1, "L", BayKind.LIFT, None, 3500), work(), True),
        (BayTimes(1, "L", BayKind.LIFT, 2000, 3500), work(height_mm=2001, mass_kg=3500), False),
        (BayTimes(1, "L", BayKind.LIFT, 2000, 3500), work(height_mm=2000, mass_kg=3501), False),
        # What is not known is not held to be too much, however small the limit.
        (BayTimes(1, "L", BayKind.LIFT, 0, 0), work(), True),
    ],
)
def test_where_a_vehicle_fits(bay: BayTimes, visit: VisitWork, expected: bool) -> None:
    assert bay.fits(visit) is expected


@pytest.mark.parametrize(("kind", "early"), [(DueKind.REINSPECTION, 0), (DueKind.TOUCH_UP, 30)])
def test_a_visit_serves_a_reinspection_in_its_window_and_a_film_thirty_days_before(kind: DueKind, early: int) -> None:
    dates = DueDates("x", kind, MONDAY, MONDAY, MONDAY, MONDAY)
    assert dates.first_served_on == MONDAY - early * DAY
    assert not dates.is_served_on(MONDAY - (early + 1) * DAY)
    assert dates.is_served_on(MONDAY - early * DAY)


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        (span(8, 10), span(10, 12), False),
        (span(10, 12), span(8, 10), False),
        (span(8, 11), span(10, 12), True),
        (span(10, 12), span(8, 11), True),
        (span(8, 12), span(9, 10), True),
        (span(9, 10), span(8, 12), True),
    ],
)
def test_spans_that_only_touch_do_not_overlap(one: Span, other: Span, expected: bool) -> None:
    assert one.overlaps(other) is expected
    assert bool(intersect([one], [other])) is expected
    assert (subtract([one], [other]) != (one,)) is expected


def test_what_is_left_when_something_is_taken() -> None:
    assert subtract([], [span(8, 9)]) == ()
    assert subtract([span(8, 12)], [span(8, 12)]) == ()
    assert subtract([span(8, 12)], [span(8, 9)]) == (span(9, 12),)
    assert subtract([span(8, 12)], [span(11, 12)]) == (span(8, 11),)
    assert subtract([span(8, 12)], [span(10, 11), span(9, 10)]) == (span(8, 9), span(11, 12))
    # The later span is the shorter one; what is taken lies before, between and after.
    taken = [span(6, 8), span(12, 13), span(14, 18)]
    assert subtract([span(13, 14), span(8, 12)], taken) == (span(8, 12), span(13, 14))
    # A long one hides the end of the one that starts last.
    assert subtract([span(8, 17), span(9, 10)], [span(16, 18)]) == (span(8, 16), span(9, 10))


@pytest.mark.parametrize(
    ("hour", "minutes", "done"),
    [
        (8, 0, 8),
        (8, 240, 12),
        (8, 241, None),
        (12, 60, 14),  # it begins after the break
        (12, 0, 13),
        (13, 240, 17),
        (13, 300, None),
    ],
)
def test_when_work_is_done(hour: int, minutes: int, done: int | None) -> None:
    worked = [span(8, 12), span(13, 17)] if minutes != 241 else [span(8, 12)]
    found = finish_work(local(MONDAY, hour), minutes, worked)
    assert found == (None if done is None else local(MONDAY, done))


def test_work_that_ends_with_a_span_and_goes_on_in_the_next() -> None:
    worked = [span(8, 12), span(13, 17)]
    assert finish_work(local(MONDAY, 8), 241, worked) == local(MONDAY, 13, 1)
    assert finish_work(local(MONDAY, 8), 480, worked) == local(MONDAY, 17)
    assert finish_work(local(MONDAY, 8), 481, worked) is None


def test_the_next_moment_at_which_a_site_is_open() -> None:
    spans = make_site(days=5).open_spans
    friday = MONDAY + 4 * DAY
    assert find_open_moment_from(local(MONDAY, 7), spans) == local(MONDAY, 8)
    assert find_open_moment_from(local(MONDAY, 9), spans) == local(MONDAY, 9)
    assert find_open_moment_from(local(MONDAY, 12), spans) == local(MONDAY, 12)  # it closes at that very moment
    assert find_open_moment_from(local(MONDAY, 12, 1), spans) == local(MONDAY, 12, 30)
    assert find_open_moment_from(local(friday, 17), spans) == local(friday, 17)
    assert find_open_moment_from(local(friday, 17, 1), spans) is None
    assert find_open_moment_from(local(MONDAY, 9), {}) is None
    assert find_open_moment_from(local(MONDAY - 9 * DAY, 9), spans) == local(MONDAY, 8)


def test_a_span_that_reaches_into_the_next_day_of_utc_is_found_from_there() -> None:
    late = {MONDAY: (Span(local(MONDAY, 18), local(MONDAY, 23)),)}
    moment = local(MONDAY, 22)
    assert moment.date() == MONDAY + DAY
    assert find_open_moment_from(moment, late) == moment
    assert find_open_moment_from(local(MONDAY, 23) + timedelta(seconds=1), late) is None


def test_every_day_from_the_first_through_the_last_is_listed_in_order() -> None:
    hours = {1: ((time(13), time(17)), (time(8), time(12))), 2: ()}
    spans = list_open_spans(hours, WorkingCalendar(frozenset({1, 2, 3})), ZONE, MONDAY, MONDAY + 7 * DAY)
    assert spans == {day: (span(8, 12, day), span(13, 17, day)) for day in (MONDAY, MONDAY + 7 * DAY)}
    assert list_open_spans(hours, WorkingCalendar(), ZONE, MONDAY, MONDAY - DAY) == {}


# Which days are open.


@pytest.mark.parametrize("weekdays", [set(), {0}, {8}, {1, 8}])
def test_weekdays_are_at_least_one_of_one_to_seven(weekdays: set[int]) -> None:
    with pytest.raises(CalendarError) as refused:
        WorkingCalendar(frozenset(weekdays))
    assert refused.value.explanations == (explain("calendar.weekdays", weekdays=tuple(sorted(weekdays))),)


def test_all_seven_weekdays_may_be_open_and_usually_five_are() -> None:
    assert all(WorkingCalendar(frozenset(range(1, 8))).is_open(MONDAY + n * DAY) for n in range(7))
    assert [WorkingCalendar().is_open(MONDAY + n * DAY) for n in range(7)] == [True] * 5 + [False] * 2
    assert WorkingCalendar().explain_closed(MONDAY + 5 * DAY) == WEEKDAYS_CLOSED[6]
    assert WorkingCalendar(closed_days=frozenset({MONDAY})).explain_closed(MONDAY) == CLOSED_DAY


def test_public_holidays_are_those_of_the_country_and_its_subdivision() -> None:
    holiday = date(2026, 7, 3)  # 4 July 2026 is a Saturday
    assert WorkingCalendar().is_open(holiday)
    assert WorkingCalendar(country="US").explain_closed(holiday) == PUBLIC_HOLIDAY
    assert WorkingCalendar(country="US").is_open(MONDAY)
    with pytest.raises(CalendarError) as refused:
        WorkingCalendar(country="ZZ").is_open(MONDAY)
    assert refused.value.explanations == (explain("calendar.unknown_country", country="ZZ", subdivision=""),)
    pioneers = date(2026, 7, 24)  # Pioneer Day, a holiday of Utah alone
    assert WorkingCalendar(country="US").is_open(pioneers)
    assert not WorkingCalendar(country="US", subdivision="UT").is_open(pioneers)


def test_the_next_open_day_is_looked_for_through_a_year_of_closure() -> None:
    def closed(days: int) -> WorkingCalendar:
        return WorkingCalendar(frozenset(range(1, 8)), closed_days=frozenset(MONDAY + n * DAY for n in range(days)))

    assert closed(0).find_open_day_from(MONDAY) == MONDAY
    assert closed(1).find_open_day_from(MONDAY) == MONDAY + DAY
    assert closed(365).find_open_day_from(MONDAY) == MONDAY + 365 * DAY
    with pytest.raises(CalendarError) as refused:
        closed(366).find_open_day_from(MONDAY)
    assert refused.value.explanations == (explain("calendar.no_open_day", after_on=MONDAY),)


def test_spans_are_in_utc() -> None:
    (day,) = list_open_spans({}, WorkingCalendar(), ZONE, MONDAY, MONDAY).values()
    assert day == (Span(local(MONDAY, 8), local(MONDAY, 17)),)
    assert isinstance(day[0].start, datetime) and day[0].start.hour == 12
