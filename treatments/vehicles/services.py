"""Adds vehicles, corrects what is known about them and records changes of owner, each with its event. Records where
vehicles are used, from which day on: what severe exposure under the terms rests on. Advice on a VIN with what is on
record; the forms and services that take a VIN ask here.
"""

from collections.abc import Collection, Sequence
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from treatments.enums import CorrosivityCategory, FactKind, FactSource, Propulsion
from treatments.event_log import Happening, describe, record_events
from treatments.models import Customer, Ownership, PlaceOfUse, User, Vehicle
from treatments.queries import find_today
from treatments.shared.rendering import render_all, render_day
from treatments.vehicles.facts import record_fact
from treatments.vehicles.rules.vin import VinAdvice, VinMark, advise_on_vin, list_model_years

NOT_KNOWN = ""


@transaction.atomic
def record_place_of_use(
    *, vehicle: Vehicle, corrosivity: str, from_day: date, now: datetime, actor: User | None
) -> PlaceOfUse:
    """Record where a vehicle is used from a day on; the same place said again is kept once.

    It counts from that day, but not before today. A mistake is corrected by recording another place for its day.

    Args:
        corrosivity: the ISO 9223 category of the place, or '' where it is not known and the site's is to count.
        from_day: the day from which the vehicle is used there; it may have passed, or lie ahead.

    Raises:
        ValidationError: for a category that ISO 9223 does not have.
    """
    if corrosivity not in (NOT_KNOWN, *CorrosivityCategory):
        raise ValidationError(
            {
                "corrosivity": ValidationError(
                    _("'%(typed)s' is not a category of ISO 9223; write one of C1 to C5 or CX, or nothing."),
                    code="invalid_choice",
                    params={"typed": corrosivity},
                )
            }
        )
    Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    last = PlaceOfUse.objects.filter(vehicle=vehicle, from_day=from_day).order_by("pk").last()
    if last and last.corrosivity == corrosivity:
        return last
    place = PlaceOfUse(
        vehicle=vehicle,
        corrosivity=corrosivity,
        from_day=from_day,
        known_on=find_today(now, actor.site if actor else None),
        recorded_at=now,
        recorded_by=actor,
    )
    place.full_clean()
    place.save()
    record_events([_describe_place_event(place)], actor=actor, now=now)
    return place


def end_places_of_former_owners(owned: Sequence[Ownership], *, now: datetime, actor: User | None) -> None:
    """Record that it is not known where new owners use their vehicles, where a former owner's place is on record.

    A place that begins on the day of the change or later was said of the new owner, and stands.

    Args:
        owned: the ownerships that have just been recorded; those that are over change nothing.
    """
    since = {one.vehicle_id: one.from_day for one in owned if one.until_day is None}
    if not since:
        return
    latest = {
        place.vehicle_id: place for place in PlaceOfUse.objects.filter(vehicle__in=since).order_by("from_day", "pk")
    }
    known_on = find_today(now, actor.site if actor else None)
    unknown = [
        PlaceOfUse(
            vehicle_id=vehicle, corrosivity=NOT_KNOWN, from_day=from_day, known_on=known_on, recorded_at=now,
            recorded_by=actor,
        )
        for vehicle, from_day in sorted(since.items())
        if vehicle in latest and latest[vehicle].corrosivity and latest[vehicle].from_day < from_day
    ]  # fmt: skip
    if unknown:
        PlaceOfUse.objects.bulk_create(unknown)
        record_events([_describe_place_event(place) for place in unknown], actor=actor, now=now)


def _describe_place_event(place: PlaceOfUse) -> Happening:
    after = {
        "place": place.pk,
        "corrosivity": place.corrosivity,
        "from_day": place.from_day,
        "known_on": place.known_on,
    }
    return Happening("vehicle.place_of_use_recorded", "vehicle", str(place.vehicle_id), after=after)


def read_vin_advice(text: str, marked_as: VinMark = VinMark.STANDARD) -> VinAdvice:
    """Return what is to be told about a number, with the corrections that are vehicles on record."""
    return advise_on_vin(text, marked_as=marked_as, find_on_record=find_vins_on_record)


def find_vins_on_record(vins: Sequence[str]) -> Collection[str]:
    """Return those of some VINs that are vehicles on record."""
    return set(Vehicle.objects.filter(vin__in=vins).values_list("vin", flat=True))


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
