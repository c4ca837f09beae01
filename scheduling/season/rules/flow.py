"""The season of one site as a flow of quarters of an hour from visits to days, solved by OR-tools' min-cost flow.

In the flow a visit may be cut up and spread over days, bays and people, so its cost is one that no real plan can beat;
and where visits end up whole or nearly so, it says on which day each of them should be.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

from scheduling.season.rules.costs import Cost, weigh_no_day
from scheduling.season.rules.limits import find_limits, tell_kind
from scheduling.season.rules.room import Room
from scheduling.season.rules.season import Season, SeasonSite, SeasonVisit

# Costs are those of a whole visit and the flow is in quarters; every length up to four hours divides this without rest.
SCALE = 720_720
# For costs that are large themselves; what is lost by rounding down is of no account for a plan.
ROUGH_SCALE = 840
LOAD_STEPS = 4
SUNDAY_ORDINAL = 7
DAYS_A_WEEK = 7

# What one lapse, one unit of risk and one unmet wish weigh.
Weights = tuple[int, int, int]
Numbers = Any  # numpy's arrays of whole numbers, whose types say no more than this


@dataclass(frozen=True, slots=True)
class Flow:
    """What the flow came to.

    Attributes:
        cost: the sum over visits of their weights, cut visits by their parts; at most that of any real plan.
        shares: for each visit the days to which its quarters went, most first; None: to no day.
    """

    cost: float
    shares: dict[str, list[tuple[date | None, int]]]


def weigh_up(weights: Weights, cost: Cost) -> int:
    """Return a cost as one whole number."""
    return weights[0] * cost[0] + weights[1] * cost[1] + weights[2] * cost[2]


def weigh_days(visit: SeasonVisit, ordinals: Numbers, weights: Weights) -> Numbers:
    """Return what each of many days weighs, as ``costs.weigh_day`` would, at once."""
    late: Numbers = 0
    if visit.lapses_after is not None:
        late = (ordinals > visit.lapses_after.toordinal()).astype(numpy.int64)
    weeks = numpy.maximum(0, (ordinals - visit.opens_on.toordinal()) // DAYS_A_WEEK)
    weeks = weeks + numpy.maximum(0, (ordinals - visit.last_on.toordinal()) // DAYS_A_WEEK)
    unmet: Numbers = 0
    if visit.weekdays:
        wanted = sorted(number % SUNDAY_ORDINAL for number in visit.weekdays)  # day 7 of the calendar was a Sunday
        unmet = (~numpy.isin(ordinals % DAYS_A_WEEK, wanted)).astype(numpy.int64)
    return weights[0] * late + weights[1] * visit.risk_per_week * weeks + weights[2] * unmet


class _Network:
    """The arcs of a flow while they are being laid."""

    def __init__(self) -> None:
        self.parts: list[tuple[Numbers, Numbers, Numbers, Numbers]] = []

    def add(self, tails: Numbers, heads: Numbers, capacities: Numbers, costs: Numbers) -> None:
        arcs = numpy.broadcast_arrays(*(numpy.atleast_1d(part) for part in (tails, heads, capacities, costs)))
        self.parts.append((arcs[0], arcs[1], arcs[2], arcs[3]))

    def list_arcs(self) -> list[Numbers]:
        return [numpy.concatenate([part[number] for part in self.parts]).astype(numpy.int64) for number in range(4)]


def solve_flow(
    season: Season,
    site: SeasonSite,
    visits: Sequence[SeasonVisit],
    weights: Weights,
    *,
    level_load: bool = False,
    scale: int = SCALE,
) -> Flow:
    """Send the quarters of every visit that is not promised to days at the least cost.

    A day on which no bay and person are free together for so long is none for a visit, cut up or not. What a day holds
    is told by ``limits``.

    Args:
        visits: all of the site, the promised ones too, which keep their places; their cost is not in the flow's.
        weights: what the three figures weigh.
        level_load: let a fuller day cost a little more, less than anything that is weighed.
        scale: how finely costs are cut up.
    """
    room = Room(site, visits)
    free = [visit for visit in visits if visit.promised is None]
    days = [day for day in room.days if season.first <= day <= season.last]
    none = {visit.key: weigh_up(weights, weigh_no_day(visit, season)) for visit in free}
    if not free or not days:
        return Flow(float(sum(none.values())), {visit.key: [(None, visit.quarters)] for visit in free})
    ordinals = numpy.array([day.toordinal() for day in days], dtype=numpy.int64)
    limits = find_limits(room, free, days)
    narrowest = {kind: number for number, limit in enumerate(limits) for kind in limit.kinds}
    # The nodes: a sink, the visits, each limit on each day. A visit goes to its narrowest limit, and on to wider ones.
    sink, base = 0, 1 + len(free)
    steps_of_days = numpy.arange(len(days))
    network = _Network()
    reach: dict[object, Numbers] = {}
    where: list[Numbers] = []
    for node, visit in enumerate(free, start=1):
        costs = weigh_days(visit, ordinals, weights)
        sign = room.sign(visit)
        if sign not in reach:
            reach[sign] = numpy.array([room.find_place(visit, day) is not None for day in days])
        # A day that costs as much as none is no better than none.
        may = reach[sign] & (costs < none[visit.key]) & (ordinals >= visit.opens_on.toordinal())
        for first, last in visit.avoid:
            may &= (ordinals < first.toordinal()) | (ordinals > last.toordinal())
        (chosen,) = numpy.nonzero(may)
        heads = base + narrowest[tell_kind(room, visit)] * len(days) + chosen
        network.add(node, heads, visit.quarters, costs[chosen] * scale // visit.quarters)
        where.append(chosen)
    laid = sum(len(chosen) for chosen in where)
    for node, visit in enumerate(free, start=1):
        network.add(node, sink, visit.quarters, none[visit.key] * scale // visit.quarters)
    for number, limit in enumerate(limits):
        tails = base + number * len(days) + steps_of_days
        quarters = numpy.array(limit.quarters)
        if limit.within is not None:
            network.add(tails, base + limit.within * len(days) + steps_of_days, quarters, 0)
            continue
        steps = LOAD_STEPS if level_load else 1
        for step in range(steps):
            part = quarters * (step + 1) // steps - quarters * step // steps
            network.add(tails, sink, part, step if level_load else 0)
    solver = SimpleMinCostFlow()
    arcs = solver.add_arcs_with_capacity_and_unit_cost(*network.list_arcs())
    for node, visit in enumerate(free, start=1):
        solver.set_node_supply(node, visit.quarters)
    solver.set_node_supply(sink, -sum(visit.quarters for visit in free))
    status = solver.solve()
    assert status == solver.OPTIMAL, f"the flow of site {site.key} has no optimum: {status}"
    flows = solver.flows(arcs)[: laid + len(free)]
    return Flow(solver.optimal_cost() / scale, _read_shares(free, days, where, flows))


def _read_shares(
    free: Sequence[SeasonVisit], days: Sequence[date], where: Sequence[Numbers], flows: Numbers
) -> dict[str, list[tuple[date | None, int]]]:
    shares: dict[str, dict[date | None, int]] = {visit.key: defaultdict(int) for visit in free}
    begin = 0
    for visit, chosen in zip(free, where, strict=True):
        mine = flows[begin : begin + len(chosen)]
        for number in numpy.flatnonzero(mine):
            shares[visit.key][days[chosen[number]]] += int(mine[number])
        begin += len(chosen)
    for visit, rest in zip(free, flows[begin:], strict=True):
        if rest:
            shares[visit.key][None] += int(rest)
    return {key: sorted(parts.items(), key=lambda part: -part[1]) for key, parts in shares.items()}
