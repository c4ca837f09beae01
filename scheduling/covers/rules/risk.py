"""Whom to call first: how much metal a bare spot would have lost since the vehicle was last seen.

ISO 9223 gives the rate of a place, ISO 9224 its growth with time. An estimate for ranking, never a promise.
"""

import math
from datetime import date, timedelta
from functools import lru_cache

from treatments.enums import CorrosivityCategory
from treatments.records.rules.history import VehicleHistory
from treatments.vehicles.rules.corrosivity import (
    EXPONENT,
    FIRST_YEAR_UPPER_UM,
    POWER_LAW_YEARS,
    MetalLoss,
    compute_metal_loss_um,
    estimate_metal_loss,
)

REFERENCE_LOSS_UM = 50.0
"""Our own choice: the upper bound of a year at C3, the middle category. Any depth ranks vehicles of one age alike."""

FURTHEST_YEARS = 100.0
DAYS_A_YEAR = 365.25


@lru_cache
def count_days_to_lose(category: CorrosivityCategory, loss_um: float = REFERENCE_LOSS_UM) -> int:
    """Return the days in which bare steel loses ``loss_um`` at the upper bound of a category (ISO 9224 inverted).

    Up to 20 years t = (D / r)^(1 / b), from then on the tangent; at most a hundred years, since beyond that the
    figure says nothing.
    """
    rate = FIRST_YEAR_UPPER_UM[category]
    years = float((loss_um / rate) ** (1 / EXPONENT))
    if years > POWER_LAW_YEARS:
        slope = float(rate) * EXPONENT * POWER_LAW_YEARS ** (EXPONENT - 1)
        years = POWER_LAW_YEARS + float(loss_um - compute_metal_loss_um(rate, POWER_LAW_YEARS)) / slope
    return math.ceil(min(years, FURTHEST_YEARS) * DAYS_A_YEAR)


def find_risk_day(last_seen_on: date, category: CorrosivityCategory) -> date:
    """Return the day by which a bare spot would have lost the reference depth; the earlier, the sooner to call.

    A day is kept rather than a depth, because it stays the same from one night to the next and so can be indexed.
    """
    days = min(count_days_to_lose(category), (date.max - last_seen_on).days)
    return last_seen_on + timedelta(days=days)


def find_last_seen(history: VehicleHistory, as_of: date) -> date | None:
    """Return the last day up to ``as_of`` on which the vehicle was treated or inspected, or None."""
    days = [treatment.day for treatment in history.current_treatments if treatment.day <= as_of]
    days += [inspection.day for inspection in history.current_inspections if inspection.day <= as_of]
    return max(days, default=None)


def estimate_risk(last_seen_on: date, category: CorrosivityCategory, as_of: date) -> MetalLoss:
    """Return the estimated loss of bare steel from ``last_seen_on`` to ``as_of``, with its source in words."""
    return estimate_metal_loss(category, max((as_of - last_seen_on).days, 0) / DAYS_A_YEAR)
