"""A day as quarters of an hour, and where in it a visit can stand. A set of quarters is a whole number, one bit each.

Visits begin on quarters, and what is taken is widened to whole quarters, so a place found here is free to the minute.
"""

import zoneinfo
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import NamedTuple

from scheduling.booking.rules.opening import Span
from treatments.rules.site_days import MIDNIGHT, find_day, find_moment

QUARTER_MINUTES = 15
QUARTERS_A_DAY = 24 * 60 // QUARTER_MINUTES
NOON = QUARTERS_A_DAY // 2


class Stay(NamedTuple):
    """Where in a day a visit can stand: its first quarter, the quarters that it takes a person, and a bay."""

    start: int
    work: int
    bay: int


def count_quarters(minutes: int) -> int:
    """Return how many quarters of an hour some minutes take, begun ones included, at least one."""
    return max(1, -(-minutes // QUARTER_MINUTES))


def mark(start: int, end: int) -> int:
    """Return the quarters from ``start`` up to but not including ``end``."""
    return ((1 << (end - start)) - 1) << start if end > start else 0


def format_clock_time(quarter: int) -> str:
    """Return the time of day at which a quarter begins, such as 13:45."""
    hours, rest = divmod(quarter * QUARTER_MINUTES, 60)
    return f"{hours:02}:{rest:02}"


@lru_cache(maxsize=8_192)
def lay_stays(worked: int, work: int, standing: int) -> tuple[Stay, ...]:
    """Return every stay that begins and is done in the worked quarters of one day, the earliest first.

    Args:
        worked: the quarters that the person works; a break between them is waited through, in the bay.
        work: quarters of work.
        standing: quarters for which the bay stays taken afterwards, to the end of the day at most.
    """
    quarters = [number for number in range(QUARTERS_A_DAY) if worked >> number & 1]
    stays = []
    for first, start in enumerate(quarters[: max(0, len(quarters) - work + 1)]):
        end = quarters[first + work - 1] + 1
        stays.append(Stay(start, mark(start, end), mark(start, min(QUARTERS_A_DAY, end + standing))))
    return tuple(stays)


def find_stay(worked: int, work: int, standing: int, start: int) -> Stay | None:
    """Return the stay that begins on one quarter, or None where the work is not done on that day."""
    return next((stay for stay in lay_stays(worked, work, standing) if stay.start == start), None)


def mark_worked(spans: Mapping[date, Sequence[Span]], zone: zoneinfo.ZoneInfo, days: Sequence[date]) -> dict[date, int]:
    """Return the whole quarters of each day that lie in its spans; days without any are left out."""
    found = {}
    for day in days:
        quarters = 0
        for span in spans.get(day, ()):
            begins, ends = _clip(span, day, zone)
            quarters |= mark(-(-begins // QUARTER_MINUTES), ends // QUARTER_MINUTES)
        if quarters:
            found[day] = quarters
    return found


def mark_taken(spans: Iterable[Span], zone: zoneinfo.ZoneInfo, first: date, last: date) -> dict[date, int]:
    """Return the quarters of each day from ``first`` to ``last`` that spans touch; days without any are left out."""
    found: dict[date, int] = {}
    for span in spans:
        for day in _list_days(span, zone, first, last):
            begins, ends = _clip(span, day, zone)
            quarters = mark(begins // QUARTER_MINUTES, -(-ends // QUARTER_MINUTES))
            if quarters:
                found[day] = found.get(day, 0) | quarters
    return found


def _list_days(span: Span, zone: zoneinfo.ZoneInfo, first: date, last: date) -> Iterator[date]:
    day = max(first, find_day(span.start, zone))
    end = min(last, find_day(span.end, zone))
    while day <= end:
        yield day
        day += timedelta(days=1)


def _clip(span: Span, day: date, zone: zoneinfo.ZoneInfo) -> tuple[int, int]:
    """Return the minutes of the day, by the clock on the wall, at which a span begins and ends within it."""
    return _count_minutes(span.start, day, zone, up=False), _count_minutes(span.end, day, zone, up=True)


def _count_minutes(moment: datetime, day: date, zone: zoneinfo.ZoneInfo, *, up: bool) -> int:
    local = moment.astimezone(zone)
    if find_day(moment, zone) != day:
        return 0 if moment < find_moment(day, MIDNIGHT, zone) else QUARTERS_A_DAY * QUARTER_MINUTES
    return local.hour * 60 + local.minute + int(up and bool(local.second or local.microsecond))
