"""What no plan of a season can beat: the least that lapses, and the least risk, if visits could be cut up.

All are relaxations: whatever a plan does, it can't come below them.
"""

import math
from dataclasses import dataclass

from scheduling.rules.season.costs import Cost, split_by_site, weigh_no_day
from scheduling.rules.season.flow import solve_flow
from scheduling.rules.season.season import Season

# Costs are rounded down to whole numbers for each quarter of an hour; this undoes what sums of doubles may add.
SMALL = 1e-6


@dataclass(frozen=True, slots=True)
class Bound:
    """Lower bounds.

    Attributes:
        lapses: no plan has fewer.
        risk: no plan has less.
        risk_at_fewest_lapses: no plan with no more than ``lapses`` has less; at least ``risk``.
    """

    lapses: int
    risk: int
    risk_at_fewest_lapses: int


def find_bound(season: Season) -> Bound:
    """Return bounds that hold for every plan of the season."""

    def lapse(cost: Cost) -> int:
        return cost[0]

    def risk(cost: Cost) -> int:
        return cost[1]

    lapses = risks = risks_at_fewest = 0
    for site, visits in split_by_site(season):
        # Lagrange: with lapses priced, the least of both together less the price of those that can't be avoided.
        price = max((weigh_no_day(visit, season)[1] for visit in visits), default=0) + 1

        def both(cost: Cost, price: int = price) -> int:
            return cost[0] * price + cost[1]

        fewest = math.ceil(solve_flow(season, site, visits, lapse).cost - SMALL)
        least = math.ceil(solve_flow(season, site, visits, risk).cost - SMALL)
        together = math.ceil(solve_flow(season, site, visits, both).cost - SMALL)
        lapses += fewest
        risks += least
        risks_at_fewest += max(least, together - price * fewest)
    return Bound(lapses, risks, risks_at_fewest)
