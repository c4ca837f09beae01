"""Reads what stands on the record of one visit, for whoever owned the vehicle then, and what it is checked by later."""

from decimal import Decimal
from typing import Any

from django.utils import translation
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from notifications.documents.codes import DocumentKind, write_link
from notifications.documents.house import describe_house
from notifications.documents.pdf.visit_record import TreatedZone, VisitDocument, build_visit_record
from notifications.documents.units import Units, find_units, render_film
from treatments.event_log.verification import read_checkpoint
from treatments.models import MaterialTotal, Treatment, TreatmentLine, Vehicle
from treatments.records.rules.conditions import compute_dew_point_c
from treatments.records.sign_off import list_lines
from treatments.rules.site_days import find_day
from treatments.shared.amounts import render_amount
from treatments.shared.labels import label, translate_catalogue
from treatments.shared.rendering import render_number


def read_visit_record_pdf(treatment: Treatment, *, language: str) -> bytes:
    """Return the record of a visit as PDF bytes.

    Args:
        treatment: a signed-off one, with its vehicle, site and reading.

    Raises:
        ValueError: for a draft, which is no record yet.
    """
    if treatment.signed_off_at is None:
        raise ValueError(f"treatment {treatment.pk} is a draft: sign it off first.")
    with translation.override(language):
        return build_visit_record(describe_visit(treatment))


def find_last_treatment(vehicle: Vehicle) -> Treatment | None:
    """Return the last treatment of a vehicle that is signed off, as it stands after corrections; None without one."""
    standing = vehicle.treatments.filter(signed_off_at__isnull=False, amended_by__isnull=True)
    return standing.select_related("vehicle", "site", "reading").order_by("done_on", "pk").last()


def describe_visit(treatment: Treatment) -> VisitDocument:
    """Return everything that stands on the record of a signed-off treatment, in the language in use."""
    vehicle, site, reading = treatment.vehicle, treatment.site, treatment.reading
    units = find_units(site)
    lines, totals = list_lines(treatment), _list_totals(treatment)
    corrected = None
    if treatment.amends_id and treatment.signed_off_at:
        corrected = find_day(treatment.signed_off_at, site.clock)
    content = list_visit_content(treatment, lines, totals)
    return VisitDocument(
        house=describe_house(site),
        number=name_visit(treatment),
        kind=capfirst(label(treatment.kind)),
        day=treatment.done_on,
        vehicle_title=vehicle.description or _("vehicle"),
        vin=vehicle.vin,
        plate=vehicle.plate,
        odometer=render_amount(reading.amount, reading.unit) if reading else "",
        treated=tuple(_describe_line(line, units) for line in lines if line.product),
        conditions=_describe_conditions(treatment, units),
        totals=tuple(_describe_total(total) for total in totals),
        not_done=tuple(
            (translate_catalogue(line.zone.name), line.not_done_reason) for line in lines if not line.product
        ),
        corrected_on=corrected,
        link=write_link(DocumentKind.VISIT_RECORD, treatment.pk, treatment.done_on, content, names_owner=False),
        verification_code=read_checkpoint().code,
    )


def name_visit(treatment: Treatment) -> str:
    """Return the number that the record of a visit has on paper."""
    return f"V{treatment.pk:06d}"


def list_visit_content(treatment: Treatment, lines: list[TreatmentLine], totals: list[MaterialTotal]) -> list[Any]:
    """Return what the record of a visit is made from as plain values, whatever its language and units."""
    reading, vehicle = treatment.reading, treatment.vehicle
    return [
        [vehicle.vin, vehicle.plate, vehicle.description, treatment.done_on.isoformat(), treatment.kind],
        [_write_number(reading.amount), reading.unit] if reading else [],
        [
            _write_number(treatment.air_temperature_c),
            _write_number(treatment.surface_temperature_c),
            _write_number(treatment.relative_humidity_percent),
            treatment.surface_clean,
            treatment.surface_dry,
        ],
        [
            [
                line.zone.code,
                line.product.name if line.product else "",
                line.lot.number if line.lot else "",
                _write_number(line.quantity_ml),
                line.wet_film_um,
                line.not_done_reason,
            ]
            for line in lines
        ],
        [
            [total.product.name, total.lot.number if total.lot else "", _write_number(total.quantity_amount)]
            for total in totals
        ],
    ]


def _write_number(number: Decimal | None) -> str:
    return "" if number is None else f"{number.normalize():f}"


def read_visit_content(treatment: Treatment) -> list[Any]:
    """Return what the record of a visit would be made from by what is on record now, as plain values."""
    return list_visit_content(treatment, list_lines(treatment), _list_totals(treatment))


def _list_totals(treatment: Treatment) -> list[MaterialTotal]:
    return list(MaterialTotal.objects.filter(treatment=treatment).select_related("product", "lot").order_by("pk"))


def _describe_line(line: TreatmentLine, units: Units) -> TreatedZone:
    quantity = _("in the total") if line.quantity_ml is None else units.render_volume(line.quantity_ml)
    return TreatedZone(
        translate_catalogue(line.zone.name),
        line.product.name if line.product else "",
        line.lot.number if line.lot else _("not recorded"),
        quantity,
        ", ".join(render_film(film) for film in line.wet_film_um),
    )


def _describe_total(total: MaterialTotal) -> str:
    told = {
        "product": total.product.name,
        "lot": total.lot.number if total.lot else _("not recorded"),
        "quantity": render_amount(total.quantity_amount, total.quantity_unit),
        "measured": label(total.measured_by),
    }
    return _("%(product)s, lot %(lot)s: %(quantity)s, %(measured)s") % told


def _describe_conditions(treatment: Treatment, units: Units) -> tuple[tuple[str, str], ...]:
    air, surface, humidity = (
        treatment.air_temperature_c,
        treatment.surface_temperature_c,
        treatment.relative_humidity_percent,
    )
    told: list[tuple[str, str]] = []
    if air is not None:
        told.append((_("Air"), units.render_temperature(air)))
    if surface is not None:
        told.append((_("Surface"), units.render_temperature(surface)))
    if humidity is not None:
        told.append((_("Humidity"), f"{render_number(humidity)}\u00a0%"))
    if air is not None and humidity is not None:
        told.append((_("Dew point"), units.render_temperature(compute_dew_point_c(air, humidity))))
    return tuple(told)
