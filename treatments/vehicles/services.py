"""Adds vehicles, corrects what is known about them and records changes of owner, each with its event."""

from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from treatments.enums import FactKind, FactSource, Propulsion
from treatments.event_log import Happening, describe, record_events
from treatments.models import Customer, Ownership, User, Vehicle
from treatments.queries import find_today
from treatments.shared.rendering import render_all, render_day
from treatments.vehicles.facts import record_fact
from treatments.vehicles.places_of_use import end_places_of_former_owners, record_place_of_use
from treatments.vehicles.rules.vin import VinMark, list_model_years
from treatments.vehicles.vin_advice import read_vin_advice


@transaction.atomic
def add_vehicle(
    *,
    vin: str,
    owner: Customer | None,
    owned_from: date,
    now: datetime,
    actor: User | None,
    vin_mark: VinMark = VinMark.STANDARD,
    propulsion: Propulsion | None = None,
    **details: Any,
) -> Vehicle:
    """Add a vehicle and its owner.

    Args:
        propulsion: as seen on the vehicle, None where that was not asked; it holds from ``owned_from`` on.

    Raises:
        ValidationError: for a VIN that can't be right, naming the corrections that would pass.
    """
    advice = read_vin_advice(vin, vin_mark)
    if not advice.acceptable:
        raise ValidationError({"vin": ValidationError(render_all(advice.explanations), code="vin")})
    vin = advice.vin
    on_record = {
        "vin": ValidationError(
            _("%(vin)s is on record; record a change of owner on the page of the vehicle."),
            code="on_record",
            params={"vin": vin},
        )
    }
    if Vehicle.objects.filter(vin=vin).exists():
        raise ValidationError(on_record)
    if details.get("model_year") is None and vin_mark is VinMark.STANDARD:
        years = list_model_years(vin)
        details["model_year"] = years[0] if len(years) == 1 else None
    vehicle = Vehicle(vin=vin, vin_mark=vin_mark, created_at=now, **details)
    vehicle.full_clean(validate_unique=False)
    try:
        with transaction.atomic():
            vehicle.save()
    except IntegrityError as error:
        if not Vehicle.objects.filter(vin=vin).exists():
            raise
        raise ValidationError(on_record) from error
    if owner:
        Ownership.objects.create(vehicle=vehicle, customer=owner, from_day=owned_from, recorded_at=now)
    happening = Happening("vehicle.added", "vehicle", str(vehicle.pk), after=describe(vehicle, "vin"))
    record_events([happening], actor=actor, now=now)
    if propulsion:
        record_fact(
            vehicle=vehicle,
            kind=FactKind.PROPULSION,
            day=min(owned_from, find_today(now, actor.site if actor else None)),
            source=FactSource.SEEN_ON_VEHICLE,
            propulsion=propulsion,
            now=now,
            actor=actor,
        )
    return vehicle


@transaction.atomic
def correct_vehicle(*, vehicle: Vehicle, now: datetime, actor: User | None, **details: Any) -> Vehicle:
    """Correct what is known about a vehicle (plate, description, body style, in service on, model year)."""
    before = describe(vehicle, *details)
    if before == details:
        return vehicle
    for name, value in details.items():
        setattr(vehicle, name, value)
    vehicle.full_clean()
    vehicle.save()
    happening = Happening("vehicle.corrected", "vehicle", str(vehicle.pk), before=before, after=dict(details))
    record_events([happening], actor=actor, now=now)
    return vehicle


def refuse_before_owned(day: date, present: Ownership) -> ValidationError:
    """Return why the present owner can't have sold a vehicle on a day."""
    return ValidationError(
        _("%(day)s is not after %(since)s, when %(customer)s got it."),
        code="before_owned",
        params={"day": render_day(day), "since": render_day(present.from_day), "customer": present.customer},
    )


@transaction.atomic
def change_owner(
    *,
    vehicle: Vehicle,
    customer: Customer,
    from_day: date,
    told_on: date | None,
    now: datetime,
    actor: User | None,
    corrosivity: str = "",
) -> Ownership:
    """Record that the vehicle has a new owner from a day on.

    Args:
        told_on: the day on which the shop was told, which terms may want within a notice period; None where that
            is not known.
        corrosivity: the ISO 9223 category of the place where the new owner uses it, '' where that is not known.

    Raises:
        ValidationError: where the day is not after the day from which the present owner has it.
    """
    Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    present = Ownership.objects.filter(vehicle=vehicle, until_day__isnull=True).first()
    if present and present.customer_id == customer.pk:
        return present
    if present:
        if from_day <= present.from_day:
            raise ValidationError({"from_day": refuse_before_owned(from_day, present)})
        present.until_day = from_day
        present.save()
    owned = Ownership.objects.create(
        vehicle=vehicle, customer=customer, from_day=from_day, told_on=told_on, recorded_at=now
    )
    happening = Happening(
        "vehicle.owner_changed",
        "vehicle",
        str(vehicle.pk),
        before={"customer": present.customer_id} if present else None,
        after={"customer": customer.pk, "from_day": from_day, "told_on": told_on},
    )
    record_events([happening], actor=actor, now=now)
    if corrosivity:
        record_place_of_use(vehicle=vehicle, corrosivity=corrosivity, from_day=from_day, now=now, actor=actor)
    else:
        end_places_of_former_owners([owned], now=now, actor=actor)
    return owned
