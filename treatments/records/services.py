"""Records treatments, signs them off and amends them. What is entered for a treatment, zone by zone, and what is
refused before it is written.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from treatments.enums import TreatmentKind, ZoneKind
from treatments.event_log import Happening, record_events
from treatments.models import Lot, Product, Site, Treatment, TreatmentLine, User, Vehicle, Zone
from treatments.queries import describe_zone, find_clock
from treatments.records.material_totals import TotalEntry, check_quantities, read_total_entries, write_totals
from treatments.records.sign_off import (
    check_day_is_free,
    put_amended_reading,
    put_odometer,
    put_sign_off,
    refuse_amending_draft,
    refuse_no_reason,
    refuse_no_zone,
    refuse_second_amendment,
    withdraw_old_reading,
)
from treatments.rules.site_days import find_day
from treatments.rules.units import Distance, Volume
from treatments.shared.labels import label, translate_catalogue
from treatments.shared.rendering import render, render_day
from treatments.vehicles.fact_queries import list_missing_trainings, read_body
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
        raise refuse_no_zone()
    body = read_body(vehicle, done_on)
    for entry in lines:
        check_line(entry, body)
    check_quantities(lines, totals)
    if sign_off:
        check_training(actor, body, any(entry.product for entry in lines))
    check_visit_is_new(vehicle, done_on, kind)
    treatment = Treatment(
        vehicle=vehicle,
        site=site,
        applicator=actor,
        done_on=done_on,
        kind=kind,
        note=note,
        source=source,
        recorded_at=now,
    )
    put_conditions(treatment, conditions or ConditionsEntry())
    put_odometer(treatment, odometer)
    if sign_off:
        put_sign_off(treatment, now=now, actor=actor, source=source)
    treatment.full_clean()
    treatment.save()
    TreatmentLine.objects.bulk_create(make_line(treatment, entry) for entry in lines)
    write_totals(treatment, totals)
    record_events([describe_treatment_event(treatment, len(lines))], actor=actor, now=now)
    return treatment


def describe_treatment_event(treatment: Treatment, line_count: int) -> Happening:
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
        raise ValidationError(
            _("Treatment %(number)s was already signed off on %(day)s."),
            code="signed_off",
            params={
                "number": locked.pk,
                "day": render_day(find_day(locked.signed_off_at, find_clock(locked.site))),
            },
        )
    body = read_body(locked.vehicle, locked.done_on)
    lines = locked.lines.filter(product__isnull=False).select_related("zone", "product")
    coated = list(lines.prefetch_related("zone__areas"))
    for line in coated:
        check_line(LineEntry(line.zone, line.product), body)
    check_training(actor, body, bool(coated))
    put_sign_off(locked, now=now, actor=actor, source=locked.source)
    locked.save()
    record_events([describe_treatment_event(locked, locked.lines.count())], actor=actor, now=now)
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
        raise refuse_no_reason()
    if locked.signed_off_at is None:
        raise refuse_amending_draft()
    if Treatment.objects.filter(amends=locked).exists():
        raise refuse_second_amendment()
    if not lines:
        raise refuse_no_zone()
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
    record_events([describe_treatment_event(newer, len(lines)), *withdrawn], actor=actor, now=now)
    return newer


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
