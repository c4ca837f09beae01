"""What else becomes of a visit: cancelled, not shown up, walked in, late, begun, done, or split in two.

Each is one thing that a person does, in one transaction, with its event; what is due follows.
"""

from datetime import date, datetime, timedelta

from django.db import IntegrityError, transaction

from scheduling.bays.queries import read_calendars
from scheduling.booking.finding import propose_slots
from scheduling.booking.following import count_change, follow_appointments, free_items, lay_finished_stay
from scheduling.booking.placing import SlotTakenError, find_in_the_way
from scheduling.booking.reading import find_place, read_site_times
from scheduling.booking.rules.slots import Preferences, Slot
from scheduling.booking.services import (
    book_visit,
    describe_appointment,
    describe_visit_event,
    explain_taken,
    lock_appointment,
    lock_places,
    lock_vehicle,
    offer_instead,
)
from scheduling.enums import VisitKind
from scheduling.models import Appointment, AppointmentStatus, Bay, BookedBy, Cover
from scheduling.refusals import refuse
from treatments.event_log import record_events
from treatments.models import Site, User, Vehicle
from treatments.queries import find_today
from treatments.rules.explanation import Explanation, OwnWords, explain
from treatments.rules.site_settings import find_zone
from treatments.shared.long_work import take_turn

BOOKED, IN_THE_BAY = AppointmentStatus.BOOKED, AppointmentStatus.IN_THE_BAY
MOST_MINUTES_LATE = 12 * 60


@take_turn()
@transaction.atomic
def cancel_visit(
    *, appointment: Appointment, reason: str, now: datetime, actor: User | None, seen_sequence: int | None = None
) -> Appointment:
    """Cancel a booked visit with a reason; its place is free again and what it was to serve is due again.

    Raises:
        SchedulingError: without a reason.
        ChangedMeanwhileError: where it was changed meanwhile.
    """
    return _give_up(appointment, AppointmentStatus.CANCELLED, "cancelled", reason, now, actor, seen_sequence)


@take_turn()
@transaction.atomic
def mark_no_show(*, appointment: Appointment, reason: str, now: datetime, actor: User | None) -> Appointment:
    """Record that the vehicle did not come; what the visit was to serve is due again.

    Raises:
        SchedulingError: before the visit was to begin, or without a word on what was tried.
        ChangedMeanwhileError: where it was changed meanwhile.
    """
    if now < appointment.starts_at:
        raise refuse("visit.not_begun", number=appointment.number)
    return _give_up(appointment, AppointmentStatus.NO_SHOW, "no_show", reason, now, actor, None)


def _give_up(
    appointment: Appointment,
    status: AppointmentStatus,
    verb: str,
    reason: str,
    now: datetime,
    actor: User | None,
    seen_sequence: int | None,
) -> Appointment:
    if not reason.strip():
        raise refuse("visit.no_reason", "reason")
    lock_vehicle(appointment.vehicle_id)
    locked = lock_appointment(appointment, [BOOKED], verb, seen_sequence)
    before = describe_appointment(locked)
    locked.status, locked.status_reason, locked.changed_at = status, reason.strip(), now
    locked.full_clean()
    locked.save()
    count_change(locked)
    free_items(locked)
    if locked.cover is not None:
        follow_appointments(locked.cover, find_today(now, locked.site))
    record_events([describe_visit_event(verb, locked, before)], actor=actor, now=now)
    return locked


@take_turn()
@transaction.atomic
def begin_visit(*, appointment: Appointment, now: datetime, actor: User | None) -> Appointment:
    """Record that the vehicle stands in its bay.

    Raises:
        SchedulingError: on an earlier day than the visit's; move it to today first.
    """
    day = find_today(appointment.starts_at, appointment.site)
    if find_today(now, appointment.site) < day:
        raise refuse("visit.another_day", number=appointment.number, day=day)
    return _set_status(appointment, [BOOKED], IN_THE_BAY, "begun", now, actor)


@take_turn()
@transaction.atomic
def finish_visit(*, appointment: Appointment, now: datetime, actor: User | None) -> Appointment:
    """Record that the visit is over. Whether what was due is done, the records of the work say, not this.

    The rest of the time that it had is given back; the vehicle can be fetched once its film has stood, counted from
    now, and the site is open.
    """
    return _set_status(appointment, [BOOKED, IN_THE_BAY], AppointmentStatus.DONE, "done", now, actor)


def _set_status(
    appointment: Appointment,
    may_be: list[AppointmentStatus],
    status: AppointmentStatus,
    verb: str,
    now: datetime,
    actor: User | None,
) -> Appointment:
    if status is AppointmentStatus.DONE:
        lock_places(appointment.vehicle, appointment.bay, appointment.person)
    else:
        lock_vehicle(appointment.vehicle_id)
    locked = lock_appointment(appointment, may_be, verb)
    before = describe_appointment(locked)
    locked.status, locked.changed_at = status, now
    if status is AppointmentStatus.DONE:
        stay = lay_finished_stay(locked, now)
        locked.starts_at, locked.work_ends_at = stay.starts_at, stay.work_ends_at
        locked.bay_free_at, locked.ready_at = stay.bay_free_at, stay.ready_at
        free_items(locked)
    locked.full_clean()
    locked.save()
    if locked.cover is not None:
        follow_appointments(locked.cover, find_today(now, locked.site))
    record_events([describe_visit_event(verb, locked, before)], actor=actor, now=now)
    return locked


def walk_in(
    *,
    vehicle: Vehicle,
    cover: Cover | None,
    site: Site,
    now: datetime,
    actor: User | None,
    visit: VisitKind | None = None,
    note: str = "",
) -> Appointment:
    """Book a vehicle that stands at the door for the first time that is free today.

    Raises:
        SlotTakenError: where nothing is free today or the site is closed; with the next three times.
    """
    today = find_today(now, site)
    proposed = propose_slots(
        vehicle=vehicle,
        cover=cover,
        sites=[site],
        now=now,
        until=today,
        preferences=Preferences(near=today),
        visit=visit,
        most=1,
    )
    if not proposed.slots:
        later = offer_instead(vehicle=vehicle, cover=cover, site=site, visit=visit, start=now, now=now)
        raise SlotTakenError(_explain_closed(site, today) or explain("visit.nothing_free_today"), later)
    slot = proposed.slots[0]
    bay, person = find_place(slot.bay, slot.person)
    return book_visit(
        vehicle=vehicle,
        bay=bay,
        person=person,
        starts_at=slot.starts_at,
        now=now,
        actor=actor,
        cover=cover,
        visit=visit,
        booked_by=BookedBy.WALK_IN,
        why=slot.why,
        note=note,
    )


def _explain_closed(site: Site, day: date) -> Explanation | None:
    """Return that a site is closed today, and why where the calendar knows more; None where it is open."""
    (times,) = read_site_times([site], day, day)
    if times.open_spans.get(day):
        return None
    calendar = read_calendars([site])[site.pk]
    why = None if day in calendar.closed_days else calendar.explain_closed(day)
    if why is None:
        return explain("visit.site_closed_today", site=OwnWords(site.name))
    return explain("visit.site_closed_today.why", site=OwnWords(site.name), why=why)


def run_late(
    *, appointment: Appointment, minutes: int, now: datetime, actor: User | None, seen_sequence: int | None = None
) -> Appointment:
    """Let a visit begin later, or, where it has begun, take longer, by some minutes, in the same bay.

    Args:
        seen_sequence: the sequence of the visit as the person saw it, so that a second press adds nothing.

    Raises:
        SlotTakenError: where the next visit is in the way, or the site closes before a visit that has not begun could
            end; with the next three times for this one.
        ChangedMeanwhileError: where the visit was changed since it was seen.
        SchedulingError: where the minutes make no sense.
    """
    if not 0 < minutes <= MOST_MINUTES_LATE:
        raise refuse("visit.no_minutes_late", "minutes", minutes=minutes, most=MOST_MINUTES_LATE)
    try:
        with take_turn(), transaction.atomic():
            return _run_late(appointment, timedelta(minutes=minutes), now, actor, seen_sequence)
    except SlotTakenError as taken:
        explanation = taken.explanation
    except IntegrityError as error:
        explanation = explain_taken(error)
    raise SlotTakenError(explanation, _offer_later(appointment, now, timedelta(minutes=minutes)))


def _run_late(
    appointment: Appointment, late: timedelta, now: datetime, actor: User | None, seen_sequence: int | None
) -> Appointment:
    lock_places(appointment.vehicle, appointment.bay, appointment.person)
    locked = lock_appointment(appointment, [BOOKED, IN_THE_BAY], "late", seen_sequence)
    before = describe_appointment(locked)
    if locked.status == BOOKED:
        locked.starts_at += late
    locked.work_ends_at += late
    locked.bay_free_at += late
    locked.ready_at += late
    if locked.status == BOOKED:
        # Once begun, work past closing is a fact; before, it is a plan that nobody should make.
        _refuse_past_closing(locked)
    _refuse_next(locked)
    locked.changed_at = now
    locked.full_clean()
    locked.save()
    count_change(locked)
    record_events([describe_visit_event("moved", locked, before)], actor=actor, now=now)
    return locked


def _refuse_past_closing(locked: Appointment) -> None:
    day, zone = find_today(locked.starts_at, locked.site), find_zone(locked.site.time_zone)
    (times,) = read_site_times([locked.site], day, day)
    closes_at = max((span.end for span in times.open_spans.get(day, ())), default=None)
    if closes_at is None or locked.work_ends_at > closes_at:
        ends, site = f"{locked.work_ends_at.astimezone(zone):%H:%M}", OwnWords(locked.site.name)
        if closes_at is None:
            raise SlotTakenError(explain("visit.ends_on_closed_day", ends=ends, site=site))
        closes = f"{closes_at.astimezone(zone):%H:%M}"
        raise SlotTakenError(explain("visit.ends_after_closing", ends=ends, site=site, closes=closes))


def _refuse_next(locked: Appointment) -> None:
    other = find_in_the_way(locked, locked.bay, locked.person, leave_out=locked)
    if other is not None:
        zone = find_zone(locked.site.time_zone)
        begins = f"{other.starts_at.astimezone(zone):%H:%M}"
        raise SlotTakenError(explain("visit.in_the_way", number=other.number, begins=begins))


def _offer_later(appointment: Appointment, now: datetime, late: timedelta = timedelta()) -> tuple[Slot, ...]:
    return offer_instead(
        vehicle=appointment.vehicle,
        cover=appointment.cover,
        site=appointment.site,
        visit=VisitKind(appointment.visit),
        # A vehicle that comes late is not there before that.
        start=max(now, appointment.starts_at + late),
        now=now,
        moved=appointment,
    )


def split_visit(
    *,
    appointment: Appointment,
    reason: str,
    first_part_minutes: int,
    bay: Bay,
    person: User | None,
    starts_at: datetime,
    now: datetime,
    actor: User | None,
) -> tuple[Appointment, Appointment]:
    """Split a visit of a vehicle that came dirty or wet: washing now, the work at another time.

    Args:
        reason: what was found ("underside wet through, road salt").
        first_part_minutes: how long the vehicle stays now, to be washed and dried.
        bay: where the work goes on; ``person`` and ``starts_at`` too are those of the second part.

    Returns:
        The visit that was shortened and the one that goes on from it, which serves what is due.

    Raises:
        SlotTakenError: where the time of the second part is taken. Nothing is split then.
        SchedulingError: without a reason, or where the first part would take no time or all of it.
    """
    if not reason.strip():
        raise refuse("visit.no_reason_to_split", "reason")
    whole = int((appointment.work_ends_at - appointment.starts_at).total_seconds() // 60)
    if not 0 < first_part_minutes < whole:
        raise refuse(
            "visit.no_first_part", "first_part_minutes", minutes=first_part_minutes, most=whole - 1, whole=whole
        )
    try:
        with take_turn(), transaction.atomic():
            return _split(appointment, reason.strip(), first_part_minutes, bay, person, starts_at, now, actor)
    except SlotTakenError as taken:
        raise SlotTakenError(taken.explanation, taken.alternatives or _offer_later(appointment, now)) from taken


def _split(
    appointment: Appointment,
    reason: str,
    minutes: int,
    bay: Bay,
    person: User | None,
    starts_at: datetime,
    now: datetime,
    actor: User | None,
) -> tuple[Appointment, Appointment]:
    lock_vehicle(appointment.vehicle_id)
    locked = lock_appointment(appointment, [BOOKED, IN_THE_BAY], "split")
    before = describe_appointment(locked)
    end = locked.starts_at + timedelta(minutes=minutes)
    locked.work_ends_at = locked.bay_free_at = locked.ready_at = end
    locked.split_reason, locked.changed_at = reason, now
    locked.save()
    count_change(locked)
    free_items(locked)
    second = book_visit(
        vehicle=locked.vehicle,
        bay=bay,
        person=person,
        starts_at=starts_at,
        now=now,
        actor=actor,
        cover=locked.cover,
        visit=VisitKind(locked.visit),
        booked_by=BookedBy(locked.booked_by),
        note=locked.note,
        goes_on_from=locked,
    )
    second.splits, second.split_reason = locked, reason
    second.save()
    record_events([describe_visit_event("split", locked, before)], actor=actor, now=now)
    return locked, second
