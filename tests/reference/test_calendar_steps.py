"""Steps of months, yearly series and business days against other calculators and published calendars."""

import random
from datetime import date, timedelta

import pytest
from dateutil.rrule import MONTHLY, YEARLY, rrule
from django.db import connection

from scheduling.covers.rules.dates import PUBLIC_HOLIDAY, WorkingCalendar, add_months, find_public_holidays


def test_published_clipping() -> None:
    # dateutil's documentation of relativedelta; from its text.
    assert add_months(date(2000, 2, 29), 12) == date(2001, 2, 28)
    assert add_months(date(2003, 1, 31), 1) == date(2003, 2, 28)


def test_yearly_series_against_rfc_5545() -> None:
    """A yearly RRULE agrees on every anniversary that exists; it skips 29 February where our series clips it.

    We clip, since a customer's duty must not vanish in three years out of four.
    """
    for anchor in (date(2019, 3, 14), date(2020, 2, 28), date(2020, 12, 31)):
        expected = [moment.date() for moment in rrule(YEARLY, dtstart=anchor, count=12)]
        assert [add_months(anchor, 12 * n) for n in range(12)] == expected
    leap = date(2020, 2, 29)
    skipping = [moment.date() for moment in rrule(YEARLY, dtstart=leap, count=3)]
    assert skipping == [date(2020, 2, 29), date(2024, 2, 29), date(2028, 2, 29)]
    ours = [add_months(leap, 12 * n) for n in range(9)]
    assert [day for day in ours if (day.month, day.day) == (2, 29)] == skipping
    assert ours[1] == date(2021, 2, 28)


def pick_dates(seed: int, count: int) -> list[date]:
    chance = random.Random(seed)
    return [date(1990, 1, 1) + timedelta(days=chance.randrange(20_000)) for _ in range(count)]


def expand_yearly(anchor: date, count: int, **parts: object) -> list[date]:
    return [moment.date() for moment in rrule(YEARLY, dtstart=anchor, count=count, **parts)]


def test_any_anniversary_but_29_february_is_that_of_rfc_5545() -> None:
    for anchor in [*pick_dates(5545, 400), date(2024, 2, 28), date(2024, 3, 1)]:
        if (anchor.month, anchor.day) != (2, 29):
            assert [add_months(anchor, 12 * n) for n in range(20)] == expand_yearly(anchor, 20)


@pytest.mark.parametrize("year", [1996, 2020, 2024, 2096])
def test_29_february_is_clipped_every_year_where_rfc_5545_skips(year: int) -> None:
    """RFC 5545, 3.3.10 (from memory): a date that does not exist is left out, and not counted.

    We clip to 28 February, since a cover must fall due every year. The same rule language can say our convention too,
    as the last of 28 and 29 February (BYMONTHDAY=28,29;BYSETPOS=-1), so that it is tested against another calculator.
    """
    leap = date(year, 2, 29)
    ours = [add_months(leap, 12 * n) for n in range(25)]
    skipping = expand_yearly(leap, 25)
    assert [day.year for day in ours] == list(range(year, year + 25))
    assert [day for day in ours if day.day == 29] == [day for day in skipping if day <= ours[-1]]
    assert {(day.month, day.day) for day in ours} == {(2, 28), (2, 29)}
    assert ours == expand_yearly(leap, 25, bymonth=2, bymonthday=(28, 29), bysetpos=-1)


@pytest.mark.parametrize("interval", [1, 3, 6, 18])
def test_month_steps_are_the_last_day_that_each_month_has(interval: int) -> None:
    """As an RFC 5545 rule: every so many months on the last of the 28th to the starting day that the month has."""
    for anchor in [*pick_dates(interval, 100), date(2023, 1, 31), date(2024, 2, 29), date(2023, 8, 30)]:
        days = tuple(range(min(anchor.day, 28), anchor.day + 1))
        clipped = rrule(MONTHLY, interval=interval, dtstart=anchor, count=30, bymonthday=days, bysetpos=-1)
        assert [add_months(anchor, interval * n) for n in range(30)] == [moment.date() for moment in clipped]


def test_federal_holidays_with_observed_days() -> None:
    # 5 U.S.C. 6103 and the published observed days for 2026 and 2027 (from memory: 4 July 2026 is a Saturday, kept on
    # the 3rd; 4 July 2027 a Sunday, kept on the 5th; Juneteenth 2027 a Saturday, kept on the 18th).
    calendar = WorkingCalendar(country="US")
    for day in (
        date(2026, 1, 1), date(2026, 1, 19), date(2026, 2, 16), date(2026, 5, 25), date(2026, 6, 19), date(2026, 7, 3),
        date(2026, 9, 7), date(2026, 10, 12), date(2026, 11, 11), date(2026, 11, 26), date(2026, 12, 25),
        date(2027, 6, 18), date(2027, 7, 5),
    ):  # fmt: skip
        assert calendar.explain_closed(day) == PUBLIC_HOLIDAY, day
        assert calendar.is_open(day + timedelta(days=21)), day
    # Another country: Canada Day 2026, a Wednesday (Holidays Act; from memory).
    assert date(2026, 7, 1) in find_public_holidays("CA", "NS", 2026)


def find_weekday(year: int, month: int, weekday: int, number: int) -> date:
    """Return the first, second, … such weekday of a month (Monday is 0), or with -1 its last."""
    first, following = date(year, month, 1), date(year + month // 12, month % 12 + 1, 1)
    days = [first + timedelta(days=n) for n in range((following - first).days)]
    return [day for day in days if day.weekday() == weekday][number if number < 0 else number - 1]


def list_federal_holidays(year: int) -> list[date]:
    """The days of 5 U.S.C. 6103(a), as a federal court's page lists them; second hand.

    19 June came with the Juneteenth National Independence Day Act, read as enrolled; of 17 June 2021, from memory.
    """
    listed = [
        date(year, 1, 1),
        find_weekday(year, 1, 0, 3),
        find_weekday(year, 2, 0, 3),
        find_weekday(year, 5, 0, -1),
        date(year, 7, 4),
        find_weekday(year, 9, 0, 1),
        find_weekday(year, 10, 0, 2),
        date(year, 11, 11),
        find_weekday(year, 11, 3, 4),
        date(year, 12, 25),
    ]
    return [*listed, date(year, 6, 19)] if year >= 2021 else listed


def observe(holiday: date) -> date:
    """Return the Friday before a Saturday and the Monday after a Sunday; from the same page.

    The first is 5 U.S.C. 6103(b)(1), the second Executive Order 11582; both from memory.
    """
    return holiday + timedelta(days={5: -1, 6: 1}.get(holiday.weekday(), 0))


def list_days(first: date, last: date) -> list[date]:
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def test_business_days_are_those_of_the_statute_from_2015_to_2035() -> None:
    """Every weekday of 21 years, both ways: closed on the statute's days and on no other.

    Inauguration Day, 6103(c), is kept in and around the District of Columbia only and is not in this calendar; from
    memory.
    """
    calendar = WorkingCalendar(country="US")
    observed = {observe(holiday) for year in range(2015, 2037) for holiday in list_federal_holidays(year)}
    assert date(2027, 12, 31) in observed  # 1 January 2028 is a Saturday
    for day in list_days(date(2015, 1, 1), date(2035, 12, 31)):
        assert calendar.is_open(day) == (day.weekday() < 5 and day not in observed), day


def test_a_shop_open_at_weekends_is_closed_on_the_holiday_itself_and_on_the_day_on_which_it_is_kept() -> None:
    """The statute moves only the day off of federal employees; the package keeps both days as holidays.

    So a shop that works on Saturdays has two closed days for one such holiday: 3 and 4 July 2026.
    """
    calendar = WorkingCalendar(frozenset(range(1, 8)), country="US")
    holidays = {day for year in range(2015, 2037) for day in list_federal_holidays(year)}
    closed = holidays | {observe(day) for day in holidays}
    assert not calendar.is_open(date(2026, 7, 3)) and not calendar.is_open(date(2026, 7, 4))
    for day in list_days(date(2015, 1, 1), date(2035, 12, 31)):
        assert calendar.is_open(day) == (day not in closed), day


def find_easter(year: int) -> date:
    """Easter Sunday by the anonymous Gregorian algorithm (Nature, 1876; from memory)."""
    a, (b, c) = year % 19, divmod(year, 100)
    d, e = divmod(b, 4)
    g = (b - (b + 8) // 25 + 1) // 3
    h = (19 * a + b - d - g + 15) % 30
    i, k = divmod(c, 4)
    x = (32 + 2 * e + 2 * i - h - k) % 7
    m = (a + 11 * h + 22 * x) // 451
    month, day = divmod(h + x - 7 * m + 114, 31)
    return date(year, month, day + 1)


def list_french_holidays(year: int) -> list[date]:
    """The eleven days of article L3133-1 of the Code du travail, read as published; none of them is moved."""
    easter = find_easter(year)
    fixed = ((1, 1), (5, 1), (5, 8), (7, 14), (8, 15), (11, 1), (11, 11), (12, 25))
    return [*(date(year, *day) for day in fixed), *(easter + timedelta(days=n) for n in (1, 39, 50))]


def test_business_days_in_france_from_2015_to_2035() -> None:
    # Published days of Easter, from memory: 5 April 2015, 31 March 2024, 20 April 2025.
    assert [find_easter(year) for year in (2015, 2024, 2025)] == [
        date(2015, 4, 5),
        date(2024, 3, 31),
        date(2025, 4, 20),
    ]
    calendar = WorkingCalendar(frozenset(range(1, 8)), country="FR")
    closed = {day for year in range(2015, 2036) for day in list_french_holidays(year)}
    for day in list_days(date(2015, 1, 1), date(2035, 12, 31)):
        assert calendar.is_open(day) == (day not in closed), day


@pytest.mark.full
@pytest.mark.django_db
@pytest.mark.parametrize(("unit", "months_in_it", "most"), [("months", 1, 241), ("years", 12, 31)])
def test_steps_against_postgresql_intervals(unit: str, months_in_it: int, most: int) -> None:
    """PostgreSQL's own interval arithmetic on 10,000 random dates, in the database."""
    chance = random.Random(2026)
    days = [*pick_dates(2026, 9_000), *(date(year, 2, 29) for year in range(1904, 2097, 4))]
    days += [add_months(date(1990, 1, 31), chance.randrange(480)) for _ in range(10_000 - len(days))]
    counts = [chance.randrange(0, most) for _ in days]
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT (d + make_interval({unit} => n))::date FROM unnest(%s::date[], %s::int[]) WITH ORDINALITY "
            "AS t(d, n, place) ORDER BY place",
            [days, counts],
        )
        theirs = [row[0] for row in cursor.fetchall()]
    assert len(theirs) == 10_000
    assert theirs == [add_months(day, count * months_in_it) for day, count in zip(days, counts, strict=True)]
