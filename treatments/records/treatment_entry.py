"""What is entered for a treatment, zone by zone, and what is refused before it is written."""

from collections.abc import Collection
from dataclasses import dataclass, fields
from datetime import date
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from treatments.enums import TreatmentKind, ZoneKind
from treatments.models import Lot, Product, Treatment, TreatmentLine, User, Vehicle, Zone
from treatments.queries import describe_zone
from treatments.rules.units import Volume
from treatments.shared.labels import label, translate_catalogue
from treatments.shared.rendering import render, render_day
from treatments.vehicles.fact_queries import list_missing_trainings
from treatments.vehicles.rules.coatable import Bar, VehicleBody


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


def check_line(entry: LineEntry, body: VehicleBody, *, known: Collection[int] = ()) -> None:
    """Refuse a line that can't be true, or a coat where none may be.

    Args:
        body: the vehicle on the day of the work.
        known: the primary keys of zones whose coat is on record already, which an amendment may keep.

    Raises:
        ValidationError: naming the zone, product or quantity and the way out.
    """
    zone, name = entry.zone, entry.zone.name
    shown = translate_catalogue(name)
    if entry.product and zone.kind == ZoneKind.NEVER_COATED:
        raise ValidationError(
            {
                "zone": ValidationError(
                    _("%(zone)s is never coated; remove the line, or name the zone that was treated."),
                    code="never_coated",
                    params={"zone": shown},
                )
            }
        )
    bar = body.find_bar(describe_zone(zone)) if zone.kind != ZoneKind.NEVER_COATED else None
    if bar and bar.why is Bar.NOT_ON_BODY_STYLE:
        raise ValidationError({"zone": ValidationError(render(bar.explanation, {zone.code: name}), code=bar.why)})
    if bar and entry.product and zone.pk not in known:
        way_out = (
            _("Record it on the vehicle's page first.")
            if bar.why is Bar.PROPULSION_UNKNOWN
            else _("Record it as not done, or correct the facts on the vehicle's page where they are wrong.")
        )
        told = f"{render(bar.explanation, {zone.code: name})} {way_out}"
        raise ValidationError({"zone": ValidationError(told, code=bar.why)})
    if entry.product and entry.quantity is not None and entry.quantity.millilitres <= 0:
        no_quantity = _("%(zone)s: give the quantity applied, more than 0, with its unit.")
        raise ValidationError({"quantity": ValidationError(no_quantity, code="required", params={"zone": shown})})
    if not entry.product and not entry.not_done_reason:
        no_reason = _("%(zone)s: give a product, or say why it was not done.")
        raise ValidationError({"not_done_reason": ValidationError(no_reason, code="required", params={"zone": shown})})
    if entry.lot and entry.product and entry.lot.product_id != entry.product.pk:
        params = {"lot": entry.lot.number, "product": entry.product}
        raise ValidationError(
            {"lot": ValidationError(_("Lot %(lot)s is not a lot of %(product)s."), code="other_lot", params=params)}
        )


def check_training(person: User | None, body: VehicleBody, coats: bool) -> None:
    """Refuse to sign coats off on a vehicle whose work needs a training that the person has not, or not any more.

    Raises:
        ValidationError: naming the training, the person and the way out.
    """
    missing = list_missing_trainings(person, body) if person and coats else []
    if person and missing:
        raise ValidationError(
            _(
                "Work on this vehicle (%(propulsion)s) needs a training that %(person)s has not on record on %(day)s: "
                "%(trainings)s. Let somebody sign who has it, or enter the certificate in the set-up."
            ),
            code="training",
            params={
                "propulsion": label(body.propulsion),
                "person": person.get_full_name() or person,
                "day": render_day(body.day),
                "trainings": ", ".join(map(label, missing)),
            },
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
            {
                "done_on": ValidationError(
                    _("A treatment of this kind on %(day)s is already on record; open that one."),
                    code="on_record",
                    params={"day": render_day(done_on)},
                )
            }
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


def put_conditions(treatment: Treatment, conditions: ConditionsEntry) -> None:
    """Put the surface conditions as measured on an unsaved or unsigned treatment."""
    for field in fields(conditions):
        setattr(treatment, field.name, getattr(conditions, field.name))
