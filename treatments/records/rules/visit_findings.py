"""What the record of one treatment says against itself: conditions, reach, quantity, lots; told before it is signed.

The same rules speak later when a claim is checked; here they only tell, and a person decides.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TypeAlias

from treatments.enums import Answer
from treatments.records.rules.conditions import ConditionFinding, SurfaceConditions, check_conditions, check_reach
from treatments.records.rules.history import ZoneLine
from treatments.records.rules.material import MaterialNeed, MaterialVerdict, VehicleTotal, compare_total, compare_zone
from treatments.rules.explanation import Explanation, OwnWords, ProductName, explain

SUM_MAY_DIFFER_BY = Decimal("0.05")
"""By which share the quantities of zones may add up to another total than a canister gave. Our own choice."""

Judgement: TypeAlias = tuple[Answer, Explanation]


@dataclass(frozen=True, slots=True)
class VisitFinding:
    """One explanation with the names of the zones of which it speaks."""

    answer: Answer
    explanation: Explanation
    zone_names: tuple[str, ...]


def list_findings(
    lines: Iterable[ZoneLine],
    conditions: SurfaceConditions | None,
    done_on: date,
    totals: Iterable[VehicleTotal] = (),
) -> tuple[VisitFinding, ...]:
    """Return what fails in a treatment, then what cannot be told of it; the same explanation once for all its zones.

    Args:
        lines: the lines of one treatment.
        conditions: the surface conditions of the visit, None where nothing was measured.
        done_on: the day of the work, against which lots expire.
        totals: how much of each product and lot the whole vehicle took, as far as that was recorded.
    """
    applied = [line for line in lines if line.applied]
    told: dict[Judgement, list[str]] = {}
    for line in applied:
        displaced = any(other.zone == line.zone and other.water_displacing for other in applied)
        # What came from two lots of a product is one film.
        parts = [other.quantity_ml for other in applied if (other.zone, other.product) == (line.zone, line.product)]
        known = [part for part in parts if part is not None]
        whole = replace(line, quantity_ml=sum(known, Decimal(0)) if len(known) == len(parts) else None)
        for judgement in _judge(whole, conditions or SurfaceConditions(), displaced, done_on):
            if line.zone_name not in told.setdefault(judgement, []):
                told[judgement].append(line.zone_name)
    for total in totals:
        fed = [line for line in applied if (line.product, line.lot) == (total.product, total.lot)]
        names = list(dict.fromkeys(line.zone_name for line in fed))
        for judgement in _judge_total(total, fed):
            known_names = told.setdefault(judgement, [])
            known_names += [name for name in names if name not in known_names]
    order = (Answer.FAILS, Answer.CANNOT_BE_TOLD)
    findings = [VisitFinding(answer, explanation, tuple(names)) for (answer, explanation), names in told.items()]
    return tuple(sorted(findings, key=lambda finding: order.index(finding.answer)))


def _judge(line: ZoneLine, conditions: SurfaceConditions, displaced: bool, done_on: date) -> Iterable[Judgement]:
    findings: list[ConditionFinding] = [
        *check_conditions(
            replace(conditions, plastic_parts=line.plastic),
            product_min_surface_c=line.surface_min_c,
            product_max_surface_c=line.surface_max_c,
            product_water_displacing=line.water_displacing,
            first_coat_water_displacing=displaced,
        ),
        *check_reach(
            access_points_used=line.access_points_used,
            pressure_kpa=line.pressure_kpa,
            mist_seen_at_far_end=line.mist_seen_at_far_end,
            zone_kind=line.zone_kind,
        ),
    ]
    yield from ((found.answer, found.explanation) for found in findings if found.answer is not Answer.HOLDS)
    yield from _judge_lot(line, done_on)
    yield from _judge_quantity(line)


def _judge_lot(line: ZoneLine, done_on: date) -> Iterable[Judgement]:
    product = ProductName(line.product or "")
    if line.lot is None:
        yield Answer.CANNOT_BE_TOLD, explain("lot.not_recorded", product=product)
        return
    lot = OwnWords(line.lot)
    if line.lot_recalled_on is not None:
        yield Answer.FAILS, explain("lot.recalled", lot=lot, product=product, recalled_on=line.lot_recalled_on)
    elif line.lot_expires_on is not None and line.lot_expires_on < done_on:
        yield Answer.FAILS, explain("lot.expired", lot=lot, product=product, expired_on=line.lot_expires_on)


def _judge_total(total: VehicleTotal, lines: list[ZoneLine]) -> Iterable[Judgement]:
    needs = [_find_need(line) for line in lines]
    known = [need for need in needs if need is not None]
    if len(known) < len(needs) or not known:
        yield Answer.CANNOT_BE_TOLD, explain("material.area_not_known")
    else:
        finding = compare_total(total, known)
        if finding.verdict is not MaterialVerdict.WITHIN:
            yield Answer.FAILS, finding.explanation
    parts = [line.quantity_ml for line in lines if line.quantity_ml is not None]
    added, measured = sum(parts, Decimal(0)), total.quantity_ml
    too_much = added > measured * (1 + SUM_MAY_DIFFER_BY)
    too_little = len(parts) == len(lines) and added < measured * (1 - SUM_MAY_DIFFER_BY)
    if total.measured_by.is_exact and (too_much or too_little):
        told = explain(
            "material.sum_differs",
            product=ProductName(total.product),
            added_ml=round(added),
            canister_ml=round(measured),
        )
        yield Answer.FAILS, told


def _judge_quantity(line: ZoneLine) -> Iterable[Judgement]:
    need = _find_need(line)
    if need is None:
        yield Answer.CANNOT_BE_TOLD, explain("material.area_not_known")
    elif line.quantity_ml is None:
        yield Answer.CANNOT_BE_TOLD, explain("material.only_total")
    else:
        finding = compare_zone(need, line.quantity_ml)
        if finding.verdict is not MaterialVerdict.WITHIN:
            yield Answer.FAILS, finding.explanation


def _find_need(line: ZoneLine) -> MaterialNeed | None:
    if line.area_m2 is None or line.target_dry_film_um is None or line.volume_solids_percent is None:
        return None
    return MaterialNeed(
        line.zone, line.area_m2, line.target_dry_film_um, line.volume_solids_percent, line.loss_fraction
    )
