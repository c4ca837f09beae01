"""Books visits for many covers at once: proposes times, none in the way of another, and books them one by one. Reads
what booking many has to know of covers and their vehicles besides what is due for them.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from scheduling.bays.services import read_needed_trainings
from scheduling.booking.finding import Workload, find_last_day, read_workload
from scheduling.booking.reading import WhatIsDue, choose_near, read_site_times, sum_up_due
from scheduling.booking.rules.opening import SiteTimes
from scheduling.booking.rules.slots import Slot
from scheduling.booking.rules.slots_in_turn import VisitInTurn, find_slots_in_turn
from scheduling.booking.services import book_visit
from scheduling.covers.queries import CoverCase, read_cases_apart
from scheduling.covers.rules.cover import NO_MORE_COVER
from scheduling.covers.rules.due import sort_due_items
from scheduling.models import Appointment, AppointmentItem, Bay, Cover
from scheduling.refusals import SchedulingError, refuse
from treatments.models import Ownership, Site, User
from treatments.queries import find_today
from treatments.rules.explanation import Explanation, explain
from treatments.shared.faults import explain_fault


@dataclass(frozen=True, slots=True)
class KnownOfMany:
    """What is known of some covers: the number of a visit that serves one by cover, the others by vehicle."""

    booked: dict[int, str]
    phones: dict[int, str]
    workload: Workload


def read_known_of(covers: Sequence[Cover]) -> KnownOfMany:
    """Return what is known of some covers and their vehicles, by primary key."""
    vehicles = {cover.vehicle_id for cover in covers}
    booked = AppointmentItem.objects.filter(cover__in=covers, serves=True).order_by()
    # The open row of an owner is the owner now; a vehicle has one.
    owned = Ownership.objects.filter(vehicle__in=vehicles, until_day__isnull=True).order_by()
    return KnownOfMany(
        dict(booked.values_list("cover_id", "appointment__number")),
        dict(owned.values_list("vehicle_id", "customer__phone")),
        replace(read_workload(vehicles), trainings=read_needed_trainings(vehicles)),
    )


# So many are read by one person on one page; more than that is what the season plan is for.
MOST_AT_ONCE = 100


@dataclass(frozen=True, slots=True)
class WantedVisit:
    """A cover and the time proposed for it, or why there is none.

    Attributes:
        reasons: why there is none.
        phone: that of the vehicle's owner, '' where none is on record.
    """

    cover: Cover
    slot: Slot | None
    reasons: tuple[Explanation, ...] = ()
    phone: str = ""


@dataclass(frozen=True, slots=True)
class ChosenTime:
    """A cover and the time that a person has chosen for it."""

    cover: Cover
    bay: Bay
    person: User | None
    starts_at: datetime
    why: Explanation | None = None


@dataclass(frozen=True, slots=True)
class BookedOne:
    """What became of one cover: its appointment, or why it has none."""

    cover: Cover
    appointment: Appointment | None
    reasons: tuple[Explanation, ...] = ()


def propose_many(*, covers: Sequence[Cover], now: datetime, earliest: bool = False) -> list[WantedVisit]:
    """Return a time for each cover, the most pressing first; each counts as taken for those after it.

    Args:
        covers: with vehicle and site, at most MOST_AT_ONCE.
        now: the moment; nothing earlier is proposed.
        earliest: whether each is to come as early as can be, instead of near its target day.

    Raises:
        SchedulingError: where there are too many.
    """
    if len(covers) > MOST_AT_ONCE:
        raise refuse("visit.too_many", "cover", count=len(covers), most=MOST_AT_ONCE)
    known = read_known_of(covers)
    booked, workload = known.booked, known.workload
    days = {cover.site_id: find_today(now, cover.site) for cover in {one.site_id: one for one in covers}.values()}
    due = _read_what_is_due([cover for cover in covers if cover.pk not in booked], days)
    visits: dict[int, VisitInTurn] = {}
    reasons: dict[int, tuple[Explanation, ...]] = {
        key: (explain("visit.booked_already", number=number),) for key, number in booked.items()
    }
    for cover in covers:
        if cover.pk in booked:
            continue
        found = due[cover.pk]
        if isinstance(found, tuple):
            reasons[cover.pk] = found
            continue
        try:
            work = workload.find_work(
                vehicle=cover.vehicle_id,
                body_style=cover.vehicle.body_style,
                site=cover.site_id,
                visit=found.visit,
                zones=found.zones,
            )
        except SchedulingError as error:
            reasons[cover.pk] = (error.explanation,)
            continue
        items = found.served_by(found.visit)
        until = find_last_day(items, days[cover.site_id])
        visits[cover.pk] = VisitInTurn(cover.site_id, items, work, until, earliest)
    times = _read_times(covers, visits, days)
    slots = dict(zip(visits, find_slots_in_turn(list(visits.values()), times, now), strict=True))
    wanted = []
    for cover in covers:
        slot = slots.get(cover.pk)
        why_none = () if slot is not None else reasons.get(cover.pk) or _explain_nothing_free(visits[cover.pk])
        wanted.append(WantedVisit(cover, slot, why_none, known.phones.get(cover.vehicle_id, "")))
    return wanted


def _explain_nothing_free(visit: VisitInTurn) -> tuple[Explanation, ...]:
    said = explain("visit.nothing_free", last_on=visit.until)
    training = visit.work.training
    return (said, training.explain_who_may()) if training else (said,)


def _read_what_is_due(
    covers: Sequence[Cover], today_at: Mapping[int, date]
) -> dict[int, WhatIsDue | tuple[Explanation, ...]]:
    """Return by cover what a visit is to serve, or why nobody must come."""
    found: dict[int, WhatIsDue | tuple[Explanation, ...]] = {}
    cases, faults = read_cases_apart(covers)
    for case in cases:
        try:
            found[case.cover.pk] = _assess_due(case, today_at[case.cover.site_id])
        except Exception as error:
            faults[case.cover.pk] = explain_fault(error, f"Cover {case.cover.number}")
    return found | faults


def _assess_due(case: CoverCase, day: date) -> WhatIsDue | tuple[Explanation, ...]:
    assessed = case.assess(day)
    due = sum_up_due(case, choose_near(sort_due_items(assessed.list_what_needs_doing()), day))
    if assessed.state.status in NO_MORE_COVER:
        return (explain("visit.cover_over"),)
    return due if due.items else (explain("visit.nothing_due"),)


def _read_times(
    covers: Sequence[Cover], visits: Mapping[int, VisitInTurn], today_at: Mapping[int, date]
) -> dict[int, SiteTimes]:
    """Return what is taken at the site of each visit from today on, in one query for all that have the same today."""
    by_today: dict[date, dict[int, Site]] = defaultdict(dict)
    for cover in covers:
        if cover.pk in visits:
            by_today[today_at[cover.site_id]][cover.site_id] = cover.site
    found = {}
    for today, theirs in by_today.items():
        until = max(visit.until for visit in visits.values() if visit.site in theirs)
        for times in read_site_times(theirs.values(), today, until):
            found[times.key] = times
    return found


def book_many(*, chosen: Sequence[ChosenTime], now: datetime, actor: User | None) -> list[BookedOne]:
    """Book each cover for the time that was chosen for it; return for each what became of it.

    Where somebody else was first the next time is not taken by itself: a customer may have been told the first one, so
    a person decides.
    """
    booked = []
    for one in chosen:
        try:
            appointment = book_visit(
                vehicle=one.cover.vehicle,
                bay=one.bay,
                person=one.person,
                starts_at=one.starts_at,
                now=now,
                actor=actor,
                cover=one.cover,
                why=one.why,
            )
        except SchedulingError as error:
            booked.append(BookedOne(one.cover, None, (error.explanation,)))
        else:
            booked.append(BookedOne(one.cover, appointment))
    return booked
