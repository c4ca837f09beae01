"""The season of one site as a flow of quarters of an hour from visits to days, solved by OR-tools' min-cost flow.

In the flow a visit may be cut up and spread over days and bays, so its cost is one that no real plan can beat; and
where visits end up whole or nearly so, it says on which day each of them should be.
"""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

from scheduling.rules.season.costs import QUARTER_MINUTES, Cost, count_quarters, list_days_of, weigh_day, weigh_no_day
from scheduling.rules.season.season import Season, SeasonSite, SeasonVisit

# Costs are those of a whole visit and the flow is in quarters; every length up to four hours divides this without rest.
SCALE = 720_720
# For costs that are large themselves; what is lost by rounding down is of no account for a plan.
ROUGH_SCALE = 840
LOAD_STEPS = 4


@dataclass(frozen=True, slots=True)
class Flow:
    """What the flow came to.

    Attributes:
        cost: the sum over visits of their weights, cut visits by their parts; at most that of any real plan.
        shares: for each visit the days to which its quarters went, most first; None: to no day.
    """

    cost: float
    shares: dict[str, list[tuple[date | None, int]]]


def solve_flow(
    season: Season,
    site: SeasonSite,
    visits: Sequence[SeasonVisit],
    weigh_in: Callable[[Cost], int],
    *,
    level_load: bool = False,
    scale: int = SCALE,
) -> Flow:
    """Send every visit's quarters to days at the least cost.

    Args:
        weigh_in: makes one whole number of (lapses, risk, unmet wishes).
        level_load: let a fuller day cost a little more, less than anything that ``weigh_in`` counts.
        scale: how finely costs are cut up.
    """
    if not visits:
        return Flow(0.0, {})
    days = site.list_days()
    # Bays that take the same vehicles are one place in the flow.
    fitting = {_sign(visit): tuple(bay.key for bay in site.bays if bay.fits(visit)) for visit in visits}
    signs = sorted(set(fitting.values()))
    groups = _group_bays(site, signs)
    sink = 0
    visit_node = {visit.key: 1 + number for number, visit in enumerate(visits)}
    base = 1 + len(visits)
    day_node = {day: base + number for number, day in enumerate(days)}
    base += len(days)
    place_node = {
        (group, day): base + number * len(days) + step
        for number, group in enumerate(sorted(set(groups.values())))
        for step, day in enumerate(days)
    }
    tails: list[int] = []
    heads: list[int] = []
    capacities: list[int] = []
    costs: list[int] = []

    def add(tail: int, head: int, capacity: int, cost: int) -> None:
        tails.append(tail)
        heads.append(head)
        capacities.append(capacity)
        costs.append(cost)

    meaning: list[tuple[str, date | None]] = []
    bays = {bay.key: bay for bay in site.bays}
    longest = {
        (group, day): max(
            min(bays[key].minutes.get(day, 0), site.people_minutes.get(day, 0)) // QUARTER_MINUTES
            for key, theirs in groups.items()
            if theirs == group
        )
        for group, day in place_node
    }
    for visit in visits:
        quarters = count_quarters(visit.minutes)
        node = visit_node[visit.key]
        reached = sorted({groups[bay] for bay in fitting[_sign(visit)]})
        for day in list_days_of(visit, days):
            cost = weigh_in(weigh_day(visit, day)) * scale // quarters
            for group in reached:
                # A day on which no bay is free for so long is none for this visit, cut up or not.
                if longest[group, day] < quarters:
                    continue
                add(node, place_node[group, day], quarters, cost)
                meaning.append((visit.key, day))
        add(node, sink, quarters, weigh_in(weigh_no_day(visit, season)) * scale // quarters)
        meaning.append((visit.key, None))
    for (group, day), node in place_node.items():
        free = sum(
            bays[key].minutes.get(day, 0) // QUARTER_MINUTES for key, theirs in groups.items() if theirs == group
        )
        add(node, day_node[day], free, 0)
    for day, node in day_node.items():
        people = site.people_minutes.get(day, 0) // QUARTER_MINUTES
        steps = LOAD_STEPS if level_load else 1
        for step in range(steps):
            part = people * (step + 1) // steps - people * step // steps
            add(node, sink, part, step if level_load else 0)
    solver = SimpleMinCostFlow()
    arcs = solver.add_arcs_with_capacity_and_unit_cost(
        numpy.array(tails), numpy.array(heads), numpy.array(capacities), numpy.array(costs)
    )
    for visit in visits:
        solver.set_node_supply(visit_node[visit.key], count_quarters(visit.minutes))
    solver.set_node_supply(sink, -sum(count_quarters(visit.minutes) for visit in visits))
    status = solver.solve()
    assert status == solver.OPTIMAL, f"the flow of site {site.key} has no optimum: {status}"
    flows = solver.flows(arcs)[: len(meaning)]
    shares: dict[str, dict[date | None, int]] = defaultdict(lambda: defaultdict(int))
    for number in numpy.flatnonzero(flows):
        key, reached_day = meaning[number]
        shares[key][reached_day] += int(flows[number])
    return Flow(
        solver.optimal_cost() / scale,
        {key: sorted(parts.items(), key=lambda part: -part[1]) for key, parts in shares.items()},
    )


def _sign(visit: SeasonVisit) -> tuple[object, ...]:
    return visit.bay_kind, visit.height_mm, visit.mass_kg


def _group_bays(site: SeasonSite, signs: list[tuple[int, ...]]) -> dict[int, int]:
    """Return for each bay the number of its group: bays that are in the same lists of fitting bays."""
    numbers: dict[tuple[bool, ...], int] = {}
    groups = {}
    for bay in site.bays:
        member = tuple(bay.key in sign for sign in signs)
        groups[bay.key] = numbers.setdefault(member, len(numbers))
    return groups
