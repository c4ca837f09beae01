"""Seasons, calendars and the four dates of a duty, each on both sides of its boundary, by the rules alone."""

from datetime import date, timedelta
from typing import Any

import pytest

from scheduling.covers.rules.dates import (
    CalendarError,
    LaidDates,
    WorkingCalendar,
    find_season_day,
    is_in_season,
    make_table,
)
from scheduling.terms.rules.terms import ReinspectionTerms, Roll, SeasonTerms
from tests.scheduling.test_due_and_cover import make_terms
from treatments.rules.explanation import Explanation, explain

DAY = timedelta(days=1)
AUTUMN, WINTER, ONE_DAY_LONG = SeasonTerms(9, 1, 11, 30), SeasonTerms(11, 10, 2, 15), SeasonTerms(5, 5, 5, 5)
WEEKDAYS, ALL_WEEK = WorkingCalendar(), frozenset(range(1, 8))
# A Saturday.
RAW = date(2026, 3, 14)


@pytest.mark.parametrize(
    ("season", "first", "last"),
    [
        (AUTUMN, date(2026, 9, 1), date(2026, 11, 30)),
        (WINTER, date(2026, 11, 10), date(2027, 2, 15)),
        (ONE_DAY_LONG, date(2026, 5, 5), date(2026, 5, 5)),
    ],
)
def test_a_season_runs_from_its_first_day_through_its_last(season: SeasonTerms, first: date, last: date) -> None:
    year = date(2026, 3, 1)
    found = [day for n in range(365) if is_in_season((season,), day := year + n * DAY)]
    assert found == [first + n * DAY for n in range((last - first).days + 1)]
    both = (SeasonTerms(1, 1, 1, 1), season)
    assert is_in_season(both, first) and is_in_season(both, last) and not is_in_season((), first)


@pytest.mark.parametrize(
    ("first", "last", "open_only", "found"),
    [
        (date(2026, 11, 1), date(2026, 11, 30), True, date(2026, 11, 30)),
        (date(2026, 11, 30), date(2026, 12, 20), True, date(2026, 11, 30)),
        (date(2026, 12, 1), date(2026, 12, 20), True, None),
        # 1 November 2026 is a Sunday.
        (date(2026, 10, 1), date(2026, 11, 1), False, date(2026, 11, 1)),
        (date(2026, 10, 1), date(2026, 11, 1), True, date(2026, 10, 30)),
        (date(2026, 10, 31), date(2026, 11, 1), True, None),
        # The last day of the season is one day back.
        (date(2026, 11, 1), date(2026, 12, 1), True, date(2026, 11, 30)),
    ],
)
def test_the_latest_day_in_a_season(first: date, last: date, open_only: bool, found: date | None) -> None:
    assert find_season_day((AUTUMN,), WEEKDAYS, first, last, open_only=open_only) == found


@pytest.mark.parametrize(("days_closed", "found"), [(0, True), (365, True), (366, False)])
def test_no_calendar_is_shut_for_more_than_a_year(days_closed: int, found: bool) -> None:
    calendar = WorkingCalendar(closed_days=frozenset(RAW + n * DAY for n in range(days_closed)), open_weekdays=ALL_WEEK)
    if found:
        assert calendar.find_open_day_from(RAW) == RAW + days_closed * DAY
    else:
        with pytest.raises(CalendarError) as refused:
            calendar.find_open_day_from(RAW)
        assert refused.value.explanations == (explain("calendar.no_open_day", after_on=RAW),)


def test_without_a_word_a_site_is_open_on_the_five_days_of_the_week() -> None:
    assert [day for day in range(2, 9) if WEEKDAYS.is_open(date(2026, 3, day))] == [2, 3, 4, 5, 6]


@pytest.mark.parametrize("weekdays", [frozenset(), frozenset({0, 1}), frozenset({7, 8})])
def test_weekdays_are_numbered_from_monday_through_sunday(weekdays: frozenset[int]) -> None:
    assert WorkingCalendar(frozenset({1, 7})).open_weekdays == {1, 7}
    with pytest.raises(CalendarError) as refused:
        WorkingCalendar(weekdays)
    assert refused.value.explanations == (explain("calendar.weekdays", weekdays=tuple(sorted(weekdays))),)


# The four dates around Saturday, 14 March 2026.


def lay(
    *,
    before: int = 60,
    after: int = 0,
    grace: int = 30,
    end: date | None = None,
    roll: Roll = Roll.NEXT_OPEN_DAY,
    season: SeasonTerms | None = None,
) -> LaidDates:
    duty = ReinspectionTerms(window_before_days=before, window_after_days=after, grace_days=grace)
    terms = make_terms(reinspection=duty, roll=roll, seasons=(season,) if season else ())
    return make_table(terms, WEEKDAYS).lay(RAW, end)


MARCH, APRIL = [date(2026, 3, day) for day in range(1, 32)], [date(2026, 4, day) for day in range(1, 31)]


@pytest.mark.parametrize(
    ("asked", "target", "last", "grace"),
    [
        ({}, MARCH[15], MARCH[15], APRIL[12]),
        ({"roll": Roll.STAY}, RAW, RAW, APRIL[12]),
        ({"after": 1, "grace": 1}, MARCH[15], MARCH[15], MARCH[15]),
        ({"after": 3, "grace": 0}, MARCH[15], MARCH[16], MARCH[16]),
        ({"grace": 0}, MARCH[15], MARCH[15], MARCH[15]),
        # The cover ends: on the day itself it stays, before the next open day it is cut, on it nothing is.
        ({"end": RAW}, RAW, RAW, RAW),
        ({"end": MARCH[14]}, MARCH[14], MARCH[14], MARCH[14]),
        ({"end": MARCH[15]}, MARCH[15], MARCH[15], MARCH[15]),
        ({"end": APRIL[11]}, MARCH[15], MARCH[15], APRIL[11]),
        ({"end": APRIL[12]}, MARCH[15], MARCH[15], APRIL[12]),
        # The window reaches back to the last open day of the season, a Friday, or it does not.
        ({"before": 29, "season": WINTER}, date(2026, 2, 13), MARCH[15], APRIL[12]),
        ({"before": 28, "season": WINTER}, MARCH[15], MARCH[15], APRIL[12]),
        # Where a day may stay on a Sunday, the last one of the season will do.
        ({"before": 27, "season": WINTER, "roll": Roll.STAY}, date(2026, 2, 15), RAW, APRIL[12]),
        ({"before": 26, "season": WINTER, "roll": Roll.STAY}, RAW, RAW, APRIL[12]),
    ],
)
def test_target_last_day_and_grace(asked: dict[str, Any], target: date, last: date, grace: date) -> None:
    found = lay(**asked)
    assert (found.target_on, found.last_on, found.grace_until) == (target, last, grace)


@pytest.mark.parametrize(
    ("asked", "moved", "last", "last_moved", "grace", "grace_moved"),
    [
        ({}, "due.moved.open_day", "due.last.target", None, "due.grace", None),
        (
            {"after": 1, "grace": 1, "end": date(2026, 3, 15)},
            "due.moved.end_of_cover",
            "due.last",
            "due.moved.stays",
            "due.grace",
            "due.moved.end_of_cover",
        ),
        (
            {"season": WINTER, "roll": Roll.STAY, "grace": 0},
            "due.moved.season",
            "due.last.raw",
            None,
            "due.grace.none",
            None,
        ),
        (
            {"season": WINTER, "grace": 0},
            "due.moved.season",
            "due.last.raw",
            "due.moved.open_day",
            "due.grace.none",
            None,
        ),
        ({"roll": Roll.STAY}, None, "due.last.target", None, "due.grace", None),
    ],
)
def test_each_date_says_how_it_was_moved(
    asked: dict[str, Any], moved: str | None, last: str, last_moved: str | None, grace: str, grace_moved: str | None
) -> None:
    def find_move(why: Explanation) -> str | None:
        how = why.params.get("moved")
        return how.code if isinstance(how, Explanation) else None

    found = lay(**asked)
    assert (found.moved.code if found.moved else None) == moved
    assert (found.why_last.code, find_move(found.why_last)) == (last, last_moved)
    assert (found.why_grace.code, find_move(found.why_grace)) == (grace, grace_moved)
    assert (found.why_opens.code, found.why_opens.params["days"]) == ("due.opens", 60)
