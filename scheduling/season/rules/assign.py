"""Which visit has which place of the patterns, by OR-tools' min-cost flow; then single visits move to what is left.

Visits of a kind share the places of that kind, so there is one flow for each kind.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import date

import numpy
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

from scheduling.season.rules.costs import list_days_of, weigh, weigh_day
from scheduling.season.rules.hours import NOON
from scheduling.season.rules.problem import UNREACHABLE, Numbers, Pattern, Shift, SiteProblem, Weights
from scheduling.season.rules.season import Place, SeasonVisit

FoundPlaces = dict[str, Place | None]
ORDER_IN_DAY = {"morning": 0, "": 1, "afternoon": 2}


def assign_visits(problem: SiteProblem, weights: Weights, patterns: Sequence[Pattern]) -> FoundPlaces:
    """Return a place for each visit, or None, at the least cost that patterns allow; their order in a day may change.

    The patterns must be taken in the room of the problem; afterwards the visits are, and nothing else.
    """
    places = _assign(problem, weights, patterns)
    by_place = {place: visit for visit in problem.visits if (place := places[visit.key]) is not None}
    patterns = [_order_by_wishes(problem, *shift, by_place) for shift in zip(problem.shifts, patterns, strict=True)]
    places = _assign(problem, weights, patterns)
    for pattern in patterns:
        problem.give_back(pattern)
    for visit in problem.visits:
        place = places[visit.key]
        if place is not None:
            problem.room.take(visit, place)
    _move_to_better_days(problem, places)
    return places


def _assign(problem: SiteProblem, weights: Weights, patterns: Sequence[Pattern]) -> FoundPlaces:
    by_kind: dict[int, list[Place]] = defaultdict(list)
    for pattern in patterns:
        for kind, place in pattern:
            by_kind[kind].append(place)
    costs = problem.weigh(weights)
    number_of = {day: number for number, day in enumerate(problem.days)}
    found: FoundPlaces = {visit.key: None for visit in problem.visits}
    for kind, places in sorted(by_kind.items()):
        numbers = numpy.flatnonzero(problem.kind_of == kind)
        days = numpy.array([number_of[place.day] for place in places])
        visits = [problem.visits[number] for number in numbers]
        unmet = numpy.array([[not visit.is_in_part(place.quarter) for place in places] for visit in visits])
        mine = costs[numbers]
        for row, column in _flow(mine[:, days] + weights[2] * unmet, mine[:, -1]):
            found[visits[row].key] = places[column]
    return found


def _flow(costs: Numbers, without: Numbers) -> list[tuple[int, int]]:
    """Return which row gets which column at the least cost; a row without a column costs what ``without`` says."""
    count, places = costs.shape
    tails, heads = numpy.nonzero(costs < numpy.minimum(without[:, None], UNREACHABLE))
    rows, columns, sink = numpy.arange(count), numpy.arange(places), count + places
    solver = SimpleMinCostFlow()
    arcs = solver.add_arcs_with_capacity_and_unit_cost(
        numpy.concatenate([tails, rows, count + columns]),
        numpy.concatenate([count + heads, numpy.full(count + places, sink)]),
        numpy.ones(len(tails) + count + places, dtype=numpy.int64),
        numpy.concatenate([costs[tails, heads], without, numpy.zeros(places, dtype=numpy.int64)]),
    )
    for row in rows:
        solver.set_node_supply(row, 1)
    solver.set_node_supply(sink, -count)
    status = solver.solve()
    assert status == solver.OPTIMAL, f"each visit can stay without a place: {status}"
    used = numpy.flatnonzero(solver.flows(arcs)[: len(tails)])
    return [(int(tails[arc]), int(heads[arc])) for arc in used]


def _order_by_wishes(
    problem: SiteProblem, shift: Shift, pattern: Pattern, by_place: Mapping[Place, SeasonVisit]
) -> Pattern:
    """Return the pattern of a shift with its visits in the order of their wishes, where that meets more of them."""
    wishes = [(kind, by_place[place].part_of_day if place in by_place else "") for kind, place in pattern]
    if not any(part for _, part in wishes):
        return pattern

    def count_met(some: Pattern) -> int:
        met = Counter(wishes) & Counter(
            (kind, "morning" if place.quarter < NOON else "afternoon") for kind, place in some
        )
        return met.total()

    problem.give_back(pattern)
    wishes.sort(key=lambda wish: ORDER_IN_DAY[wish[1]])
    other = problem.lay_out(shift, [kind for kind, _ in wishes])
    better = other if other is not None and count_met(other) > count_met(pattern) else pattern
    problem.take(better)
    return better


def _move_to_better_days(problem: SiteProblem, places: FoundPlaces) -> None:
    """Move visits to where they cost less, or where the day is less full at the same cost."""
    season, room = problem.season, problem.room
    load: Counter[date] = Counter()
    for visit in problem.everybody:
        place = places.get(visit.key, visit.promised)
        if place is not None:
            load[place.day] += visit.quarters
    order = sorted(problem.visits, key=lambda visit: (-visit.risk_per_week, visit.opens_on, visit.minutes, visit.key))
    for visit in order:
        old = places[visit.key]
        now = (*weigh(visit, old, season), load[old.day] - visit.quarters if old else 0)
        if old is not None:
            room.give_back(visit, old)
        best = old
        for cost, day in sorted((weigh_day(visit, day), day) for day in list_days_of(visit, problem.days)):
            if (*cost, 0) >= now:
                break
            if old is not None and day == old.day:
                continue
            place = room.find_place(visit, day)
            if place is not None:
                whole = (*weigh(visit, place, season), load[day])
                if whole < now:
                    best, now = place, whole
        if best is not None:
            room.take(visit, best)
        if best != old:
            places[visit.key] = best
            for place, sign in ((old, -1), (best, 1)):
                if place is not None:
                    load[place.day] += sign * visit.quarters
