"""Books visits for many covers at once: proposes times, none in the way of another, and books them one by one.

Each booking stands by itself: what can't be booked is said with its reason, and the others are booked all the same.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError

from scheduling.booking.finding import LOOKED_THROUGH_DAYS
from scheduling.booking.reading import choose_near, read_site_times, sum_up_due
from scheduling.booking.services import book_visit
from scheduling.booking.work import read_workload
from scheduling.models import Appointment, AppointmentItem, Bay, Cover
from scheduling.queries import read_short_cases
from scheduling.rules.cover import NO_MORE_COVER
from scheduling.rules.due import sort_due_items
from scheduling.rules.opening import Span
from scheduling.rules.slots import SiteTimes, Slot, find_slots
from treatments.among import Among
from treatments.models import Site, User
from treatments.queries import find_today
from treatments.standing_query import GivenKeys, StandingQuery

# So many are read by one person on one page; more than that is what the season plan is for.
MOST_AT_ONCE = 100


@dataclass(frozen=True, slots=True)
class WantedVisit:
    """A cover and the time proposed for it, or why there is none."""

    cover: Cover
    slot: Slot | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ChosenTime:
    """A cover and the time that a person has chosen for it."""

    cover: Cover
    bay: Bay
    person: User | None
    starts_at: datetime
    why: str = ""


@dataclass(frozen=True, slots=True)
class BookedOne:
    """What became of one cover: its appointment, or why it has none."""

    cover: Cover
    appointment: Appointment | None
    reason: str = ""


def propose_many(*, covers: Sequence[Cover], now: datetime) -> list[WantedVisit]:
    """Return a time for each cover, the most pressing first; each counts as taken for those after it.

    Args:
        covers: with vehicle and site, at most MOST_AT_ONCE.
        now: the moment; nothing earlier is proposed.

    Raises:
        ValidationError: where there are too many.
    """
    if len(covers) > MOST_AT_ONCE:
        raise ValidationError(
            {"cover": f"{len(covers)} are more than {MOST_AT_ONCE} at once; choose fewer, and the others after these."}
        )
    times = _read_times({cover.site_id: cover.site for cover in covers}.values(), now)
    booked: dict[int, str] = {row[0]: row[1] for row in BOOKED.ask([cover.pk for cover in covers])}
    cases = {case.cover.pk: case for case in read_short_cases(covers)}
    workload = read_workload([cover.vehicle_id for cover in covers])
    wanted = []
    for cover in covers:
        if cover.pk in booked:
            wanted.append(WantedVisit(cover, None, f"Booked already: visit {booked[cover.pk]}."))
            continue
        today = find_today(now, cover.site)
        case = cases[cover.pk]
        found = case.assess(today)
        if found.state.status in NO_MORE_COVER:
            wanted.append(WantedVisit(cover, None, "The cover is over, so nobody must come for it."))
            continue
        due = sum_up_due(case, choose_near(sort_due_items(found.list_what_needs_doing()), today))
        if not due.items:
            wanted.append(WantedVisit(cover, None, "Nothing is due."))
            continue
        try:
            work = workload.find_work(
                vehicle=cover.vehicle_id,
                body_style=cover.vehicle.body_style,
                site=cover.site_id,
                visit=due.visit,
                zones=due.zones,
            )
        except ValidationError as error:
            wanted.append(WantedVisit(cover, None, " ".join(error.messages)))
            continue
        until = today + timedelta(days=LOOKED_THROUGH_DAYS)
        here = times[cover.site_id]
        slots = find_slots(due.served_by(due.visit), work, [here], now, until, most=1)
        if not slots:
            reason = f"Nothing is free in the next {LOOKED_THROUGH_DAYS} days in a bay that suits the vehicle."
            wanted.append(WantedVisit(cover, None, reason))
            continue
        times[cover.site_id] = _take(here, slots[0])
        wanted.append(WantedVisit(cover, slots[0]))
    return wanted


BOOKED = StandingQuery(
    lambda: (
        AppointmentItem.objects.filter(Among("cover_id", GivenKeys(0)), serves=True)
        .order_by("appointment_id", "pk")
        .values_list("cover_id", "appointment__number")
    )
)


def _read_times(sites: Iterable[Site], now: datetime) -> dict[int, SiteTimes]:
    """Return what is taken at each site from today on, in one query for all sites that have the same today."""
    by_today: dict[date, list[Site]] = defaultdict(list)
    for site in sites:
        by_today[find_today(now, site)].append(site)
    found = {}
    for today, theirs in by_today.items():
        for times in read_site_times(theirs, today, today + timedelta(days=LOOKED_THROUGH_DAYS)):
            found[times.key] = times
    return found


def _take(site: SiteTimes, slot: Slot) -> SiteTimes:
    bay_span, work_span = Span(slot.starts_at, slot.bay_free_at), Span(slot.starts_at, slot.work_ends_at)
    return replace(
        site,
        bays=tuple(replace(bay, taken=(*bay.taken, bay_span)) if bay.key == slot.bay else bay for bay in site.bays),
        people=tuple(
            replace(person, taken=(*person.taken, work_span)) if person.key == slot.person else person
            for person in site.people
        )
        if slot.person is not None
        else site.people,
    )


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
        except ValidationError as error:
            booked.append(BookedOne(one.cover, None, " ".join(error.messages)))
        else:
            booked.append(BookedOne(one.cover, appointment))
    return booked
