"""What the record of one treatment says against itself: conditions, reach, quantity, lots; told before it is signed.

The same rules speak later when a claim is checked; here they only tell, and a person decides.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from treatments.enums import Answer
from treatments.records.rules.conditions import ConditionFinding, SurfaceConditions, check_conditions, check_reach
from treatments.records.rules.history import ZoneLine
from treatments.records.rules.material import MaterialNeed, MaterialVerdict, VehicleTotal, compare_total, compare_zone

SUM_MAY_DIFFER_BY = Decimal("0.05")
"""By which share the quantities of zones may add up to another total than a canister gave. Our own choice."""


@dataclass(frozen=True, slots=True)
class VisitFinding:
    """One sentence with the names of the zones of which it speaks."""

    answer: Answer
    sentence: str
    zone_names: tuple[str, ...]


def list_findings(
    lines: Iterable[ZoneLine],
    conditions: SurfaceConditions | None,
    done_on: date,
    totals: Iterable[VehicleTotal] = (),
) -> tuple[VisitFinding, ...]:
    """Return what fails in a treatment, then what cannot be told of it; the same sentence once for all its zones.

    Args:
        lines: the lines of one treatment.
        conditions: the surface conditions of the visit, None where nothing was measured.
        done_on: the day of the work, against which lots expire.
        totals: how much of each product and lot the whole vehicle took, as far as that was recorded.
    """
    applied = [line for line in lines if line.applied]
    told: dict[tuple[Answer, str], list[str]] = {}
    for line in applied:
        displaced = any(other.zone == line.zone and other.water_displacing for other in applied)
        # What came from two lots of a product is one film.
        parts = [other.quantity_ml for other in applied if (other.zone, other.product) == (line.zone, line.product)]
        known = [part for part in parts if part is not None]
        whole = replace(line, quantity_ml=sum(known, Decimal(0)) if len(known) == len(parts) else None)
        for answer, sentence in _judge(whole, conditions or SurfaceConditions(), displaced, done_on):
            if answer is not Answer.HOLDS and line.zone_name not in told.setdefault((answer, sentence), []):
                told[answer, sentence].append(line.zone_name)
    for total in totals:
        fed = [line for line in applied if (line.product, line.lot) == (total.product, total.lot)]
        names = list(dict.fromkeys(line.zone_name for line in fed))
        for answer, sentence in _judge_total(total, fed):
            known_names = told.setdefault((answer, sentence), [])
            known_names += [name for name in names if name not in known_names]
    order = (Answer.FAILS, Answer.CANNOT_BE_TOLD)
    findings = [VisitFinding(answer, sentence, tuple(names)) for (answer, sentence), names in told.items()]
    return tuple(sorted(findings, key=lambda finding: order.index(finding.answer)))


def _judge(
    line: ZoneLine, conditions: SurfaceConditions, displaced: bool, done_on: date
) -> Iterable[tuple[Answer, str]]:
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
    yield from ((finding.answer, finding.sentence) for finding in findings)
    yield _judge_lot(line, done_on)
    yield _judge_quantity(line)


def _judge_lot(line: ZoneLine, done_on: date) -> tuple[Answer, str]:
    if line.lot is None:
        return Answer.CANNOT_BE_TOLD, f"The lot of {line.product} is not recorded."
    if line.lot_recalled_on is not None:
        return Answer.FAILS, f"Lot {line.lot} of {line.product} was recalled on {line.lot_recalled_on}."
    if line.lot_expires_on is not None and line.lot_expires_on < done_on:
        return Answer.FAILS, f"Lot {line.lot} of {line.product} had expired on {line.lot_expires_on}."
    return Answer.HOLDS, ""


def _judge_total(total: VehicleTotal, lines: list[ZoneLine]) -> Iterable[tuple[Answer, str]]:
    needs = [_find_need(line) for line in lines]
    known = [need for need in needs if need is not None]
    if len(known) < len(needs) or not known:
        yield Answer.CANNOT_BE_TOLD, "The zone's area is not known, so the film cannot be told."
    else:
        finding = compare_total(total, known)
        if finding.verdict is not MaterialVerdict.WITHIN:
            yield Answer.FAILS, finding.sentence
    parts = [line.quantity_ml for line in lines if line.quantity_ml is not None]
    added, measured = sum(parts, Decimal(0)), total.quantity_ml
    too_much = added > measured * (1 + SUM_MAY_DIFFER_BY)
    too_little = len(parts) == len(lines) and added < measured * (1 - SUM_MAY_DIFFER_BY)
    if total.measured_by.is_exact and (too_much or too_little):
        sentence = f"{total.product}: the zones add up to {added:.0f} ml, but the canister gave {measured:.0f} ml."
        yield Answer.FAILS, f"{sentence} The stock counts what the canister gave."


def _judge_quantity(line: ZoneLine) -> tuple[Answer, str]:
    need = _find_need(line)
    if need is None:
        return Answer.CANNOT_BE_TOLD, "The zone's area is not known, so the film cannot be told."
    if line.quantity_ml is None:
        return Answer.CANNOT_BE_TOLD, "Only the vehicle's total is recorded, so what each zone got cannot be told."
    finding = compare_zone(need, line.quantity_ml)
    fits = finding.verdict is MaterialVerdict.WITHIN
    return (Answer.HOLDS, "") if fits else (Answer.FAILS, finding.sentence)


def _find_need(line: ZoneLine) -> MaterialNeed | None:
    if line.area_m2 is None or line.target_dry_film_um is None or line.volume_solids_percent is None:
        return None
    return MaterialNeed(
        line.zone, line.area_m2, line.target_dry_film_um, line.volume_solids_percent, line.loss_fraction
    )
