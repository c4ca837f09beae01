"""How much material a zone needs, and what the quantity that was recorded says about the film.

The theoretical spreading rate is volume solids over dry film; a loss factor covers overspray and what stays in hoses.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from treatments.enums import MeasuredBy
from treatments.rules.explanation import Explanation, Label, ProductName, explain


class MaterialVerdict(StrEnum):
    UNDER = "under"
    WITHIN = "within"
    OVER = "over"
    CANNOT_BE_TOLD = "cannot_be_told"


@dataclass(frozen=True, slots=True)
class MaterialTolerance:
    """Below and above which share of the expected quantity a finding is made. Our own choice; data for the shop."""

    under_below_ratio: Decimal = Decimal("0.7")
    over_above_ratio: Decimal = Decimal("1.5")


USUAL_TOLERANCE = MaterialTolerance()


@dataclass(frozen=True, slots=True)
class MaterialNeed:
    """What a zone and a product's data sheet ask for. Area in m2, film in micrometres, loss from 0 to below 1."""

    zone_code: str
    area_m2: Decimal
    target_dry_film_um: Decimal
    volume_solids_percent: Decimal
    loss_fraction: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class MaterialFinding:
    """A recorded quantity against the expected one, in millilitres, with the film that it comes to."""

    zone_code: str | None
    expected_ml: Decimal
    recorded_ml: Decimal | None
    estimated_dry_film_um: Decimal | None
    ratio: Decimal | None
    verdict: MaterialVerdict
    explanation: Explanation


@dataclass(frozen=True, slots=True)
class VehicleTotal:
    """How much of a product and lot a whole vehicle took at one treatment; ``lot`` is None where not recorded."""

    product: str
    lot: str | None
    quantity_ml: Decimal
    measured_by: MeasuredBy


def _check_positive(**values: Decimal) -> None:
    for name, value in values.items():
        if value <= 0:
            raise ValueError(f"{name} is {value}: give a value above 0.")


def _check_loss(loss_fraction: Decimal) -> None:
    if not 0 <= loss_fraction < 1:
        raise ValueError(f"loss_fraction is {loss_fraction}: give 0 or more and less than 1, such as 0.15.")


def compute_spreading_rate_m2_per_litre(volume_solids_percent: Decimal, dry_film_um: Decimal) -> Decimal:
    """Return the theoretical spreading rate: volume solids in per cent x 10 / dry film in micrometres.

    A litre at 100 % solids and 1 um covers 1000 m2; 65 % at 125 um gives 5.2 m2 per litre.
    """
    _check_positive(volume_solids_percent=volume_solids_percent, dry_film_um=dry_film_um)
    return volume_solids_percent * 10 / dry_film_um


def compute_wet_film_um(dry_film_um: Decimal, volume_solids_percent: Decimal) -> Decimal:
    """Return the wet film that dries to ``dry_film_um``: dry x 100 / volume solids in per cent."""
    _check_positive(volume_solids_percent=volume_solids_percent, dry_film_um=dry_film_um)
    return dry_film_um * 100 / volume_solids_percent


def compute_expected_volume_ml(
    area_m2: Decimal, target_dry_film_um: Decimal, volume_solids_percent: Decimal, loss_fraction: Decimal
) -> Decimal:
    """Return the quantity in ml that an area needs: area / spreading rate / (1 - loss)."""
    _check_positive(area_m2=area_m2)
    _check_loss(loss_fraction)
    rate = compute_spreading_rate_m2_per_litre(volume_solids_percent, target_dry_film_um)
    return area_m2 / rate * 1000 / (1 - loss_fraction)


def compute_dry_film_um(
    volume_ml: Decimal, area_m2: Decimal, volume_solids_percent: Decimal, loss_fraction: Decimal
) -> Decimal:
    """Return the dry film in micrometres that a quantity in ml leaves on an area in m2."""
    _check_positive(area_m2=area_m2, volume_solids_percent=volume_solids_percent)
    _check_loss(loss_fraction)
    return volume_ml * (1 - loss_fraction) * volume_solids_percent / 100 / area_m2


def compute_expected_ml(need: MaterialNeed) -> Decimal:
    """Return the quantity in ml that a need comes to."""
    return compute_expected_volume_ml(
        need.area_m2, need.target_dry_film_um, need.volume_solids_percent, need.loss_fraction
    )


def _judge(ratio: Decimal, tolerance: MaterialTolerance) -> MaterialVerdict:
    if ratio < tolerance.under_below_ratio:
        return MaterialVerdict.UNDER
    return MaterialVerdict.OVER if ratio > tolerance.over_above_ratio else MaterialVerdict.WITHIN


def compare_zone(
    need: MaterialNeed, recorded_ml: Decimal | None, *, tolerance: MaterialTolerance = USUAL_TOLERANCE
) -> MaterialFinding:
    """Say whether a zone got under, within or over what it needs, with the film that it comes to.

    Args:
        need: what the zone and the product ask for.
        recorded_ml: what was recorded in ml, None where it was not.
        tolerance: how far off is still within.

    Returns:
        The finding; in its explanation quantities are rounded to 1 ml and films to 1 um.
    """
    expected_ml = compute_expected_ml(need)
    if recorded_ml is None:
        told = explain("material.not_recorded", expected_ml=round(expected_ml))
        return MaterialFinding(need.zone_code, expected_ml, None, None, None, MaterialVerdict.CANNOT_BE_TOLD, told)
    film_um = compute_dry_film_um(recorded_ml, need.area_m2, need.volume_solids_percent, need.loss_fraction)
    ratio = recorded_ml / expected_ml
    verdict = _judge(ratio, tolerance)
    told = explain(
        "material.zone",
        applied_ml=round(recorded_ml),
        expected_ml=round(expected_ml),
        area_m2=Decimal(f"{need.area_m2.normalize():f}"),
        percent=round(ratio * 100),
        verdict=explain(f"material.verdict.{verdict}"),
        film_um=round(film_um),
        target_um=round(need.target_dry_film_um),
    )
    return MaterialFinding(need.zone_code, expected_ml, recorded_ml, film_um, ratio, verdict, told)


def compare_total(
    total: VehicleTotal, needs: Iterable[MaterialNeed], *, tolerance: MaterialTolerance = USUAL_TOLERANCE
) -> MaterialFinding:
    """Say whether what a whole vehicle took is under, within or over what the zones on which it went need.

    It says nothing of any one of these zones.

    Args:
        total: what was used, and how it was measured.
        needs: those of the zones that name its product and lot.
    """
    listed = list(needs)
    expected_ml = sum((compute_expected_ml(need) for need in listed), Decimal(0))
    ratio = total.quantity_ml / expected_ml
    verdict = _judge(ratio, tolerance)
    told = explain(
        "material.total",
        product=ProductName(total.product),
        applied_ml=round(total.quantity_ml),
        measured_by=Label(total.measured_by),
        expected_ml=round(expected_ml),
        count=len(listed),
        percent=round(ratio * 100),
        verdict=explain(f"material.verdict.{verdict}"),
    )
    return MaterialFinding(None, expected_ml, total.quantity_ml, None, ratio, verdict, told)
