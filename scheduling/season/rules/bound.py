"""What no plan of a season can beat: the least that lapses, and the least risk, if visits could be cut up.

All are relaxations: whatever a plan does that keeps what was promised, it can't come below them.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scheduling.season.rules.costs import split_by_site, weigh, weigh_no_day
from scheduling.season.rules.flow import Weights, solve_flow
from scheduling.season.rules.season import Season, SeasonSite, SeasonVisit

# Costs are rounded down to whole numbers for each quarter of an hour; this undoes what sums of doubles may add.
SMALL = 1e-6


@dataclass(frozen=True, slots=True)
class Bound:
    """Lower bounds.

    Attributes:
        lapses: no plan has fewer.
        risk: no plan has less.
        risk_at_fewest_lapses: no plan with no more than ``lapses`` has less; at least ``risk``.
        price: of a lapse, in units of risk, for ``together``.
        together: no plan has less of risk and priced lapses together.
    """

    lapses: int
    risk: int
    risk_at_fewest_lapses: int
    price: int
    together: int

    def find_risk_at(self, lapses: int) -> int:
        """Return what risk no plan with so many lapses can beat (Lagrange: lapses priced, then taken off again)."""
        return max(self.risk, self.together - self.price * lapses)


def find_bound(season: Season) -> Bound:
    """Return bounds that hold for every plan of the season."""
    price = max((weigh_no_day(visit, season)[1] for visit in season.visits), default=0) + 1
    lapses = risk = together = 0
    for site, visits in split_by_site(season):
        promised = [weigh(visit, visit.promised, season) for visit in visits if visit.promised is not None]
        lapses += sum(cost[0] for cost in promised)
        risk += sum(cost[1] for cost in promised)
        together += sum(price * cost[0] + cost[1] for cost in promised)
        # What can't lapse in this season takes no room from what can.
        pressing = [visit for visit in visits if visit.promised is not None or weigh_no_day(visit, season)[0]]
        lapses += _find_least(season, site, pressing, (1, 0, 0))
        risk += _find_least(season, site, visits, (0, 1, 0))
        together += _find_least(season, site, visits, (price, 1, 0))
    return Bound(lapses, risk, max(risk, together - price * lapses), price, together)


def _find_least(season: Season, site: SeasonSite, visits: Sequence[SeasonVisit], weights: Weights) -> int:
    return math.ceil(solve_flow(season, site, visits, weights).cost - SMALL)
