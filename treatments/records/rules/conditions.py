"""Whether a surface was fit to be treated, and whether a cavity was reached all through.

What was not measured is said to be unknown. The rules of reach are common practice without a published source.
"""

import math
from dataclasses import dataclass
from decimal import Decimal

from treatments.enums import Answer, ZoneKind
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
    sentence: str
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
        sentence = "Air, surface temperature and humidity were not all measured, so the dew point cannot be told."
        return ConditionFinding("dew_point", Answer.CANNOT_BE_TOLD, sentence)
    dew_point = compute_dew_point_c(air, humidity)
    margin = surface - dew_point
    facts = (("dew_point_c", str(dew_point)), ("surface_c", str(surface)), ("margin_c", str(margin)))
    sentence = f"The surface at {surface} degC was {margin} degC above the dew point of {dew_point} degC"
    if margin >= LEAST_MARGIN_C:
        return ConditionFinding("dew_point", Answer.HOLDS, f"{sentence}.", facts)
    if displaced:
        sentence += f", less than {LEAST_MARGIN_C}, but a water-displacing coat went on."
        return ConditionFinding("dew_point", Answer.HOLDS, sentence, facts)
    sentence += f"; at least {LEAST_MARGIN_C} are wanted (ISO 8502-4 practice)."
    return ConditionFinding("dew_point", Answer.FAILS, sentence, facts)


def _check_clean(conditions: SurfaceConditions) -> ConditionFinding:
    if conditions.clean is None:
        return ConditionFinding("clean", Answer.CANNOT_BE_TOLD, "Whether the surface was clean is not recorded.")
    if conditions.clean:
        return ConditionFinding("clean", Answer.HOLDS, "The surface was clean.")
    sentence = "The surface was not clean; nothing adheres to dirt, mud, grease, oil or frost."
    return ConditionFinding("clean", Answer.FAILS, sentence)


def _check_dry(conditions: SurfaceConditions, displaced: bool) -> ConditionFinding:
    if conditions.dry is None:
        return ConditionFinding("dry", Answer.CANNOT_BE_TOLD, "Whether the surface was dry is not recorded.")
    if conditions.dry:
        return ConditionFinding("dry", Answer.HOLDS, "The surface was dry.")
    if displaced:
        return ConditionFinding("dry", Answer.HOLDS, "The surface was damp; a water-displacing coat went on.")
    sentence = "The surface was damp and no water-displacing coat went on first."
    return ConditionFinding("dry", Answer.FAILS, sentence)


def _check_first_coat(conditions: SurfaceConditions, displaced: bool) -> ConditionFinding:
    """Where it is near freezing or the part is plastic, a water-displacing coat goes on first (common practice)."""
    surface = conditions.surface_temperature_c
    cold = surface is not None and surface <= NEAR_FREEZING_C
    if displaced:
        return ConditionFinding("first_coat", Answer.HOLDS, "A water-displacing coat went on.")
    if cold or conditions.plastic_parts:
        why = f"The surface was near freezing ({surface} degC)" if cold else "The part is plastic"
        sentence = f"{why}, and no water-displacing coat went on first."
        return ConditionFinding("first_coat", Answer.FAILS, sentence)
    if surface is None:
        sentence = "The surface temperature is not recorded, so whether a first coat was wanted cannot be told."
        return ConditionFinding("first_coat", Answer.CANNOT_BE_TOLD, sentence)
    return ConditionFinding("first_coat", Answer.HOLDS, "No water-displacing first coat was called for.")


def _check_temperature_range(
    conditions: SurfaceConditions, lowest_c: Decimal | None, highest_c: Decimal | None
) -> ConditionFinding:
    surface = conditions.surface_temperature_c
    if lowest_c is None and highest_c is None:
        sentence = "The product's data sheet sets no surface temperature."
        return ConditionFinding("temperature", Answer.HOLDS, sentence)
    if surface is None:
        return ConditionFinding("temperature", Answer.CANNOT_BE_TOLD, "The surface temperature is not recorded.")
    low = "any" if lowest_c is None else f"{lowest_c}"
    high = "any" if highest_c is None else f"{highest_c}"
    fits = (lowest_c is None or surface >= lowest_c) and (highest_c is None or surface <= highest_c)
    sentence = f"The surface was at {surface} degC; the product wants {low} to {high} degC."
    return ConditionFinding("temperature", Answer.HOLDS if fits else Answer.FAILS, sentence)


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
        sentence = "How many access points were used is not recorded."
        return ConditionFinding("access_points", Answer.CANNOT_BE_TOLD, sentence)
    fits = used >= LEAST_ACCESS_POINTS
    sentence = f"Reached from {used} access point{'s' if used != 1 else ''}" + (
        "." if fits else "; more than one is wanted, so that the passes overlap."
    )
    return ConditionFinding("access_points", Answer.HOLDS if fits else Answer.FAILS, sentence)


def _check_pressure(pressure_kpa: Decimal | None) -> ConditionFinding:
    if pressure_kpa is None:
        return ConditionFinding("pressure", Answer.CANNOT_BE_TOLD, "The regulator's pressure is not recorded.")
    psi = convert_kpa_to_psi(pressure_kpa)
    fits = abs(psi - CAVITY_PRESSURE_PSI) <= PRESSURE_TOLERANCE_PSI
    sentence = f"The regulator stood at {psi:.0f} psi; {CAVITY_PRESSURE_PSI} psi is the practice."
    return ConditionFinding("pressure", Answer.HOLDS if fits else Answer.FAILS, sentence)


def _check_mist(seen: bool | None) -> ConditionFinding:
    if seen is None:
        sentence = "Whether mist left the far end is not recorded."
        return ConditionFinding("mist", Answer.CANNOT_BE_TOLD, sentence)
    sentence = "Mist was seen leaving the far end." if seen else "No mist was seen leaving the far end."
    return ConditionFinding("mist", Answer.HOLDS if seen else Answer.FAILS, sentence)
