"""Reads the records of the page of a vehicle's timeline that is shown.

Every read here is one query whose SQL is written once; sites, zones, products, people and terms are those kept.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from claims.models import Claim
from notifications.models import Message
from scheduling.models import Appointment, CoverChange, TermsVersion
from treatments.models import MaterialTotal, User
from treatments.records.histories import OF_INSPECTION, OF_TREATMENT, describe_inspections
from treatments.records.rules.history import InspectedZone, VehicleHistory, ZoneLine
from treatments.records.rules.material import MaterialNeed, compare_zone
from treatments.records.rules.rust_grade import RustGrade, grade_rust
from treatments.reference.queries import map_people, map_products, map_sites, map_zones
from treatments.rules.explanation import explain
from treatments.rules.site_settings import find_zone
from treatments.shared.rendering import render


@dataclass(frozen=True, slots=True)
class LineView:
    """What went on one zone; ``material`` says how it compares with the target."""

    zone: str
    product: str | None
    lot: str | None
    lot_recalled_on: date | None
    quantity_amount: Decimal | None
    quantity_unit: str
    quantity_ml: Decimal | None
    not_done_reason: str
    material: str


@dataclass(frozen=True, slots=True)
class TreatmentView:
    key: int
    kind: str
    site: str
    applicator: User | None
    reading_amount: Decimal | None
    reading_unit: str
    recorded_at: datetime
    source: str
    amends: int | None
    amendment_reason: str
    amended_by: int | None
    signed_off_at: datetime | None
    lines: list[LineView]
    totals: list[MaterialTotal]


def view_treatments(
    keys: Iterable[int], rows: Mapping[int, list[Sequence[Any]]], history: VehicleHistory
) -> dict[int, TreatmentView]:
    """Return treatments, drafts too, by primary key; the history tells of the film of those signed off.

    Args:
        rows: those of each treatment, as ``VehicleRecords`` has them.
    """
    sites, people, zones, products = map_sites(), map_people(), map_zones(), map_products()
    plain = {
        (treatment.record, line.zone, line.product, line.lot): line
        for treatment in history.treatments
        for line in treatment.lines
    }
    totals: dict[int, list[MaterialTotal]] = defaultdict(list)
    shown = list(keys)
    for total in MaterialTotal.objects.filter(treatment__in=shown).select_related("product", "lot") if shown else ():
        totals[total.treatment_id].append(total)
    found: dict[int, TreatmentView] = {}
    for key in shown:
        first = rows[key][0]
        kind, signed_off_at, amends = first[3:6]
        site, applicator, amount, unit, source, reason, amended_by, recorded_at = first[OF_TREATMENT:-2]
        lines = []
        for row in rows[key]:
            zone_key, product_key, ml, *_how, not_done, lot, _expires_on, recalled_on, _at = row[11:OF_TREATMENT]
            if zone_key is None:
                continue
            zone, product = zones[zone_key], products[product_key].name if product_key else None
            line = plain.get((f"treatment {key}", zone.code, product, lot))
            material = render_material(line)
            # The history leaves out a recall that was written down later than it is known at; a draft is not in it.
            recalled_on = recalled_on if line is None else line.lot_recalled_on
            lines.append(LineView(zone.name, product, lot, recalled_on, row[-2], row[-1], ml, not_done, material))
        found[key] = TreatmentView(
            key, kind, sites[site].name, people[applicator] if applicator else None, amount, unit, recorded_at, source,
            amends, reason, amended_by, signed_off_at, lines, totals[key],
        )  # fmt: skip
    return found


def render_material(line: ZoneLine | None) -> str:
    """Return how the film of a coated zone compares with its target, '' for one that was not coated."""
    if line is None or not line.applied:
        return ""
    if line.area_m2 is None or line.target_dry_film_um is None or line.volume_solids_percent is None:
        return _("cannot be told: the body style is not recorded")
    need = MaterialNeed(
        line.zone, line.area_m2, line.target_dry_film_um, line.volume_solids_percent, line.loss_fraction
    )
    if line.quantity_ml is None:
        return _("cannot be told: only the total for the vehicle is recorded")
    finding = compare_zone(need, line.quantity_ml)
    verdict = render(explain(f"material.verdict.{finding.verdict}"))
    return _("%(verdict)s, about %(film)s µm dry") % {
        "verdict": verdict,
        "film": format(finding.estimated_dry_film_um, ".0f"),
    }


@dataclass(frozen=True, slots=True)
class InspectionView:
    key: int
    kind: str
    site: str
    inspector: User | None
    reading_amount: Decimal | None
    reading_unit: str
    recorded_at: datetime
    amends: int | None
    amendment_reason: str
    amended_by: int | None
    signed_off_at: datetime | None
    zones: list[tuple[InspectedZone, RustGrade | None]]


def view_inspections(keys: Iterable[int], rows: Mapping[int, list[Sequence[Any]]]) -> dict[int, InspectionView]:
    """Return inspections, drafts too, by primary key.

    Args:
        rows: those of each inspection, as ``VehicleRecords`` has them.
    """
    sites, people, zones = map_sites(), map_people(), map_zones()
    found = {}
    for key in keys:
        first = rows[key][0]
        kind, signed_off_at, amends = first[3:6]
        site, inspector, amount, unit, reason, amended_by, recorded_at = first[OF_INSPECTION:]
        ((record,),) = describe_inspections(rows[key], zones).values()
        found[key] = InspectionView(
            key, kind, sites[site].name, people[inspector] if inspector else None, amount, unit, recorded_at,
            amends, reason, amended_by, signed_off_at,
            [
                (zone, grade_rust(zone.rusted_area_percent) if zone.rusted_area_percent is not None else None)
                for zone in record.zones
            ],
        )  # fmt: skip
    return found


@dataclass(frozen=True, slots=True)
class VisitView:
    """A visit; ``starts_at`` is in the time of its site."""

    number: str
    visit: str
    status: str
    starts_at: datetime
    status_reason: str
    site: str
    bay: str


def read_visits(keys: Collection[int], *, with_reasons: bool) -> dict[int, VisitView]:
    """Return visits by primary key, with or without why they came to nothing."""
    return {
        visit.pk: VisitView(
            visit.number,
            visit.visit,
            visit.status,
            visit.starts_at.astimezone(find_zone(visit.site.time_zone)),
            visit.status_reason_words if with_reasons else "",
            visit.site.name,
            visit.bay.name,
        )
        for visit in Appointment.objects.filter(pk__in=keys).select_related("site", "bay").order_by()
    }


@dataclass(frozen=True, slots=True)
class ChangeView:
    cover: str
    kind: str
    reason: str
    to_version: TermsVersion | None
    actor: User | None


def read_changes(keys: Collection[int], *, with_reasons: bool) -> dict[int, ChangeView]:
    """Return changes of covers by primary key, with or without the reason of each."""
    found = CoverChange.objects.filter(pk__in=keys).select_related("cover", "to_version__terms", "actor").order_by()
    return {
        change.pk: ChangeView(
            change.cover.number,
            change.kind,
            change.reason if with_reasons else "",
            change.to_version,
            change.actor,
        )
        for change in found
    }


@dataclass(frozen=True, slots=True)
class ClaimView:
    number: str
    damage: str


def read_claims(keys: Collection[int]) -> dict[int, ClaimView]:
    """Return claims by primary key."""
    found = Claim.objects.filter(pk__in=keys).order_by()
    return {claim.pk: ClaimView(claim.number, claim.damage) for claim in found}


@dataclass(frozen=True, slots=True)
class MessageView:
    key: int
    status: str
    subject: str
    language: str
    last_error: str
    created_at: datetime


def read_messages(keys: Collection[int]) -> dict[int, MessageView]:
    """Return messages by primary key."""
    return {
        message.pk: MessageView(
            message.pk, message.status, message.subject, message.language, message.last_error, message.created_at
        )
        for message in Message.objects.filter(pk__in=keys).order_by()
    }


Records = Mapping[int, Any]
