"""Which visit has which place of the patterns, by OR-tools' min-cost flow; then single visits move to what is left.
The visits of one kind on days with so many places each, at the least cost, and what one place more or less changes.
"""

import copy
import itertools
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import date

import numpy
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

from scheduling.season.rules.costs import compute_cost, compute_day_cost, list_days_of
from scheduling.season.rules.hours import NOON
from scheduling.season.rules.problem import UNREACHABLE, Numbers, Pattern, Shift, SiteProblem, Weights
from scheduling.season.rules.season import Place, SeasonVisit

# Whole costs are multiplied by this, so that of equal chains the shorter one is less; more than there are days.
SCALE = 1024
FAR = UNREACHABLE // 64


class Transport:
    """Visits of one kind, each on a day or on none, always at the least cost for the places that there are.

    Attributes:
        gain: what one more place on each day would save.
        loss: what one place less on each day would cost.
    """

    def __init__(self, costs: Numbers) -> None:
        """Begin without any place.

        Args:
            costs: of each visit on each day, and on none in the last column.
        """
        self._costs = numpy.where(costs >= UNREACHABLE, FAR, costs * SCALE)
        visits, self._nodes = costs.shape
        self._none = self._nodes - 1
        self._at = numpy.full(visits, self._none)
        self._places = numpy.zeros(self._nodes, dtype=numpy.int64)
        self._places[self._none] = visits
        self._find_chains()

    @property
    def cost(self) -> int:
        return int(self._costs[numpy.arange(len(self._at)), self._at].sum()) // SCALE

    def copy(self) -> "Transport":
        """Return another of its own, on which a change can be tried."""
        other = copy.copy(self)
        other._at, other._places = self._at.copy(), self._places.copy()
        return other

    def add_place(self, day: int) -> None:
        self._places[day] += 1
        if self.gain[day] > 0:
            self._move_along(int(self._left[self._chains[self._left, day].argmin()]), day)
        else:
            self._find_values()

    def _remove_place(self, day: int) -> None:
        self._places[day] -= 1
        if (self._at == day).sum() > self._places[day]:
            self._move_along(day, int(self._free[self._chains[day, self._free].argmin()]))
        else:
            self._find_values()

    def change(self, gone: Sequence[int], come: Sequence[int]) -> None:
        """Take a place from each of some days and add one on each of others."""
        for day, other in itertools.zip_longest(gone, come):
            if day is None or other is None or self._chains[day, other] > self.loss[day] - self.gain[other]:
                if other is not None:
                    self.add_place(other)
                if day is not None:
                    self._remove_place(day)
            else:
                self._places[day] -= 1
                self._places[other] += 1
                self._move_along(day, other)

    def compute_change_cost(self, gone: Sequence[int], come: Sequence[int]) -> int:
        """Return what ``change`` would cost, ``SCALE`` times, if each step were the only one."""
        both = min(len(gone), len(come))
        moves = sum(
            min(self._chains[step], self.loss[step[0]] - self.gain[step[1]]) for step in zip(gone, come, strict=False)
        )
        return int(moves + self.loss[gone[both:]].sum() - self.gain[come[both:]].sum())

    def compute_move_costs(self) -> Numbers:
        """Return what it costs to move one place from each day (row) to each other (column)."""
        chains = self._chains[: self._none, : self._none]
        return numpy.minimum(chains, self.loss[:, None] - self.gain[None, :])

    def _move_along(self, begin: int, end: int) -> None:
        moves = []
        while begin != end:
            over = self._steps[begin] + self._chains[:, end]
            over[begin] = 2 * UNREACHABLE
            then = int(over.argmin())
            mine = numpy.flatnonzero(self._at == begin)
            moves.append((mine[(self._costs[mine, then] - self._costs[mine, begin]).argmin()], then))
            begin = then
        for visit, day in moves:
            self._at[visit] = day
        self._find_chains()

    def _find_chains(self) -> None:
        """Find the least that it costs to get one visit out of each day and one into each other (Floyd, Warshall)."""
        order = numpy.argsort(self._at, kind="stable")
        days = self._at[order]
        begins = numpy.flatnonzero(numpy.append(True, days[1:] != days[:-1]))
        self._left = days[begins]
        costs = self._costs[order]
        moved = costs - costs[numpy.arange(len(order)), days][:, None] + 1
        self._steps = numpy.full((self._nodes, self._nodes), UNREACHABLE)
        self._steps[self._left] = numpy.minimum.reduceat(moved, begins, axis=0)
        numpy.fill_diagonal(self._steps, 0)
        chains = self._steps[self._left]
        for number, through in enumerate(self._left):
            numpy.minimum(chains, chains[:, through, None] + chains[None, number], out=chains)
        self._chains = self._steps.copy()
        self._chains[self._left] = chains
        self._find_values()

    def _find_values(self) -> None:
        used = numpy.bincount(self._at, minlength=self._nodes)
        is_free = used < self._places
        is_free[self._none] = True
        self._free = numpy.flatnonzero(is_free)
        self.gain = numpy.maximum(0, -self._chains[self._left].min(axis=0))[: self._none]
        self.loss = numpy.where(is_free, 0, self._chains[:, self._free].min(axis=1))[: self._none]


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
    costs = problem.compute_costs(weights)
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
        now = (*compute_cost(visit, old, season), load[old.day] - visit.quarters if old else 0)
        if old is not None:
            room.give_back(visit, old)
        best = old
        for cost, day in sorted((compute_day_cost(visit, day), day) for day in list_days_of(visit, problem.days)):
            if (*cost, 0) >= now:
                break
            if old is not None and day == old.day:
                continue
            place = room.find_place(visit, day)
            if place is not None:
                whole = (*compute_cost(visit, place, season), load[day])
                if whole < now:
                    best, now = place, whole
        if best is not None:
            room.take(visit, best)
        if best != old:
            places[visit.key] = best
            for place, sign in ((old, -1), (best, 1)):
                if place is not None:
                    load[place.day] += sign * visit.quarters
