"""When a site and its people work, as half-open spans of time in UTC, and how to cut and join such spans.

Hours are written down in the site's own time and turned into moments day by day, so that a change of the clock falls
where it belongs.
"""

import zoneinfo
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from scheduling.covers.rules.calendars import WorkingCalendar
from treatments.rules.site_days import find_day, find_moment

Hours = Mapping[int, Sequence[tuple[time, time]]]

# What a site works where nobody has written its hours down: a usual day, so that the first booking needs no set-up.
USUAL_HOURS: tuple[tuple[time, time], ...] = ((time(8), time(17)),)


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """A stretch of time from ``start`` up to but not including ``end``, both aware and in UTC."""

    start: datetime
    end: datetime

    def overlaps(self, other: "Span") -> bool:
        return self.start < other.end and other.start < self.end


def make_span(day: date, start: time, end: time, zone: zoneinfo.ZoneInfo) -> Span:
    """Return a stretch of a day at a place as moments in UTC."""
    return Span(find_moment(day, start, zone), find_moment(day, end, zone))


def list_open_spans(
    hours: Hours, calendar: WorkingCalendar, zone: zoneinfo.ZoneInfo, first: date, last: date
) -> dict[date, tuple[Span, ...]]:
    """Return when a site works on each day from ``first`` to ``last``, both included; closed days are left out.

    Args:
        hours: by ISO weekday; a weekday that is missing has USUAL_HOURS where no weekday is written down at all, and
            none otherwise.
        calendar: which days are open.
        zone: the site's time zone.
    """
    found: dict[date, tuple[Span, ...]] = {}
    for step in range((last - first).days + 1):
        day = first + timedelta(days=step)
        if not calendar.is_open(day):
            continue
        listed = hours.get(day.isoweekday(), ()) if hours else USUAL_HOURS
        spans = tuple(make_span(day, start, end, zone) for start, end in sorted(listed))
        if spans:
            found[day] = spans
    return found


def list_worked_spans(
    hours: Hours, zone: zoneinfo.ZoneInfo, open_spans: Mapping[date, tuple[Span, ...]]
) -> dict[date, tuple[Span, ...]]:
    """Return when a person works on each open day: the person's own hours, or all of the site's without any."""
    if not hours:
        return dict(open_spans)
    worked = {}
    for day, spans in open_spans.items():
        own = [make_span(day, start, end, zone) for start, end in hours.get(day.isoweekday(), ())]
        both = intersect(spans, own)
        if both:
            worked[day] = both
    return worked


def intersect(some: Iterable[Span], others: Iterable[Span]) -> tuple[Span, ...]:
    """Return the stretches that lie in both."""
    theirs = sorted(others)
    found = [
        Span(max(one.start, other.start), min(one.end, other.end))
        for one in sorted(some)
        for other in theirs
        if one.overlaps(other)
    ]
    return tuple(found)


def subtract(spans: Iterable[Span], taken: Iterable[Span]) -> tuple[Span, ...]:
    """Return what is left of the spans without what is taken."""
    left = sorted(spans)
    if not left:
        return ()
    # What is taken on other days is put aside before it is put in order.
    first, last = left[0].start, max(span.end for span in left)
    for gone in sorted([gone for gone in taken if gone.start < last and first < gone.end]):
        rest = []
        for span in left:
            if not span.overlaps(gone):
                rest.append(span)
                continue
            if span.start < gone.start:
                rest.append(Span(span.start, gone.start))
            if gone.end < span.end:
                rest.append(Span(gone.end, span.end))
        left = rest
    return tuple(left)


def finish_work(start: datetime, minutes: int, worked: Sequence[Span]) -> datetime | None:
    """Return when work that begins at ``start`` is done, or None where the day is too short for it.

    Args:
        start: a moment within one of the spans.
        minutes: how long the work takes; a break between two spans is waited through.
        worked: when the person works on that day, in order.
    """
    left = timedelta(minutes=minutes)
    for span in worked:
        if span.end <= start:
            continue
        begin = max(span.start, start)
        if span.end - begin >= left:
            return begin + left
        left -= span.end - begin
    return None


def find_open_moment_from(moment: datetime, open_spans: Mapping[date, Sequence[Span]]) -> datetime | None:
    """Return ``moment`` or the next one at which the site is open; None where the days end before that."""
    # The last span of a day ends, in UTC, a day later at most.
    day = find_day(moment, UTC) - timedelta(days=1)
    while True:
        for span in open_spans.get(day, ()):
            if moment <= span.end:
                return max(moment, span.start)
        day += timedelta(days=1)
        # Only after a closed day need it be asked whether any open one follows.
        if day not in open_spans and day > max(open_spans, default=date.min):
            return None
