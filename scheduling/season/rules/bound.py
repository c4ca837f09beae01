"""What no plan of a season can beat: the least that lapses, and the least risk, by Lagrange's relaxation.

Whatever the prices of places are, visits that each take what is cheapest, less what all shifts can earn, come to no
more than any plan. The prices are those of the linear relaxation, improved step by step.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy

from scheduling.season.rules.costs import find_lapse_price, split_by_site, weigh, weigh_no_day
from scheduling.season.rules.problem import SiteProblem, Weights, find_longest_paths
from scheduling.season.rules.programme import Programme, find_bay_limits
from scheduling.season.rules.season import Season, SeasonSite, SeasonVisit

STEPS = 300
FIRST_REACH = 0.015
STEPS_IN_VAIN = 8
MOMENTUM = 0.6
# Quarters of bays are counted by so many, since all steps of prices are of one size.
BAY_UNIT = 32
# What sums of doubles may add.
SMALL = 1e-6


@dataclass(frozen=True, slots=True)
class Bound:
    """Lower bounds.

    Attributes:
        lapses: no plan has fewer.
        price: of a lapse, in units of risk, for ``together``.
        together: no plan has less of risk and priced lapses together.
    """

    lapses: int
    price: int
    together: int

    def find_risk_at(self, lapses: int) -> int:
        """Return what risk no plan with so many lapses can beat."""
        return max(0, self.together - self.price * lapses)


def find_bound(season: Season) -> Bound:
    """Return bounds that hold for every plan of the season that keeps what was promised."""
    price = find_lapse_price(season, season.visits)
    lapses = together = 0
    for site, visits in split_by_site(season):
        promised = [weigh(visit, visit.promised, season) for visit in visits if visit.promised is not None]
        lapses += sum(cost[0] for cost in promised)
        together += sum(price * cost[0] + cost[1] for cost in promised)
        # What can't lapse in this season takes no room from what can.
        pressing = [visit for visit in visits if visit.promised is not None or weigh_no_day(visit, season)[0]]
        lapses += _find_least(season, site, pressing, (1, 0, 0))
        together += _find_least(season, site, visits, (price, 1, 0))
    return Bound(lapses, price, together)


def _find_least(season: Season, site: SeasonSite, visits: Sequence[SeasonVisit], weights: Weights) -> int:
    problem = SiteProblem(season, site, visits)
    if not problem.visits:
        return 0
    costs = problem.weigh(weights)
    if not problem.shifts:
        return int(costs[:, -1].sum())
    limits = find_bay_limits(problem)
    mix = Programme(problem, costs, limits).solve()
    kinds, days = len(problem.kinds), len(problem.days)
    # A visit pays for its place in a shift and, where a limit holds for its kind, for its quarters of the bays.
    quarters = numpy.zeros((len(limits), kinds))
    for row, limit in zip(quarters, limits, strict=True):
        row[list(limit.kinds)] = [problem.kinds[kind].quarters / BAY_UNIT for kind in limit.kinds]
    free = numpy.array([limit.quarters / BAY_UNIT for limit in limits]).reshape(len(limits), days)
    ends = numpy.array([problem.list_ends(shift) for shift in problem.shifts])
    day_of = numpy.array([shift.day for shift in problem.shifts])
    rows = numpy.arange(len(problem.visits))
    prices = numpy.concatenate([mix.prices, mix.bay_prices * BAY_UNIT])
    best, best_prices, reach, in_vain = -math.inf, prices, FIRST_REACH, 0
    course = numpy.zeros_like(prices)
    for _ in range(STEPS):
        earned, counts = find_longest_paths(ends, prices[:kinds].T[day_of])
        paid = prices[:kinds] + quarters.T @ prices[kinds:]
        whole = costs[:, :-1] + paid[problem.kind_of]
        chosen = whole.argmin(axis=1)
        comes = whole[rows, chosen] < costs[:, -1]
        least = numpy.minimum(whole[rows, chosen], costs[:, -1]).sum() - earned.sum() - (free * prices[kinds:]).sum()
        if least > best:
            best, best_prices, in_vain = least, prices, 0
        else:
            in_vain += 1
            if in_vain == STEPS_IN_VAIN:
                prices, reach, in_vain = best_prices, reach / 2, 0
        # Where more want places than there are prices rise, where fewer do they fall.
        wanted = numpy.zeros((kinds, days))
        numpy.add.at(wanted, (problem.kind_of[comes], chosen[comes]), 1)
        offered = numpy.zeros((days, kinds))
        numpy.add.at(offered, day_of, counts)
        missing = numpy.concatenate([wanted - offered.T, quarters @ wanted - free])
        # A price of nothing can't fall.
        missing[(prices <= 0) & (missing < 0)] = 0
        course = MOMENTUM * course + missing
        step = (best + reach * abs(best) - least) / max(1.0, float((missing**2).sum()))
        prices = numpy.maximum(0.0, prices + step * course)
    return max(0, math.ceil(best - SMALL))
