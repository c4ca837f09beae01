"""When a site and its people work, as half-open spans of time in UTC, and how to cut and join such spans. What a
search for times is told: what the visit takes and serves, and each site with its bays and people. When a customer
is told that a vehicle is ready: on a full five minutes, so never before it is.
"""

import zoneinfo
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import BayKind, Skill
from treatments.enums import Training
from treatments.rules.explanation import Explanation, Label, explain
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


# A film may be renewed this long before its window opens where the vehicle is there anyway.
TOUCHED_UP_EARLY_DAYS = 30


@dataclass(frozen=True, slots=True)
class NeededTraining:
    """The certificates that spraying a vehicle needs because of its propulsion, and who holds them all.

    Attributes:
        good_until: each person who holds them, with the last day on which all are good.
    """

    trainings: tuple[Training, ...]
    good_until: tuple[tuple[int, date], ...] = ()

    def is_held_by(self, person: int | None, day: date) -> bool:
        """Whether a person may do the work on a day; None is a shop that books its bays alone."""
        return person is None or any(key == person and day <= last for key, last in self.good_until)

    def explain_who_may(self) -> Explanation:
        """Return what to say to whoever finds no time: it may be for want of somebody who is certified."""
        return explain("visit.who_may", trainings=self.labels)

    @property
    def labels(self) -> tuple[Label, ...]:
        """The trainings as parameters of an explanation."""
        return tuple(Label(training) for training in self.trainings)


@dataclass(frozen=True, slots=True)
class VisitWork:
    """What a visit takes. Sizes are the vehicle's; None where they are not on record.

    Attributes:
        work_minutes: washing, drying and the work itself, for which a person is needed.
        standing_minutes: afterwards, before the vehicle may leave.
        stands_in_bay: whether the bay stays taken meanwhile.
        vehicle_taken: when the vehicle is with the shop for something else.
        training: what who does it must be certified for besides; None where nothing is asked.
    """

    bay_kind: BayKind
    skill: Skill
    work_minutes: int
    standing_minutes: int = 0
    stands_in_bay: bool = False
    height_mm: int | None = None
    mass_kg: int | None = None
    vehicle_taken: tuple[Span, ...] = ()
    training: NeededTraining | None = None

    def can_be_done_by(self, person: "PersonTimes", day: date) -> bool:
        """Whether a person has the skill for the work, and the certificates for this vehicle on a day."""
        is_certified = self.training is None or self.training.is_held_by(person.key, day)
        return self.skill in person.skills and is_certified


@dataclass(frozen=True, slots=True)
class DueDates:
    """One thing that the visit is to serve."""

    key: str
    kind: DueKind
    opens_on: date
    target_on: date
    last_on: date
    grace_until: date

    @property
    def first_served_on(self) -> date:
        """The first day on which a visit does it: a reinspection in its window, a touch-up up to 30 days before."""
        early = timedelta(days=TOUCHED_UP_EARLY_DAYS) if self.kind is DueKind.TOUCH_UP else timedelta()
        return self.opens_on - early

    def is_served_on(self, day: date) -> bool:
        """Whether a visit on ``day`` does it."""
        return day >= self.first_served_on


@dataclass(frozen=True, slots=True)
class BayTimes:
    """A bay, its limits (None: not stated), and when it is taken or closed."""

    key: int
    name: str
    kind: BayKind
    most_height_mm: int | None = None
    most_mass_kg: int | None = None
    taken: tuple[Span, ...] = ()

    def fits(self, work: VisitWork) -> bool:
        """Whether the vehicle can be worked on here, as far as sizes and limits are known."""
        if work.bay_kind is BayKind.LIFT and self.kind is not BayKind.LIFT:
            return False
        return not _exceeds(work.height_mm, self.most_height_mm) and not _exceeds(work.mass_kg, self.most_mass_kg)


def _exceeds(size: int | None, most: int | None) -> bool:
    return size is not None and most is not None and size > most


@dataclass(frozen=True, slots=True)
class PersonTimes:
    """A person who may be booked, when that person works on each day, and when already taken or away."""

    key: int | None
    name: str
    skills: frozenset[Skill]
    worked: Mapping[date, tuple[Span, ...]]
    taken: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class SiteTimes:
    """A site with its bays and people. ``open_spans`` reach some days past the last day that is asked for."""

    key: int
    name: str
    zone: zoneinfo.ZoneInfo
    open_spans: Mapping[date, tuple[Span, ...]]
    bays: tuple[BayTimes, ...]
    people: tuple[PersonTimes, ...]


STEP = timedelta(minutes=5)


def round_up_ready(moment: datetime) -> datetime:
    """Return a moment rounded up to five minutes, in its own time zone; what is booked stays exact."""
    past = timedelta(minutes=moment.minute % 5, seconds=moment.second, microseconds=moment.microsecond)
    return (moment.astimezone(UTC) + (STEP - past)).astimezone(moment.tzinfo) if past else moment
