"""Whether a surface was fit to be treated, and whether a cavity was reached all through.

What was not measured is said to be unknown. The rules of reach are common practice without a published source.
"""

import math
from dataclasses import dataclass
from decimal import Decimal

from treatments.enums import Answer, ZoneKind
from treatments.rules.explanation import Explanation, Param, explain
from treatments.rules.units import convert_kpa_to_psi

# Magnus formula over water with the coefficients of Sonntag (1990); valid from -45 to 60 degC.
MAGNUS_A = 17.62
MAGNUS_B_C = 243.12
MAGNUS_LOWEST_C, MAGNUS_HIGHEST_C = Decimal(-45), Decimal(60)
# ISO 8502-4 practice: the surface at least 3 degC above the dew point.
LEAST_MARGIN_C = Decimal(3)
# At and below this surface temperature frost and trapped water must be reckoned with. Our own choice.
NEAR_FREEZING_C = Decimal(5)
# Common practice, no published source: wand work in enclosed cavities at 60 psi at the regulator.
CAVITY_PRESSURE_PSI = Decimal(60)
PRESSURE_TOLERANCE_PSI = Decimal(10)  # our own choice
LEAST_ACCESS_POINTS = 2


@dataclass(frozen=True, slots=True)
class SurfaceConditions:
    """What was measured or seen before the work; None where it was not."""

    air_temperature_c: Decimal | None = None
    surface_temperature_c: Decimal | None = None
    relative_humidity_percent: Decimal | None = None
    clean: bool | None = None
    dry: bool | None = None
    plastic_parts: bool | None = None


@dataclass(frozen=True, slots=True)
class ConditionFinding:
    """One condition's answer with the values that it rests on."""

    code: str
    answer: Answer
    explanation: Explanation
    facts: tuple[tuple[str, str], ...] = ()


def compute_dew_point_c(air_temperature_c: Decimal, relative_humidity_percent: Decimal) -> Decimal:
    """Return the dew point in degC, rounded to 0.1, by the Magnus formula.

    Args:
        air_temperature_c: from -45 to 60 degC.
        relative_humidity_percent: above 0, up to 100.

    Raises:
        ValueError: outside these ranges.
    """
    if not MAGNUS_LOWEST_C <= air_temperature_c <= MAGNUS_HIGHEST_C:
        raise ValueError(f"Air temperature {air_temperature_c} degC is not between -45 and 60: measure again.")
    if not 0 < relative_humidity_percent <= 100:
        raise ValueError(f"Relative humidity {relative_humidity_percent} % is not above 0 and up to 100.")
    air = float(air_temperature_c)
    gamma = math.log(float(relative_humidity_percent) / 100) + MAGNUS_A * air / (MAGNUS_B_C + air)
    return Decimal(str(round(MAGNUS_B_C * gamma / (MAGNUS_A - gamma), 1)))


def check_conditions(
    conditions: SurfaceConditions,
    *,
    product_min_surface_c: Decimal | None,
    product_max_surface_c: Decimal | None,
    product_water_displacing: bool,
    first_coat_water_displacing: bool,
) -> tuple[ConditionFinding, ...]:
    """Judge the surface for one product.

    Args:
        conditions: what was measured.
        product_min_surface_c: the lowest surface temperature of the product's data sheet, None for none.
        product_max_surface_c: the highest.
        product_water_displacing: whether the product itself displaces water.
        first_coat_water_displacing: whether a water-displacing coat went on first.
    """
    displaced = product_water_displacing or first_coat_water_displacing
    return (
        _check_dew_point(conditions, displaced),
        _check_clean(conditions),
        _check_dry(conditions, displaced),
        _check_first_coat(conditions, displaced),
        _check_temperature_range(conditions, product_min_surface_c, product_max_surface_c),
    )


def _check_dew_point(conditions: SurfaceConditions, displaced: bool) -> ConditionFinding:
    air, surface = conditions.air_temperature_c, conditions.surface_temperature_c
    humidity = conditions.relative_humidity_percent
    if air is None or surface is None or humidity is None:
        return ConditionFinding("dew_point", Answer.CANNOT_BE_TOLD, explain("surface.dew_point.not_measured"))
    dew_point = compute_dew_point_c(air, humidity)
    margin = surface - dew_point
    facts = (("dew_point_c", str(dew_point)), ("surface_c", str(surface)), ("margin_c", str(margin)))
    measured: dict[str, Param] = {"surface_c": surface, "margin_c": margin, "dew_point_c": dew_point}
    if margin >= LEAST_MARGIN_C:
        return ConditionFinding("dew_point", Answer.HOLDS, explain("surface.dew_point.far", **measured), facts)
    if displaced:
        told = explain("surface.dew_point.displaced", **measured, least_c=LEAST_MARGIN_C)
        return ConditionFinding("dew_point", Answer.HOLDS, told, facts)
    told = explain("surface.dew_point.near", **measured, least_c=LEAST_MARGIN_C)
    return ConditionFinding("dew_point", Answer.FAILS, told, facts)


def _check_clean(conditions: SurfaceConditions) -> ConditionFinding:
    if conditions.clean is None:
        return ConditionFinding("clean", Answer.CANNOT_BE_TOLD, explain("surface.clean.not_recorded"))
    if conditions.clean:
        return ConditionFinding("clean", Answer.HOLDS, explain("surface.clean"))
    return ConditionFinding("clean", Answer.FAILS, explain("surface.not_clean"))


def _check_dry(conditions: SurfaceConditions, displaced: bool) -> ConditionFinding:
    if conditions.dry is None:
        return ConditionFinding("dry", Answer.CANNOT_BE_TOLD, explain("surface.dry.not_recorded"))
    if conditions.dry:
        return ConditionFinding("dry", Answer.HOLDS, explain("surface.dry"))
    if displaced:
        return ConditionFinding("dry", Answer.HOLDS, explain("surface.damp.displaced"))
    return ConditionFinding("dry", Answer.FAILS, explain("surface.damp"))


def _check_first_coat(conditions: SurfaceConditions, displaced: bool) -> ConditionFinding:
    """Where it is near freezing or the part is plastic, a water-displacing coat goes on first (common practice)."""
    surface = conditions.surface_temperature_c
    cold = surface is not None and surface <= NEAR_FREEZING_C
    if displaced:
        return ConditionFinding("first_coat", Answer.HOLDS, explain("surface.first_coat"))
    if cold:
        told = explain("surface.first_coat.missing.cold", surface_c=surface)
        return ConditionFinding("first_coat", Answer.FAILS, told)
    if conditions.plastic_parts:
        return ConditionFinding("first_coat", Answer.FAILS, explain("surface.first_coat.missing.plastic"))
    if surface is None:
        return ConditionFinding("first_coat", Answer.CANNOT_BE_TOLD, explain("surface.first_coat.not_recorded"))
    return ConditionFinding("first_coat", Answer.HOLDS, explain("surface.first_coat.not_wanted"))


def _check_temperature_range(
    conditions: SurfaceConditions, lowest_c: Decimal | None, highest_c: Decimal | None
) -> ConditionFinding:
    surface = conditions.surface_temperature_c
    if lowest_c is None and highest_c is None:
        return ConditionFinding("temperature", Answer.HOLDS, explain("surface.temperature.none_set"))
    if surface is None:
        return ConditionFinding("temperature", Answer.CANNOT_BE_TOLD, explain("surface.temperature.not_recorded"))
    fits = (lowest_c is None or surface >= lowest_c) and (highest_c is None or surface <= highest_c)
    if lowest_c is None:
        told = explain("surface.temperature.at_most", surface_c=surface, highest_c=highest_c)
    elif highest_c is None:
        told = explain("surface.temperature.at_least", surface_c=surface, lowest_c=lowest_c)
    else:
        told = explain("surface.temperature", surface_c=surface, lowest_c=lowest_c, highest_c=highest_c)
    return ConditionFinding("temperature", Answer.HOLDS if fits else Answer.FAILS, told)


def check_reach(
    *,
    access_points_used: int | None,
    pressure_kpa: Decimal | None,
    mist_seen_at_far_end: bool | None,
    zone_kind: ZoneKind,
) -> tuple[ConditionFinding, ...]:
    """Judge whether a cavity was reached all through; nothing for zones that are not enclosed cavities.

    Common practice without a published source: 60 psi at the regulator, more than one access point so that the
    passes overlap, and mist seen leaving the far end as the sign of reach.
    """
    if zone_kind is not ZoneKind.ENCLOSED_CAVITY:
        return ()
    return (
        _check_access(access_points_used),
        _check_pressure(pressure_kpa),
        _check_mist(mist_seen_at_far_end),
    )


def _check_access(used: int | None) -> ConditionFinding:
    if used is None:
        return ConditionFinding("access_points", Answer.CANNOT_BE_TOLD, explain("reach.access_points.not_recorded"))
    fits = used >= LEAST_ACCESS_POINTS
    told = explain("reach.access_points" if fits else "reach.access_points.too_few", count=used)
    return ConditionFinding("access_points", Answer.HOLDS if fits else Answer.FAILS, told)


def _check_pressure(pressure_kpa: Decimal | None) -> ConditionFinding:
    if pressure_kpa is None:
        return ConditionFinding("pressure", Answer.CANNOT_BE_TOLD, explain("reach.pressure.not_recorded"))
    psi = convert_kpa_to_psi(pressure_kpa)
    fits = abs(psi - CAVITY_PRESSURE_PSI) <= PRESSURE_TOLERANCE_PSI
    told = explain("reach.pressure", psi=round(psi), practice_psi=CAVITY_PRESSURE_PSI)
    return ConditionFinding("pressure", Answer.HOLDS if fits else Answer.FAILS, told)


def _check_mist(seen: bool | None) -> ConditionFinding:
    if seen is None:
        return ConditionFinding("mist", Answer.CANNOT_BE_TOLD, explain("reach.mist.not_recorded"))
    if seen:
        return ConditionFinding("mist", Answer.HOLDS, explain("reach.mist"))
    return ConditionFinding("mist", Answer.FAILS, explain("reach.no_mist"))
