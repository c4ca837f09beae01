"""Everything a person does to the records of vehicles and work; the only place in this room that writes them.

Each service is one transaction with its events. Signed-off work is never edited, only amended.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from treatments.enums import FactKind, FactSource, Propulsion, TreatmentKind, ZoneKind, say
from treatments.event_log import Happening, describe, record_events
from treatments.models import (
    Customer,
    Lot,
    Ownership,
    Product,
    Site,
    Treatment,
    TreatmentLine,
    User,
    Vehicle,
    Zone,
    ZoneArea,
)
from treatments.queries import describe_zone, find_today
from treatments.records.material_totals import TotalEntry, check_quantities, read_total_entries, write_totals
from treatments.records.sign_off import (
    check_day_is_free,
    put_amended_reading,
    put_odometer,
    put_sign_off,
    withdraw_old_reading,
)
from treatments.rules.units import Distance, Volume
from treatments.rules.zone_catalogue import ZoneDescription
from treatments.vehicles.fact_queries import list_missing_trainings, read_body
from treatments.vehicles.facts import record_fact
from treatments.vehicles.places_of_use import end_places_of_former_owners, record_place_of_use
from treatments.vehicles.rules.coatable import Bar, VehicleBody
from treatments.vehicles.rules.vin import VinMark, read_model_year
from treatments.vehicles.vin_advice import read_vin_advice


@dataclass(frozen=True, slots=True)
class LineEntry:
    """What is to be written for one zone: product, lot and quantity, or the reason why it was not done.

    The quantity is None where only the total for the vehicle is known.
    """

    zone: Zone
    product: Product | None = None
    lot: Lot | None = None
    quantity: Volume | None = None
    tool: str = ""
    pressure_kpa: Decimal | None = None
    wet_film_um: tuple[str, ...] = ()
    access_points_used: int | None = None
    mist_seen_at_far_end: bool | None = None
    not_done_reason: str = ""


@dataclass(frozen=True, slots=True)
class ConditionsEntry:
    """Surface conditions as measured; None where not measured."""

    air_temperature_c: Decimal | None = None
    surface_temperature_c: Decimal | None = None
    relative_humidity_percent: Decimal | None = None
    surface_clean: bool | None = None
    surface_dry: bool | None = None


def make_match_key(name: str, contact: str) -> str:
    """Return the key under which one name with one contact is one customer, whatever case and spacing."""
    return f"{' '.join(name.casefold().split())}|{' '.join(contact.casefold().split())}"


def make_customer(*, name: str, contact: str, now: datetime, **details: Any) -> Customer:
    """Return an unsaved customer; a contact with an @ is taken as the e-mail, else as the telephone."""
    contact = contact.strip()
    customer = Customer(
        name=" ".join(name.split()),
        contact=contact,
        match_key=make_match_key(name, contact),
        created_at=now,
        **details,
    )
    if "@" in contact:
        customer.email = customer.email or contact
    elif contact:
        customer.phone = customer.phone or contact[:40]
    return customer


def find_or_add_customer(*, name: str, contact: str, now: datetime, **details: Any) -> Customer:
    """Return the customer of this name and contact, added if new; also where somebody else adds it at the same time."""
    same = Customer.objects.filter(match_key=make_match_key(name, contact))
    known = same.first()
    if known:
        return known
    customer = make_customer(name=name, contact=contact, now=now, **details)
    # The database tells whether it is the only one, when it is written.
    customer.full_clean(validate_unique=False)
    try:
        with transaction.atomic():
            customer.save()
    except IntegrityError:
        known = same.first()
        if known is None:
            raise
        return known
    return customer


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
        raise ValidationError({"vin": advice.sentence})
    vin = advice.vin
    on_record = {"vin": f"{vin} is on record; record a change of owner on the page of the vehicle."}
    if Vehicle.objects.filter(vin=vin).exists():
        raise ValidationError(on_record)
    if details.get("model_year") is None and vin_mark is VinMark.STANDARD:
        years = read_model_year(vin).years
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
            raise ValidationError(
                {"from_day": f"{from_day} is not after {present.from_day}, when {present.customer} got it."}
            )
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


def check_line(entry: LineEntry, body: VehicleBody, *, known: Collection[int] = ()) -> None:
    """Refuse a line that can't be true, or a coat where none may be.

    Args:
        body: the vehicle on the day of the work.
        known: the primary keys of zones whose coat is on record already, which an amendment may keep.

    Raises:
        ValidationError: naming the zone, product or quantity and the way out.
    """
    zone, name = entry.zone, entry.zone.name
    if entry.product and zone.kind == ZoneKind.NEVER_COATED:
        raise ValidationError({"zone": f"{name} is never coated; remove the line, or name the zone that was treated."})
    bar = body.find_bar(describe_zone(zone)) if zone.kind != ZoneKind.NEVER_COATED else None
    if bar and bar.why is Bar.NOT_ON_BODY_STYLE:
        raise ValidationError({"zone": bar.sentence})
    if bar and entry.product and zone.pk not in known:
        way_out = (
            "Record it on the vehicle's page first."
            if bar.why is Bar.PROPULSION_UNKNOWN
            else "Record it as not done, or correct the facts on the vehicle's page where they are wrong."
        )
        raise ValidationError({"zone": f"{bar.sentence} {way_out}"})
    if entry.product and entry.quantity is not None and entry.quantity.millilitres <= 0:
        raise ValidationError({"quantity": f"{name}: give the quantity applied, more than 0, with its unit."})
    if not entry.product and not entry.not_done_reason:
        raise ValidationError({"not_done_reason": f"{name}: give a product, or say why it was not done."})
    if entry.lot and entry.product and entry.lot.product_id != entry.product.pk:
        raise ValidationError({"lot": f"Lot {entry.lot.number} is not a lot of {entry.product}."})


def check_training(person: User | None, body: VehicleBody, coats: bool) -> None:
    """Refuse to sign coats off on a vehicle whose work needs a training that the person has not, or not any more.

    Raises:
        ValidationError: naming the training, the person and the way out.
    """
    missing = list_missing_trainings(person, body) if person and coats else []
    if person and missing:
        told = ", ".join(say(training) for training in missing)
        raise ValidationError(
            f"Work on this vehicle ({say(body.propulsion)}) needs a training that {person.get_full_name() or person} "
            f"has not on record on {body.day}: {told}. Let somebody sign who has it, or enter the certificate in the "
            "set-up."
        )


def check_visit_is_new(vehicle: Vehicle, done_on: date, kind: TreatmentKind, *, besides: int = 0) -> None:
    """Refuse a second treatment of a kind on a day.

    Args:
        besides: the primary key of the treatment that is being changed, which may stay on its own day.

    Raises:
        ValidationError: where one is on record, signed off or as a draft.
    """
    known = Treatment.objects.filter(vehicle=vehicle, done_on=done_on, kind=kind, amends__isnull=True)
    if known.exclude(pk=besides).exists():
        raise ValidationError(
            {"done_on": f"A treatment of this kind on {done_on} is already on record; open that one."}
        )


def make_line(treatment: Treatment, entry: LineEntry) -> TreatmentLine:
    """Return an unsaved line of a treatment, its quantity kept as entered and in millilitres."""
    quantity = entry.quantity
    return TreatmentLine(
        treatment=treatment,
        zone=entry.zone,
        product=entry.product,
        lot=entry.lot,
        quantity_amount=quantity.amount if quantity else None,
        quantity_unit=quantity.unit if quantity else "",
        quantity_ml=quantity.millilitres.quantize(Decimal("0.0001")) if quantity else None,
        tool=entry.tool,
        pressure_kpa=entry.pressure_kpa,
        wet_film_um=list(entry.wet_film_um),
        access_points_used=entry.access_points_used,
        mist_seen_at_far_end=entry.mist_seen_at_far_end,
        not_done_reason=entry.not_done_reason,
    )


@transaction.atomic
def record_treatment(
    *,
    vehicle: Vehicle,
    site: Site,
    done_on: date,
    kind: TreatmentKind,
    lines: Sequence[LineEntry],
    now: datetime,
    actor: User | None,
    odometer: Distance | None = None,
    conditions: ConditionsEntry | None = None,
    totals: Sequence[TotalEntry] = (),
    note: str = "",
    source: str = "",
    sign_off: bool = True,
) -> Treatment:
    """Record one visit's work, and sign it off unless told otherwise.

    Raises:
        ValidationError: where a line can't be true, or the visit is already on record.
    """
    if not lines:
        raise ValidationError({"lines": "A treatment needs at least one zone; name each zone done or not done."})
    body = read_body(vehicle, done_on)
    for entry in lines:
        check_line(entry, body)
    check_quantities(lines, totals)
    if sign_off:
        check_training(actor, body, any(entry.product for entry in lines))
    check_visit_is_new(vehicle, done_on, kind)
    conditions = conditions or ConditionsEntry()
    treatment = Treatment(
        vehicle=vehicle,
        site=site,
        applicator=actor,
        done_on=done_on,
        kind=kind,
        air_temperature_c=conditions.air_temperature_c,
        surface_temperature_c=conditions.surface_temperature_c,
        relative_humidity_percent=conditions.relative_humidity_percent,
        surface_clean=conditions.surface_clean,
        surface_dry=conditions.surface_dry,
        note=note,
        source=source,
        recorded_at=now,
    )
    put_odometer(treatment, odometer)
    if sign_off:
        put_sign_off(treatment, now=now, actor=actor, source=source)
    treatment.full_clean()
    treatment.save()
    TreatmentLine.objects.bulk_create(make_line(treatment, entry) for entry in lines)
    write_totals(treatment, totals)
    record_events([tell_of_treatment(treatment, len(lines))], actor=actor, now=now)
    return treatment


def tell_of_treatment(treatment: Treatment, line_count: int) -> Happening:
    """Return the event for a treatment that was signed off, recorded as a draft, or amends another."""
    verb = "amended" if treatment.amends_id else "signed_off" if treatment.signed_off_at else "drafted"
    return Happening(
        f"treatment.{verb}",
        "treatment",
        str(treatment.pk),
        before={"treatment": treatment.amends_id, "kind": treatment.amends.kind} if treatment.amends else None,
        after={
            "vehicle": treatment.vehicle_id,
            "done_on": treatment.done_on,
            "kind": treatment.kind,
            "lines": line_count,
            "reason": treatment.amendment_reason,
        },
    )


@transaction.atomic
def sign_off_treatment(*, treatment: Treatment, now: datetime, actor: User | None) -> Treatment:
    """Sign a draft off; from then on only an amendment changes it.

    Raises:
        ValidationError: where somebody signed it off first, a zone on it may not be coated (a fact may have been
            recorded since it was drafted), or the person lacks the training that the vehicle asks for.
    """
    locked = Treatment.objects.select_for_update().get(pk=treatment.pk)
    if locked.signed_off_at is not None:
        raise ValidationError(f"Treatment {locked.pk} was already signed off at {locked.signed_off_at}.")
    body = read_body(locked.vehicle, locked.done_on)
    lines = locked.lines.filter(product__isnull=False).select_related("zone", "product")
    coated = list(lines.prefetch_related("zone__areas"))
    for line in coated:
        check_line(LineEntry(line.zone, line.product), body)
    check_training(actor, body, bool(coated))
    put_sign_off(locked, now=now, actor=actor, source=locked.source)
    locked.save()
    record_events([tell_of_treatment(locked, locked.lines.count())], actor=actor, now=now)
    return locked


@transaction.atomic
def amend_treatment(
    *,
    treatment: Treatment,
    reason: str,
    lines: Sequence[LineEntry],
    now: datetime,
    actor: User | None,
    done_on: date | None = None,
    kind: TreatmentKind | None = None,
    odometer: Distance | None = None,
    without_odometer: bool = False,
    conditions: ConditionsEntry | None = None,
    totals: Sequence[TotalEntry] | None = None,
    note: str | None = None,
) -> Treatment:
    """Replace signed-off work by a corrected version; both stay visible.

    Args:
        done_on: the corrected day; this and what follows stay as they were where None.
        without_odometer: whether the corrected version has no odometer reading.

    Raises:
        ValidationError: without a reason, for work that is not signed off, or that was amended already, or where
            other work of this kind stands on the day.
    """
    locked = Treatment.objects.select_for_update().get(pk=treatment.pk)
    if not reason.strip():
        raise ValidationError({"reason": "An amendment needs a reason."})
    if locked.signed_off_at is None:
        raise ValidationError("Not signed off yet: change the draft itself.")
    if Treatment.objects.filter(amends=locked).exists():
        raise ValidationError("Another amendment was first; amend that one.")
    if not lines:
        raise ValidationError({"lines": "A treatment needs at least one zone; name each zone done or not done."})
    body = read_body(locked.vehicle, done_on or locked.done_on)
    known = set(locked.lines.filter(product__isnull=False).values_list("zone_id", flat=True))
    for entry in lines:
        check_line(entry, body, known=known)
    if totals is None:
        totals = read_total_entries(locked)
    check_quantities(lines, totals)
    newer = make_amendment(locked, reason=reason, now=now, actor=actor)
    newer.done_on, newer.kind = done_on or locked.done_on, kind or locked.kind
    check_day_is_free(newer)
    put_amended_reading(newer, None if without_odometer else odometer or locked.odometer, now=now)
    if conditions:
        put_conditions(newer, conditions)
    if note is not None:
        newer.note = note
    newer.full_clean()
    newer.save()
    withdrawn = withdraw_old_reading(locked, newer, now=now)
    TreatmentLine.objects.bulk_create(make_line(newer, entry) for entry in lines)
    write_totals(newer, totals)
    record_events([tell_of_treatment(newer, len(lines)), *withdrawn], actor=actor, now=now)
    return newer


def put_conditions(treatment: Treatment, conditions: ConditionsEntry) -> None:
    """Put the surface conditions as measured on an unsaved or unsigned treatment."""
    for field in fields(conditions):
        setattr(treatment, field.name, getattr(conditions, field.name))


COPIED_BY_AMENDMENT = (
    "vehicle_id",
    "site_id",
    "applicator_id",
    "done_on",
    "kind",
    "reading_id",
    "air_temperature_c",
    "surface_temperature_c",
    "relative_humidity_percent",
    "surface_clean",
    "surface_dry",
    "note",
    "source",
)


def make_amendment(old: Treatment, *, reason: str, now: datetime, actor: User | None) -> Treatment:
    """Return an unsaved, signed-off treatment that replaces ``old`` and keeps all that is not amended."""
    kept = {name: getattr(old, name) for name in COPIED_BY_AMENDMENT}
    return Treatment(
        **kept,
        amends=old,
        amendment_reason=reason,
        recorded_at=now,
        signed_off_at=now,
        signed_off_by=actor,
    )


def check_recall(lot: Lot, reason: str, recalled_on: date, now: datetime, actor: User | None) -> None:
    """Refuse what can be no recall of a lot; nothing is written.

    Raises:
        ValidationError: without a reason, on a day to come, or where it is already recalled.
    """
    if not reason.strip():
        raise ValidationError({"reason": "A recall needs a reason."})
    today = find_today(now, actor.site if actor else None)
    if recalled_on > today:
        raise ValidationError(
            {"recalled_on": f"{recalled_on} has not come yet: give the day of the maker's notice, until {today}."}
        )
    if lot.recalled_on is not None:
        raise ValidationError(f"{lot} was already recalled on {lot.recalled_on}.")


@transaction.atomic
def recall_lot(*, lot: Lot, reason: str, recalled_on: date, now: datetime, actor: User | None) -> Lot:
    """Mark a lot as recalled; queries.find_vehicles_with_lot then finds every vehicle that it went into.

    Raises:
        ValidationError: without a reason, or where it is already recalled.
    """
    check_recall(lot, reason, recalled_on, now, actor)
    changed = Lot.objects.filter(pk=lot.pk, recalled_on__isnull=True).update(
        recalled_on=recalled_on, recall_reason=reason, recall_recorded_at=now
    )
    lot.refresh_from_db()
    if not changed:
        raise ValidationError(f"{lot} was already recalled on {lot.recalled_on}.")
    happening = Happening("lot.recalled", "lot", str(lot.pk), after={"recalled_on": recalled_on, "reason": reason})
    record_events([happening], actor=actor, now=now)
    return lot


@transaction.atomic
def load_zone_catalogue(*, catalogue: Sequence[ZoneDescription], now: datetime) -> int:
    """Add the zones that are not there yet; zones and areas that the shop has changed stay as they are.

    What the first catalogue of a shop brings was always there; what comes later, from its moment on.

    A zone that an older catalogue brought gets what that did not say: tools, what to guard, and on which vehicles it is
    not coated.
    """
    known = {zone.code: zone for zone in Zone.objects.all()}
    added = 0
    for described in catalogue:
        more: dict[str, Any] = {
            "tools": list(described.tools),
            "door_approaches": list(described.door_approaches),
            "to_guard": list(described.to_guard),
            "propulsions": list(described.propulsions),
            "withheld_on": list(described.withheld_on),
        }
        if described.code in known:
            zone = known[described.code]
            missing = [name for name in more if getattr(zone, name) is None]
            for name in missing:
                setattr(zone, name, more[name])
            if missing:
                zone.save(update_fields=missing)
            continue
        zone = Zone.objects.create(
            **more,
            added_at=now if known else None,
            code=described.code,
            name=described.name,
            aliases=list(described.aliases),
            kind=described.kind,
            stage=described.stage or "",
            height=described.height or "",
            sequence=described.sequence,
            suited_families=list(described.suited_families),
            access_points=[{"name": p.name, "count": p.count} for p in described.access_points],
            cautions=list(described.cautions),
            plastic=described.plastic,
        )
        ZoneArea.objects.bulk_create(
            ZoneArea(zone=zone, body_style=style, area_m2=area) for style, area in described.areas_m2
        )
        added += 1
    return added
