"""What a person changes about a vehicle besides the work on it: its owner and what is known of it, with the reason."""

from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from treatments.enums import VehicleChangeKind
from treatments.event_log import Happening, record_events
from treatments.models import Customer, Ownership, PlaceOfUse, User, Vehicle, VehicleChange
from treatments.people.customers import change_customer
from treatments.shared.rendering import render_day
from treatments.vehicles.services import (
    NOT_KNOWN,
    change_owner,
    correct_vehicle,
    record_place_of_use,
    refuse_before_owned,
)


@transaction.atomic
def transfer_vehicle(
    *,
    vehicle: Vehicle,
    customer: Customer,
    from_day: date,
    told_on: date | None,
    reason: str,
    now: datetime,
    actor: User | None,
    corrosivity: str = "",
) -> Ownership:
    """Record a new owner with the reason.

    Args:
        told_on: the day on which the shop was told, which terms may want within a notice period.
        corrosivity: the ISO 9223 category of the place where the new owner uses it, '' where that is not known.

    Raises:
        ValidationError: without a reason, for who is the owner already, or for a day that can't be.
    """
    Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    last = Ownership.objects.filter(vehicle=vehicle).order_by("-from_day").select_related("customer").first()
    if last and last.until_day is None and last.customer_id == customer.pk:
        raise ValidationError(
            {
                "name": ValidationError(
                    _("%(customer)s is the owner on record already, from %(since)s on."),
                    code="owner_already",
                    params={"customer": customer, "since": render_day(last.from_day)},
                )
            }
        )
    if last and last.until_day is not None and from_day < last.until_day:
        raise ValidationError(
            {
                "from_day": ValidationError(
                    _("%(day)s is before %(until)s, when %(customer)s sold it."),
                    code="before_sold",
                    params={
                        "day": render_day(from_day),
                        "until": render_day(last.until_day),
                        "customer": last.customer,
                    },
                )
            }
        )
    _check_told(told_on, from_day)
    _note(vehicle, VehicleChangeKind.OWNER_CHANGED, reason, now, actor)
    return change_owner(
        vehicle=vehicle,
        customer=customer,
        from_day=from_day,
        told_on=told_on,
        now=now,
        actor=actor,
        corrosivity=corrosivity,
    )


@transaction.atomic
def record_sale(
    *, vehicle: Vehicle, sold_on: date, told_on: date, reason: str, now: datetime, actor: User | None
) -> Ownership:
    """Record that the owner sold the vehicle to somebody whom the shop does not know yet.

    From then on nobody is written to about it, until the new owner is recorded.

    Raises:
        ValidationError: without a reason, without an owner on record, or for a day that can't be.
    """
    Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    present = Ownership.objects.filter(vehicle=vehicle, until_day__isnull=True).select_related("customer").first()
    if present is None:
        raise ValidationError(_("No owner is on record; record the new one."), code="no_owner")
    if sold_on <= present.from_day:
        raise ValidationError({"sold_on": refuse_before_owned(sold_on, present)})
    _check_told(told_on, sold_on)
    present.until_day = sold_on
    present.save(update_fields=["until_day"])
    _note(vehicle, VehicleChangeKind.SOLD, reason, now, actor)
    happening = Happening(
        "vehicle.sold",
        "vehicle",
        str(vehicle.pk),
        before={"customer": present.customer_id},
        after={"sold_on": sold_on, "told_on": told_on},
    )
    record_events([happening], actor=actor, now=now)
    if PlaceOfUse.objects.filter(vehicle=vehicle).exists():
        record_place_of_use(vehicle=vehicle, corrosivity=NOT_KNOWN, from_day=sold_on, now=now, actor=actor)
    return present


@transaction.atomic
def change_place_of_use(
    *, vehicle: Vehicle, corrosivity: str, from_day: date, reason: str, now: datetime, actor: User | None
) -> PlaceOfUse:
    """Record where the vehicle is used from a day on, with the reason.

    Raises:
        ValidationError: without a reason, or for a category that ISO 9223 does not have.
    """
    _note(vehicle, VehicleChangeKind.MOVED, reason, now, actor)
    return record_place_of_use(vehicle=vehicle, corrosivity=corrosivity, from_day=from_day, now=now, actor=actor)


@transaction.atomic
def correct_record(*, vehicle: Vehicle, reason: str, now: datetime, actor: User | None, **details: Any) -> Vehicle:
    """Correct plate, description, body style, model year or the day in service, with the reason.

    Raises:
        ValidationError: without a reason, or where nothing would change.
    """
    locked = Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    changed = {name: value for name, value in details.items() if getattr(locked, name) != value}
    if not changed:
        raise ValidationError(_("Nothing would change: what was typed is on record already."), code="no_change")
    _note(locked, VehicleChangeKind.CORRECTED, reason, now, actor)
    return correct_vehicle(vehicle=locked, now=now, actor=actor, **changed)


@transaction.atomic
def correct_owner(
    *, vehicle: Vehicle, customer: Customer, reason: str, now: datetime, actor: User | None, **details: str
) -> None:
    """Correct how the owner is reached and in which language, with the reason.

    Raises:
        ValidationError: without a reason, or where nothing would change.
    """
    locked = Customer.objects.select_for_update().get(pk=customer.pk)
    changed = {name: value for name, value in details.items() if getattr(locked, name) != value}
    if not changed:
        raise ValidationError(_("Nothing would change: what was typed is on record already."), code="no_change")
    _note(vehicle, VehicleChangeKind.CORRECTED, reason, now, actor)
    change_customer(locked, changed, now=now, actor=actor)


def _check_told(told_on: date | None, sold_on: date) -> None:
    if told_on is not None and told_on < sold_on:
        raise ValidationError(
            {
                "told_on": ValidationError(
                    _("%(day)s is before %(sold)s: nobody was told of it before it was so."),
                    code="told_before_sold",
                    params={"day": render_day(told_on), "sold": render_day(sold_on)},
                )
            }
        )


def _note(vehicle: Vehicle, kind: VehicleChangeKind, reason: str, now: datetime, actor: User | None) -> None:
    if not reason.strip():
        raise ValidationError({"reason": ValidationError(_("A change of the record needs a reason."), code="required")})
    change = VehicleChange(vehicle=vehicle, kind=kind, reason=reason.strip(), actor=actor, recorded_at=now)
    change.full_clean()
    change.save()
