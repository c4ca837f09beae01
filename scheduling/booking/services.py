"""Booking a visit and moving it, so that no bay, person, vehicle or due item is ever taken twice.

Whoever books locks vehicle, bay and person in that order, looks, and writes; the database refuses what slips through.
The loser is told what is taken and the next times that are free.
"""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

from django.db import DatabaseError, IntegrityError, transaction

from scheduling.booking.finding import propose_slots, read_visit_work
from scheduling.booking.following import count_change, follow_appointments, serve_items
from scheduling.booking.placing import (
    BookedAlreadyError,
    ChangedMeanwhileError,
    SlotTakenError,
    explain_moment,
    find_stay,
    refuse_far,
    refuse_past,
)
from scheduling.booking.reading import WhatIsDue, read_what_is_due_for
from scheduling.booking.rules.slots import Preferences, Slot, Stay
from scheduling.enums import VisitKind
from scheduling.models import Appointment, AppointmentItem, AppointmentStatus, Bay, BookedBy, Cover
from scheduling.refusals import refuse
from treatments.event_log import Happening, record_events
from treatments.models import Customer, Ownership, Site, User, Vehicle
from treatments.queries import find_today
from treatments.rules.explanation import Explanation, Label, explain, to_json
from treatments.shared.long_work import take_turn

ALTERNATIVES = 3
# How many days on another time is looked for, further and further until there are enough.
LOOKED_THROUGH_FOR_OTHERS = (14, 60, 240)
# Where a database or its driver says by name which place was taken.
TAKEN_TWICE = "never_taken_twice"


def book_visit(
    *,
    vehicle: Vehicle,
    bay: Bay,
    person: User | None,
    starts_at: datetime,
    now: datetime,
    actor: User | None,
    cover: Cover | None = None,
    visit: VisitKind | None = None,
    booked_by: BookedBy = BookedBy.DESK,
    why: Explanation | None = None,
    note: str = "",
    goes_on_from: Appointment | None = None,
) -> Appointment:
    """Book a visit that serves all that is due for the vehicle by then.

    Args:
        starts_at: an aware moment on a whole minute; how long it takes is read from the work durations.
        visit: what the vehicle comes for; without it what is due decides.
        why: why this time was proposed, as ``propose_slots`` said.
        goes_on_from: the first part of a visit that was split; it is not in this one's way.

    Raises:
        SlotTakenError: where somebody was first; with the next three times that are free.
        SchedulingError: naming what is wrong with the wish itself.
    """

    def look() -> None:
        _check(vehicle, bay, person, starts_at, now, cover, visit, goes_on_from)

    def write() -> Appointment:
        return _book(vehicle, bay, person, starts_at, now, actor, cover, visit, booked_by, why, note, goes_on_from)

    def offer() -> tuple[Slot, ...]:
        return offer_instead(vehicle=vehicle, cover=cover, site=bay.site, visit=visit, start=starts_at, now=now)

    return _try(look, write, offer)


def _try(
    look: Callable[[], object], write: Callable[[], Appointment], offer: Callable[[], tuple[Slot, ...]]
) -> Appointment:
    """Run one booking in a transaction; what is offered instead is looked for when no lock is held any more.

    Whoever can be told at a look that the place is taken need not queue for the lock to hear it.
    """
    try:
        look()
        with take_turn(), transaction.atomic():
            return write()
    except BookedAlreadyError:
        raise
    except SlotTakenError as taken:
        explanation = taken.explanation
    except IntegrityError as error:
        explanation = explain_taken(error)
    raise SlotTakenError(explanation, offer())


def explain_taken(error: DatabaseError) -> Explanation:
    """Return what the database found taken twice, or raise the error where it is about something else."""
    told = str(error)
    for name in ("bay", "person", "vehicle"):
        if f"{name}_{TAKEN_TWICE}" in told:
            return explain(f"visit.taken_meanwhile.{name}")
    if "due_item_served_once" in told or "scheduling_appointmentitem.cover_id" in told:
        raise BookedAlreadyError(explain("visit.taken_meanwhile.due"))
    raise error


def offer_instead(
    *,
    vehicle: Vehicle,
    cover: Cover | None,
    site: Site,
    visit: VisitKind | None,
    start: datetime,
    now: datetime,
    moved: Appointment | None = None,
) -> tuple[Slot, ...]:
    """Return the next three times that are free from a wish on."""
    # Where it stands already is nothing to be offered.
    here = (moved.bay_id, moved.starts_at) if moved else None
    wished = find_today(max(start, now), site)
    slots: tuple[Slot, ...] = ()
    for days in LOOKED_THROUGH_FOR_OTHERS:
        found = propose_slots(
            vehicle=vehicle,
            cover=cover,
            sites=[site],
            now=now,
            from_moment=start,
            until=wished + timedelta(days=days),
            preferences=Preferences(near=wished),
            visit=visit,
            moved=moved,
            most=ALTERNATIVES + (moved is not None),
        ).slots
        slots = tuple(slot for slot in found if (slot.bay, slot.starts_at) != here)[:ALTERNATIVES]
        if len(slots) == ALTERNATIVES:
            break
    return slots


def _book(
    vehicle: Vehicle,
    bay: Bay,
    person: User | None,
    starts_at: datetime,
    now: datetime,
    actor: User | None,
    cover: Cover | None,
    visit: VisitKind | None,
    booked_by: BookedBy,
    why: Explanation | None,
    note: str,
    goes_on_from: Appointment | None,
) -> Appointment:
    lock_places(vehicle, bay, person)
    due, kind, stay = _check(vehicle, bay, person, starts_at, now, cover, visit, goes_on_from)
    owned = Ownership.objects.filter(vehicle=vehicle, until_day__isnull=True).select_related("customer").first()
    customer: Customer | None = owned.customer if owned else None
    count = Appointment.objects.filter(vehicle=vehicle).count()
    appointment = Appointment(
        number=f"B{vehicle.pk:06d}-{count + 1}",
        site=bay.site,
        bay=bay,
        person=person,
        vehicle=vehicle,
        cover=cover,
        customer=customer,
        visit=kind,
        starts_at=stay.starts_at,
        work_ends_at=stay.work_ends_at,
        bay_free_at=stay.bay_free_at,
        ready_at=stay.ready_at,
        booked_by=booked_by,
        why=why and to_json(why),
        note=note,
        recorded_at=now,
        changed_at=now,
    )
    appointment.full_clean()
    appointment.save()
    serve_what_is_due(appointment, due, find_today(now, bay.site))
    record_events([describe_visit_event("booked", appointment)], actor=actor, now=now)
    return appointment


def _check(
    vehicle: Vehicle,
    bay: Bay,
    person: User | None,
    starts_at: datetime,
    now: datetime,
    cover: Cover | None,
    visit: VisitKind | None,
    goes_on_from: Appointment | None,
) -> tuple[WhatIsDue, VisitKind, Stay]:
    if cover is not None and cover.vehicle_id != vehicle.pk:
        raise refuse("visit.other_vehicle", "cover", cover=cover.number, vin=vehicle.vin)
    due = read_what_is_due_for(cover, find_today(now, bay.site))
    kind = visit or due.visit
    refuse_past(starts_at, now, bay.site)
    refuse_far(starts_at, now, bay.site)
    if cover is not None:
        list_what_is_free(cover, due, kind, find_today(starts_at, bay.site))
    if not due.served_by(kind):
        _refuse_second_for_nothing(vehicle, kind, now, goes_on_from)
    work = read_visit_work(vehicle=vehicle, site=bay.site, visit=kind, zones=due.zones)
    return due, kind, find_stay(bay=bay, person=person, starts_at=starts_at, work=work)


def _refuse_second_for_nothing(
    vehicle: Vehicle, kind: VisitKind, now: datetime, goes_on_from: Appointment | None
) -> None:
    """Refuse a visit for which nothing is due where the vehicle is coming for the same already: a press too many.

    Raises:
        BookedAlreadyError: naming the visit.
    """
    coming = Appointment.objects.filter(
        vehicle=vehicle, visit=kind, status=AppointmentStatus.BOOKED, starts_at__gte=now
    ).select_related("site")
    if goes_on_from is not None:
        coming = coming.exclude(pk=goes_on_from.pk)
    other = coming.order_by("starts_at").first()
    if other is not None:
        moment = explain_moment(other.starts_at, other.site)
        raise BookedAlreadyError(explain("visit.comes_already", number=other.number, moment=moment))


def lock_vehicle(vehicle: int) -> None:
    """Lock a vehicle by its key; every change of a visit begins with it."""
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle)


def lock_places(vehicle: Vehicle, bay: Bay, person: User | None) -> None:
    """Lock what a booking takes, in the one order that every booking keeps."""
    lock_vehicle(vehicle.pk)
    Bay.objects.select_for_update(no_key=True).get(pk=bay.pk)
    if person is not None:
        User.objects.select_for_update(no_key=True).get(pk=person.pk)


def serve_what_is_due(appointment: Appointment, due: WhatIsDue, today: date) -> None:
    """Let an appointment serve all that is due by its day, and the index follow.

    Raises:
        SlotTakenError: where all of it is served by another appointment.
    """
    cover = appointment.cover
    if cover is None:
        return
    day = find_today(appointment.starts_at, appointment.site)
    serve_items(appointment, list_what_is_free(cover, due, VisitKind(appointment.visit), day, besides=appointment))
    follow_appointments(cover, today)


def list_what_is_free(
    cover: Cover, due: WhatIsDue, visit: VisitKind, day: date, besides: Appointment | None = None
) -> set[str]:
    """Return what a visit on a day would serve and no other visit serves.

    Raises:
        BookedAlreadyError: where all of it is served by another visit.
    """
    served = {item.key for item in due.served_by(visit) if item.is_served_on(day)}
    elsewhere = AppointmentItem.objects.filter(cover=cover, serves=True)
    if besides is not None:
        elsewhere = elsewhere.exclude(appointment=besides)
    others = {item.due_key: item.appointment for item in elsewhere.select_related("appointment__site")}
    free = served - others.keys()
    if served and not free:
        other = next(iter(others.values()))
        moment = explain_moment(other.starts_at, other.site)
        raise BookedAlreadyError(explain("visit.all_booked", number=other.number, moment=moment))
    return free


def describe_visit_event(verb: str, appointment: Appointment, before: dict[str, Any] | None = None) -> Happening:
    """Return the log entry of a change of an appointment."""
    return Happening(
        f"appointment.{verb}",
        "appointment",
        str(appointment.pk),
        before=before,
        after=describe_appointment(appointment),
    )


def describe_appointment(appointment: Appointment) -> dict[str, Any]:
    """Return an appointment as the log keeps it."""
    return {
        "number": appointment.number,
        "vehicle": appointment.vehicle_id,
        "cover": appointment.cover_id,
        "customer": appointment.customer_id,
        "bay": appointment.bay_id,
        "person": appointment.person_id,
        "starts_at": appointment.starts_at,
        "work_ends_at": appointment.work_ends_at,
        "ready_at": appointment.ready_at,
        "status": str(appointment.status),
        "reason": appointment.status_reason,
        "sequence": appointment.sequence,
    }


def move_visit(
    *,
    appointment: Appointment,
    bay: Bay,
    person: User | None,
    starts_at: datetime,
    now: datetime,
    actor: User | None,
    seen_sequence: int | None = None,
    why: Explanation | None = None,
) -> Appointment:
    """Move a booked visit to another time, bay or person; what it serves follows.

    Args:
        seen_sequence: the sequence of the appointment as the person saw it; what was changed since is not overwritten.
        why: why the new time was proposed; what was said of the old one is true no more.

    Raises:
        SlotTakenError: where the new time is taken; with the next three times that are free. Nothing is changed then.
        ChangedMeanwhileError: where it was changed, cancelled or begun meanwhile.
    """

    def find(visit: Appointment) -> tuple[WhatIsDue, Stay]:
        due = read_what_is_due_for(visit.cover, find_today(now, bay.site))
        kind = VisitKind(visit.visit)
        work = read_visit_work(vehicle=visit.vehicle, site=bay.site, visit=kind, zones=due.zones, leave_out=visit)
        refuse_past(starts_at, now, bay.site)
        refuse_far(starts_at, now, bay.site)
        return due, find_stay(bay=bay, person=person, starts_at=starts_at, work=work, moved=visit)

    def write() -> Appointment:
        lock_places(appointment.vehicle, bay, person)
        locked = lock_appointment(appointment, [AppointmentStatus.BOOKED], "moved", seen_sequence)
        before = describe_appointment(locked)
        due, stay = find(locked)
        locked.site, locked.bay, locked.person = bay.site, bay, person
        locked.starts_at, locked.work_ends_at = stay.starts_at, stay.work_ends_at
        locked.bay_free_at, locked.ready_at = stay.bay_free_at, stay.ready_at
        locked.changed_at, locked.why = now, why and to_json(why)
        locked.full_clean()
        locked.save()
        count_change(locked)
        serve_what_is_due(locked, due, find_today(now, bay.site))
        record_events([describe_visit_event("moved", locked, before)], actor=actor, now=now)
        return locked

    def offer() -> tuple[Slot, ...]:
        return offer_instead(
            vehicle=appointment.vehicle,
            cover=appointment.cover,
            site=bay.site,
            visit=VisitKind(appointment.visit),
            start=starts_at,
            now=now,
            moved=appointment,
        )

    return _try(lambda: find(appointment), write, offer)


def lock_appointment(
    appointment: Appointment, may_be: list[AppointmentStatus], verb: str, seen_sequence: int | None = None
) -> Appointment:
    """Return the appointment, locked, in a state in which it can be changed.

    Raises:
        ChangedMeanwhileError: where it is in another state, or was changed since it was seen.
    """
    locked = (
        Appointment.objects.select_for_update(of=("self",))
        .select_related("site", "bay__site", "vehicle", "cover__vehicle", "cover__site", "customer", "person")
        .get(pk=appointment.pk)
    )
    if locked.status not in may_be:
        status = Label(locked.status)
        raise ChangedMeanwhileError(explain(f"visit.can_not_be.{verb}", number=locked.number, status=status))
    if seen_sequence is not None and locked.sequence != seen_sequence:
        moment = explain_moment(locked.starts_at, locked.site)
        raise ChangedMeanwhileError(explain("visit.changed_meanwhile", number=locked.number, moment=moment))
    return locked
