"""What the record of one treatment says against itself: conditions, reach, quantity, lots; told before it is signed.

The same rules speak later when a claim is checked; here they only tell, and a person decides.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from treatments.rules.conditions import ConditionFinding, SurfaceConditions, check_conditions, check_reach
from treatments.rules.history import ZoneLine
from treatments.rules.material import MaterialNeed, MaterialVerdict, compare_zone
from treatments.rules.words import Answer


@dataclass(frozen=True, slots=True)
class VisitFinding:
    """One sentence with the names of the zones of which it speaks."""

    answer: Answer
    sentence: str
    zone_names: tuple[str, ...]


def list_findings(
    lines: Iterable[ZoneLine], conditions: SurfaceConditions | None, done_on: date
) -> tuple[VisitFinding, ...]:
    """Return what fails in a treatment, then what cannot be told of it; the same sentence once for all its zones.

    Args:
        lines: the lines of one treatment.
        conditions: the surface conditions of the visit, None where nothing was measured.
        done_on: the day of the work, against which lots expire.
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


def _judge_quantity(line: ZoneLine) -> tuple[Answer, str]:
    if line.area_m2 is None or line.target_dry_film_um is None or line.volume_solids_percent is None:
        return Answer.CANNOT_BE_TOLD, "The zone's area is not known, so the film cannot be told."
    need = MaterialNeed(
        line.zone, line.area_m2, line.target_dry_film_um, line.volume_solids_percent, line.loss_fraction
    )
    finding = compare_zone(need, line.quantity_ml)
    fits = finding.verdict is MaterialVerdict.WITHIN
    return (Answer.HOLDS, "") if fits else (Answer.FAILS, finding.sentence)
