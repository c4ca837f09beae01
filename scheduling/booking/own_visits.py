"""What a customer does to visits of the own vehicle, without the desk: book a proposed time, move it, cancel it.

The desk's own services do the work; here is only what a customer may do and when.
"""

from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db.models import F, Sum
from django.utils.translation import gettext

from scheduling.booking.changing import cancel_visit
from scheduling.booking.reading import OPEN, KnownVehicle, read_known_vehicle
from scheduling.booking.services import book_visit, move_visit
from scheduling.enums import UsualReason
from scheduling.models import Appointment, AppointmentStatus, Bay, BookedBy, Cover
from treatments.models import Customer, Ownership, User, Vehicle
from treatments.reference.queries import map_sites
from treatments.rules.explanation import Explanation

# Whoever changes visits of one vehicle this often within a day is better served by a call.
MOST_CHANGES_A_DAY = 12


def find_own_visit(*, customer: Customer, known: KnownVehicle, now: datetime) -> Appointment | None:
    """Return the customer's next visit with a vehicle that is not over yet."""
    for visit in known.visits:
        if visit.customer_id == customer.pk and visit.status in OPEN and visit.ready_at > now:
            visit.customer, visit.site = customer, map_sites()[visit.site_id]
            return visit
    return None


def find_last_change(visit: Appointment, *, until_hours: int) -> datetime:
    """Return until when a customer may move or cancel a visit without a call."""
    return visit.starts_at - timedelta(hours=until_hours)


def may_change(visit: Appointment, *, now: datetime, until_hours: int) -> bool:
    """Say whether a customer may still move or cancel a visit without a call."""
    return visit.status == AppointmentStatus.BOOKED and now <= find_last_change(visit, until_hours=until_hours)


def book_own_visit(
    *,
    customer: Customer,
    vehicle: Vehicle,
    cover: Cover | None,
    bay: Bay,
    person: User | None,
    starts_at: datetime,
    why: Explanation | None,
    until_hours: int,
    now: datetime,
) -> Appointment:
    """Book a time that was proposed to a customer.

    Args:
        until_hours: how many hours ahead a time must be for a customer to book it.

    Raises:
        SlotTakenError: where somebody was first; with the next three times.
        ValidationError: where it is not the customer's vehicle any more, too soon, or a visit is booked already.
    """
    _check_owner(customer, vehicle)
    _refuse_flood(vehicle, now)
    if find_own_visit(customer=customer, known=read_known_vehicle(vehicle), now=now) is not None:
        raise ValidationError({"starts_at": gettext("You have a visit already. Move that one, or cancel it first.")})
    _refuse_too_soon(starts_at, now, until_hours)
    return book_visit(
        vehicle=vehicle,
        bay=bay,
        person=person,
        starts_at=starts_at,
        now=now,
        actor=None,
        cover=cover,
        booked_by=BookedBy.CUSTOMER,
        why=why,
    )


def move_own_visit(
    *,
    customer: Customer,
    visit: Appointment,
    bay: Bay,
    person: User | None,
    starts_at: datetime,
    seen_sequence: int,
    until_hours: int,
    now: datetime,
    why: Explanation | None = None,
) -> Appointment:
    """Move a customer's own visit to a time that was proposed.

    Raises:
        SlotTakenError: where somebody was first; with the next three times. The visit stays where it was.
        ChangedMeanwhileError: where the desk changed it meanwhile.
        ValidationError: where it is too late for it, or not the customer's visit.
    """
    _check_change(customer, visit, now, until_hours)
    _refuse_too_soon(starts_at, now, until_hours)
    return move_visit(
        appointment=visit,
        bay=bay,
        person=person,
        starts_at=starts_at,
        now=now,
        actor=None,
        seen_sequence=seen_sequence,
        why=why,
    )


def cancel_own_visit(
    *, customer: Customer, visit: Appointment, reason: str, seen_sequence: int, until_hours: int, now: datetime
) -> Appointment:
    """Cancel a customer's own visit.

    Args:
        reason: '' where the customer does not say why.

    Raises:
        ChangedMeanwhileError: where the desk changed it meanwhile.
        ValidationError: where it is too late for it, or not the customer's visit.
    """
    _check_change(customer, visit, now, until_hours)
    why = reason.strip() or UsualReason.CUSTOMER_ASKED
    return cancel_visit(appointment=visit, reason=why, now=now, actor=None, seen_sequence=seen_sequence)


def _check_owner(customer: Customer, vehicle: Vehicle) -> None:
    if not Ownership.objects.filter(customer=customer, vehicle=vehicle, until_day__isnull=True).exists():
        raise ValidationError(gettext("The vehicle is not on record as yours. Please call us."))


def _check_change(customer: Customer, visit: Appointment, now: datetime, until_hours: int) -> None:
    if visit.customer_id != customer.pk:
        raise ValidationError(gettext("This visit is not yours."))
    _check_owner(customer, visit.vehicle)
    _refuse_flood(visit.vehicle, now)
    if not may_change(visit, now=now, until_hours=until_hours):
        raise ValidationError(
            gettext("Less than %(hours)s hours before the visit it can't be changed here any more. Please call us.")
            % {"hours": until_hours}
        )


def _refuse_too_soon(starts_at: datetime, now: datetime, until_hours: int) -> None:
    if starts_at < now + timedelta(hours=until_hours):
        raise ValidationError(
            {
                "starts_at": gettext("This time begins in less than %(hours)s hours. Choose a later one, or call us.")
                % {"hours": until_hours}
            }
        )


def _refuse_flood(vehicle: Vehicle, now: datetime) -> None:
    recent = Appointment.objects.filter(vehicle=vehicle, changed_at__gt=now - timedelta(days=1))
    changes = recent.aggregate(changes=Sum(F("sequence") + 1))["changes"] or 0
    if changes >= MOST_CHANGES_A_DAY:
        raise ValidationError(gettext("The visits of this vehicle were changed very often today. Please call us."))
