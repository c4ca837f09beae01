"""How fast bare steel corrodes in a place: ISO 9223 categories and ISO 9224's growth with time.

Every figure is an estimate for ranking whom to call first, never a promise about a vehicle.
"""

from dataclasses import dataclass
from decimal import Decimal

from treatments.enums import CorrosivityCategory
from treatments.rules.explanation import Explanation, explain

# ISO 9223, carbon steel, first year, in micrometres: the upper bound of each category.
FIRST_YEAR_UPPER_UM: dict[CorrosivityCategory, float] = {
    CorrosivityCategory.C1: 1.3,
    CorrosivityCategory.C2: 25.0,
    CorrosivityCategory.C3: 50.0,
    CorrosivityCategory.C4: 80.0,
    CorrosivityCategory.C5: 200.0,
    CorrosivityCategory.CX: 700.0,
}
EXPONENT = 0.523  # ISO 9224, carbon steel
POWER_LAW_YEARS = 20.0


@dataclass(frozen=True, slots=True)
class MetalLoss:
    """An estimated loss of bare steel in micrometres, at the upper bound of the category."""

    upper_um: float
    explanation: Explanation


def compute_metal_loss_um(first_year_um: float, years: float) -> float:
    """Return the loss in micrometres after ``years``: D = r t^b, beyond 20 years on the tangent (ISO 9224).

    Raises:
        ValueError: for a negative time or rate.
    """
    if years < 0 or first_year_um < 0:
        raise ValueError(f"{first_year_um} um in the first year over {years} years: neither can be negative.")
    if years <= POWER_LAW_YEARS:
        return float(first_year_um * years**EXPONENT)
    at_20 = POWER_LAW_YEARS**EXPONENT
    slope = EXPONENT * POWER_LAW_YEARS ** (EXPONENT - 1)
    return float(first_year_um * (at_20 + slope * (years - POWER_LAW_YEARS)))


def estimate_metal_loss(category: CorrosivityCategory, years: float) -> MetalLoss:
    """Return the estimated loss on bare steel in a place of this category."""
    upper = compute_metal_loss_um(FIRST_YEAR_UPPER_UM[category], years)
    told = explain("corrosivity.estimate", loss_um=round(upper), years=Decimal(f"{years:.1f}"), category=str(category))
    return MetalLoss(upper, told)
