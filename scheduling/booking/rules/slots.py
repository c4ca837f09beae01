"""Finds the best few times for a visit: which bay, which person, from when to when, and why this one.

Everything that is taken comes in as spans of time. One visit serves all that is due for the vehicle by then.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

from scheduling.booking.rules.opening import (
    BayTimes,
    DueDates,
    PersonTimes,
    SiteTimes,
    Span,
    VisitWork,
    find_open_moment_from,
    finish_work,
    subtract,
)
from scheduling.booking.rules.slot_reasons import explain_bay, explain_day, explain_slot
from scheduling.enums import BayKind
from treatments.rules.explanation import Explanation, explain
from treatments.rules.site_days import find_day, find_moment

# Visits begin on a quarter of an hour, as people agree on times.
STEP_MINUTES = 15
NOON = 12


@dataclass(frozen=True, slots=True)
class Preferences:
    """What the customer would like; kept where it can be, and said where it can't.

    Attributes:
        weekdays: ISO numbers; empty: any.
        part_of_day: "morning", "afternoon" or "" for either; a visit belongs to the part in which it begins.
        avoid: days on which the customer can't, first and last included.
        near: the day that the customer named; times near it come first.
        earliest: whether the customer wants to come as soon as can be; else times near the target day come first.
    """

    weekdays: frozenset[int] = frozenset()
    part_of_day: str = ""
    avoid: tuple[tuple[date, date], ...] = ()
    near: date | None = None
    earliest: bool = False

    def list_unmet(self, start: datetime) -> tuple[str, ...]:
        """Return which wishes a start in local time does not meet: "weekday", "part of the day"."""
        unmet = []
        if self.weekdays and start.isoweekday() not in self.weekdays:
            unmet.append("weekday")
        if self.part_of_day and (start.hour < NOON) != (self.part_of_day == "morning"):
            unmet.append("part of the day")
        return tuple(unmet)

    def rules_out(self, day: date) -> bool:
        return any(first <= day <= last for first, last in self.avoid)


NO_WISHES = Preferences()


@dataclass(frozen=True, slots=True)
class Slot:
    """A time that is free: bay, person, the moments of the stay in UTC, what it serves, and why it is proposed."""

    site: int
    bay: int
    bay_name: str
    person: int | None
    person_name: str
    day: date
    starts_at: datetime
    work_ends_at: datetime
    bay_free_at: datetime
    ready_at: datetime
    serves: tuple[str, ...] = ()
    why: Explanation | None = None
    rank: tuple[int, ...] = field(default=(), repr=False)


def find_slots(
    items: Sequence[DueDates],
    work: VisitWork,
    sites: Sequence[SiteTimes],
    from_moment: datetime,
    until: date,
    preferences: Preferences = NO_WISHES,
    *,
    most: int = 5,
) -> tuple[Slot, ...]:
    """Return the best few times for a visit, best first, at most one for each half of a day.

    The order: no due item runs over its last day of grace that need not; all that is due is served; in the windows
    rather than in the days of grace; the wishes; near the day that ``choose_day_to_be_near`` says, or as early as can
    be; a bay that is no larger than it need be.

    Args:
        items: all that is due for the vehicle; none for a visit that nothing calls for.
        work: what the visit takes and the vehicle's size.
        sites: where it may be done, with everything that is taken there.
        from_moment: nothing begins before it.
        until: the last day to look at.
        preferences: what the customer would like.
        most: how many to return.
    """
    best: list[tuple[SortKey, Place, SiteTimes, date, DayJudged]] = []
    for bound, site, day, today in _list_days(items, sites, from_moment, until, preferences):
        # No time of this day or of those that follow comes before what is found already.
        if len(best) >= most and best[most - 1][0][0] < bound:
            break
        judged = judge_day(items, day, today)
        distance = bound[-1]
        of_half: dict[bool, tuple[SortKey, Place, SiteTimes, date, DayJudged]] = {}
        for is_morning, place in _list_places(work, site, day, from_moment):
            unmet = preferences.list_unmet(place.stay.starts_at.astimezone(site.zone))
            rank = (judged.run_over, judged.not_served, judged.in_grace, len(unmet), distance, *place.rank(work))
            key = rank, *place.when_and_where
            if is_morning not in of_half or key < of_half[is_morning][0]:
                of_half[is_morning] = key, place, site, day, judged
        best = sorted([*best, *of_half.values()], key=lambda found: found[0])[:most]
    return tuple(
        describe_slot(place, site, day, items, judged, work, preferences, rank=key[0])
        for key, place, site, day, judged in best
    )


SortKey = tuple[tuple[int, ...], datetime, int, int]


def _list_days(
    items: Sequence[DueDates],
    sites: Sequence[SiteTimes],
    from_moment: datetime,
    until: date,
    preferences: Preferences,
) -> list[tuple[tuple[int, ...], SiteTimes, date, date]]:
    """Return the days to look at, the most promising first, each with the rank that none of its times comes before.

    The last of each is today at the site.
    """
    days = []
    for site in sites:
        today = find_day(from_moment, site.zone)
        is_late = is_any_late(items, today)
        near = choose_day_to_be_near(items, today, preferences)
        turns = list_turns(items)
        counted: dict[int, tuple[int, int, int]] = {}
        for day, spans in site.open_spans.items():
            if day > until or not spans or (preferences.avoid and preferences.rules_out(day)):
                continue
            passed = bisect_right(turns, day.toordinal())
            counts = counted.get(passed)
            if counts is None:
                counts = counted[passed] = count_day(items, day, today, is_late)
            days.append(((*counts, 0, measure_distance(day, near)), site, day, today))
    return sorted(days, key=lambda found: found[0])


def list_turns(items: Sequence[DueDates]) -> list[int]:
    """Return the ordinals of the days from which on ``count_day`` may count something else than on the day before."""
    turns: set[int] = set()
    for item in items:
        turns |= {item.last_on.toordinal() + 1, item.grace_until.toordinal() + 1, item.first_served_on.toordinal()}
    return sorted(turns)


def choose_day_to_be_near(items: Sequence[DueDates], today: date, preferences: Preferences) -> date | None:
    """Return the day near which a visit suits best; None where the earliest day is the best.

    That is the day that the customer named, else the target day of what is most pressing. What is late is made good
    the better the earlier, and where nothing is due there is nothing to wait for.
    """
    if preferences.near is not None:
        return preferences.near
    if preferences.earliest or not items or is_any_late(items, today):
        return None
    return find_most_pressing(items).target_on


def measure_distance(day: date, near: date | None) -> int:
    """Return how far a day is from the one that is best: less comes first."""
    return abs((day - near).days) if near is not None else day.toordinal()


def find_most_pressing(items: Sequence[DueDates]) -> DueDates:
    return min(items, key=lambda item: (item.grace_until, item.target_on, item.key))


@dataclass(frozen=True, slots=True)
class Place:
    """A bay and a person that are free for a stay."""

    stay: "Stay"
    bay: BayTimes
    person: PersonTimes

    def rank(self, work: VisitWork) -> tuple[int, int]:
        """Return how much larger the bay is than it need be: less comes first."""
        # A vehicle that needs no lift leaves the lift to one that does, and a low one the tall lift.
        larger = int(self.bay.kind is BayKind.LIFT and work.bay_kind is BayKind.GROUND)
        return larger, (self.bay.most_height_mm or 0) // 100

    @property
    def when_and_where(self) -> tuple[datetime, int, int]:
        """What comes first among places of one rank: the earlier, then those that stand first in the records."""
        return self.stay.starts_at, self.bay.key, self.person.key or 0


def _list_places(work: VisitWork, site: SiteTimes, day: date, from_moment: datetime) -> Iterator[tuple[bool, Place]]:
    """Yield the first time of each half of a day in each bay with each person; True: in the morning."""
    # Who works on a day works between its midnights, so that a moment tells the half.
    noon = find_moment(day, time(NOON), site.zone)
    for bay, person in list_pairs(work, site, day):
        halves: set[bool] = set()
        for start in list_starts(bay, person, day, from_moment):
            # Within half a day the first start is the best one; the later ones need not be laid.
            half = start < noon
            if half in halves:
                continue
            stay = lay_free_stay(start, work, site, bay, person, day)
            if stay is not None:
                halves.add(half)
                yield half, Place(stay, bay, person)
                if len(halves) == 2:
                    break


def list_pairs(work: VisitWork, site: SiteTimes, day: date) -> list[tuple[BayTimes, PersonTimes]]:
    """Return the bays that suit the vehicle, each with the people who work on a day and can do the work."""
    people = [person for person in site.people if work.can_be_done_by(person, day) and person.worked.get(day)]
    return [(bay, person) for bay in site.bays if bay.fits(work) for person in people]


def list_starts(bay: BayTimes, person: PersonTimes, day: date, from_moment: datetime) -> Iterator[datetime]:
    """Yield, in order, when a visit may begin on a day as far as bay and person are free: on quarters of an hour."""
    return _list_starts(subtract(person.worked[day], (*bay.taken, *person.taken)), from_moment)


def lay_free_stay(
    start: datetime, work: VisitWork, site: SiteTimes, bay: BayTimes, person: PersonTimes, day: date
) -> "Stay | None":
    """Return the stay that begins at ``start`` where bay, person and vehicle are free for all of it, or None."""
    stay = lay_stay(start, work, site, person.worked[day])
    return stay if stay is not None and _is_free(stay, bay, person, work) else None


def _list_starts(free: Sequence[Span], from_moment: datetime) -> Iterator[datetime]:
    """Yield where a visit may begin in the free time of a day: on quarters of an hour."""
    step = timedelta(minutes=STEP_MINUTES)
    for span in free:
        start = max(span.start, from_moment)
        past = timedelta(minutes=start.minute % STEP_MINUTES, seconds=start.second, microseconds=start.microsecond)
        if past:
            start += step - past
        while start < span.end:
            yield start
            start += step


@dataclass(frozen=True, slots=True)
class Stay:
    """The moments of one stay, in UTC."""

    starts_at: datetime
    work_ends_at: datetime
    bay_free_at: datetime
    ready_at: datetime


def lay_stay(start: datetime, work: VisitWork, site: SiteTimes, worked: Sequence[Span]) -> Stay | None:
    """Return the stay that begins at ``start``, or None where the work is not done on that day.

    The vehicle is ready when its film has stood long enough and the site is open to hand it over.
    """
    work_ends_at = finish_work(start, work.work_minutes, worked)
    if work_ends_at is None:
        return None
    ready_at = _find_ready(work_ends_at + timedelta(minutes=work.standing_minutes), site)
    return Stay(start, work_ends_at, ready_at if work.stands_in_bay else work_ends_at, ready_at)


def _find_ready(stood: datetime, site: SiteTimes) -> datetime:
    return find_open_moment_from(stood, site.open_spans) or stood


def end_stay(planned: Stay, ended_at: datetime, standing_minutes: int, site: SiteTimes, *, stands_in_bay: bool) -> Stay:
    """Return a stay as it was once it is over: the rest of its time is given back, and no more than that is taken.

    Args:
        ended_at: when it was over, after its start.
        site: open hours from the day of ``ended_at`` on.
    """
    work_ends_at = min(planned.work_ends_at, ended_at)
    stood = work_ends_at + timedelta(minutes=standing_minutes)
    ready_at = _find_ready(max(stood, ended_at), site)
    return Stay(
        planned.starts_at,
        work_ends_at,
        min(planned.bay_free_at, ready_at if stands_in_bay else ended_at),
        ready_at,
    )


def _is_free(stay: Stay, bay: BayTimes, person: PersonTimes, work: VisitWork) -> bool:
    wanted = (
        (stay.bay_free_at, bay.taken),
        (stay.work_ends_at, person.taken),
        (stay.ready_at, work.vehicle_taken),
    )
    return not any(Span(stay.starts_at, until).overlaps(span) for until, taken in wanted for span in taken)


@dataclass(frozen=True, slots=True)
class DayJudged:
    """How a day stands to all that is due: counted, and in words that go on."""

    run_over: int
    not_served: int
    in_grace: int
    explanation: Explanation


def judge_day(items: Sequence[DueDates], day: date, today: date) -> DayJudged:
    """Return how a day serves all that is due.

    What has run over its last day of grace before ``today`` can't be saved any more; the earlier it is made good the
    better, so nothing that opens later is waited for then.
    """
    if not items:
        return DayJudged(0, 0, 0, explain("visit.day.nothing_due"))
    pressing = find_most_pressing(items)
    return DayJudged(*count_day(items, day, today, is_any_late(items, today)), explain_day(pressing, day, today))


def is_any_late(items: Sequence[DueDates], today: date) -> bool:
    return any(item.last_on < today for item in items)


def count_day(items: Sequence[DueDates], day: date, today: date, is_late: bool) -> tuple[int, int, int]:
    """Return how many items a day lets run over, does not serve and serves in their days of grace."""
    run_over = not_served = in_grace = 0
    for item in items:
        run_over += today <= item.grace_until < day
        in_grace += item.last_on < day <= item.grace_until
        not_served += not is_late and not item.is_served_on(day)
    return run_over, not_served, in_grace


def describe_slot(
    place: Place,
    site: SiteTimes,
    day: date,
    items: Sequence[DueDates],
    judged: DayJudged,
    work: VisitWork,
    preferences: Preferences = NO_WISHES,
    *,
    rank: tuple[int, ...] = (),
) -> Slot:
    """Return a place on a day as it is proposed, with what it serves and why."""
    stay, bay, person = place.stay, place.bay, place.person
    unmet = preferences.list_unmet(stay.starts_at.astimezone(site.zone))
    return Slot(
        site.key,
        bay.key,
        bay.name,
        person.key,
        person.name,
        day,
        stay.starts_at.astimezone(UTC),
        stay.work_ends_at,
        stay.bay_free_at,
        stay.ready_at,
        tuple([item.key for item in items if item.is_served_on(day)]),
        explain_slot(judged.explanation, _explain_wishes(unmet, preferences), explain_bay(bay, work)),
        rank,
    )


def _explain_wishes(unmet: Sequence[str], preferences: Preferences) -> Explanation | None:
    if unmet:
        return explain("visit.wish.not_weekday" if unmet[0] == "weekday" else "visit.wish.not_part_of_day")
    if preferences.weekdays or preferences.part_of_day:
        return explain("visit.wish.as_asked")
    return explain("visit.wish.earliest") if preferences.earliest else None


__all__ = [
    "BayTimes", "DueDates", "PersonTimes", "Preferences", "SiteTimes", "Slot", "VisitWork", "choose_day_to_be_near",
    "end_stay", "explain_slot", "find_slots", "judge_day", "lay_stay",
]  # fmt: skip
