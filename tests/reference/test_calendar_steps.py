"""Steps of months, yearly series and business days against other calculators and published calendars."""

import random
from datetime import date, timedelta

import pytest
from dateutil.rrule import YEARLY, rrule
from django.db import connection

from scheduling.rules.calendars import WorkingCalendar, find_public_holidays
from scheduling.rules.dates import add_months


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


def test_federal_holidays_with_observed_days() -> None:
    # 5 U.S.C. 6103 and the published observed days for 2026 and 2027 (from memory: 4 July 2026 is a Saturday, kept on
    # the 3rd; 4 July 2027 a Sunday, kept on the 5th; Juneteenth 2027 a Saturday, kept on the 18th).
    calendar = WorkingCalendar(country="US")
    for day in (
        date(2026, 1, 1), date(2026, 1, 19), date(2026, 2, 16), date(2026, 5, 25), date(2026, 6, 19), date(2026, 7, 3),
        date(2026, 9, 7), date(2026, 10, 12), date(2026, 11, 11), date(2026, 11, 26), date(2026, 12, 25),
        date(2027, 6, 18), date(2027, 7, 5),
    ):  # fmt: skip
        assert calendar.explain_closed(day) == "a public holiday", day
        assert calendar.is_open(day + timedelta(days=21)), day
    # Another country: Canada Day 2026, a Wednesday (Holidays Act; from memory).
    assert date(2026, 7, 1) in find_public_holidays("CA", "NS", 2026)


@pytest.mark.full
@pytest.mark.django_db
def test_month_steps_against_postgresql_intervals() -> None:
    """PostgreSQL's own interval arithmetic on 10,000 random dates, in the database."""
    chance = random.Random(2026)
    cases = [
        (date(1990, 1, 1) + timedelta(days=chance.randrange(20_000)), chance.randrange(0, 241)) for _ in range(10_000)
    ]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT (d + make_interval(months => m))::date FROM unnest(%s::date[], %s::int[]) WITH ORDINALITY "
            "AS t(d, m, n) ORDER BY n",
            [[day for day, _ in cases], [months for _, months in cases]],
        )
        theirs = [row[0] for row in cursor.fetchall()]
    assert theirs == [add_months(day, months) for day, months in cases]
