"""The linear relaxation of one site's season: parts of patterns for shifts, parts of visits for stretches of days.

OR-tools' GLOP solves it; patterns join it as longest paths find them. Its prices say what a place is worth, its parts
of patterns which mix of them a stretch of days should have.
"""

from dataclasses import dataclass

import numpy

# By the linear interface: the other one loads pandas, which costs half a second at every start.
from ortools.linear_solver import pywraplp

from scheduling.season.rules.problem import UNREACHABLE, Numbers, SiteProblem, find_longest_paths

# Days are joined to stretches so that there are about so many choices of a visit and a stretch; more take longer.
MOST_CHOICES = 10_000
FEWEST_STRETCHES = 8
ROUNDS = 12
# Patterns that are off by a share like this of all that is won are left alone.
NEAR_ENOUGH = 0.002
SMALL = 1e-6
# The first patterns come from prices that fall through the season, each time with some chance from a fixed seed.
FIRST_ROUNDS = 10


@dataclass(frozen=True, slots=True)
class BayLimit:
    """On each day at most so many quarters of work for the kinds that need one of some bays."""

    kinds: tuple[int, ...]
    quarters: Numbers


@dataclass(frozen=True, slots=True)
class Mix:
    """What the relaxation came to.

    Attributes:
        prices: of a place in a shift, for each kind on each day.
        bay_prices: of a quarter of a bay, for each of ``bay_limits`` on each day.
        parts: for each shift the patterns that it should have, as counts of each kind, with the share of each.
    """

    prices: Numbers
    bay_prices: Numbers
    parts: list[list[tuple[float, Numbers]]]


def find_bay_limits(problem: SiteProblem) -> list[BayLimit]:
    """Return the limits of the sets of bays that kinds need; what waits through a break or stands is left out."""
    room, kinds = problem.room, problem.kinds
    worked = numpy.zeros(len(problem.days), dtype=object)
    for shift in problem.shifts:
        worked[shift.day] |= shift.person.worked[problem.days[shift.day]]
    found = []
    for bays in sorted(
        {frozenset(kind.bays) for kind in kinds} | {frozenset(bay.key for bay in room.bays)}, key=sorted
    ):
        mine = tuple(number for number, kind in enumerate(kinds) if bays.issuperset(kind.bays))
        free = [
            sum((quarters & ~room.bay_taken[bay, day]).bit_count() for bay in bays)
            for day, quarters in zip(problem.days, worked, strict=True)
        ]
        found.append(BayLimit(mine, numpy.array(free)))
    return found


class Programme:
    """The relaxation while patterns join it."""

    def __init__(self, problem: SiteProblem, costs: Numbers, bay_limits: list[BayLimit]) -> None:
        """Lay out the programme.

        Args:
            costs: of each visit on each day, and on none in the last column.
        """
        self._problem = problem
        count, kinds = len(problem.visits), len(problem.kinds)
        days = len(problem.days)
        length = -(-days // max(FEWEST_STRETCHES, MOST_CHOICES // count))
        self._stretch_of = numpy.arange(days) // length
        self._stretches = int(self._stretch_of[-1]) + 1
        self._solver = pywraplp.Solver.CreateSolver("GLOP")
        # Without, it goes on from the last solution where only columns are new.
        self._solver.SetSolverSpecificParametersAsString("use_preprocessing:false")
        self._goal = self._solver.Objective()
        self._goal.SetMinimization()
        visits = [self._at_most(1) for _ in range(count)]
        self._places = [[self._at_most(0) for _ in range(self._stretches)] for _ in range(kinds)]
        self._bays = [[self._at_most(float(n)) for n in self._sum_up(limit.quarters)] for limit in bay_limits]
        needs = [[(n, limit) for n, limit in enumerate(bay_limits) if kind in limit.kinds] for kind in range(kinds)]
        for stretch in range(self._stretches):
            part = costs[:, :-1][:, self._stretch_of == stretch]
            may = part < UNREACHABLE
            mean = numpy.where(may, part, 0).sum(axis=1) / numpy.maximum(1, may.sum(axis=1))
            for number in numpy.flatnonzero(may.any(axis=1) & (mean < costs[:, -1])):
                kind = int(problem.kind_of[number])
                column = self._add_column([(visits[number], 1.0), (self._places[kind][stretch], 1.0)])
                for limit, _ in needs[kind]:
                    self._bays[limit][stretch].SetCoefficient(column, float(problem.kinds[kind].quarters))
                self._goal.SetCoefficient(column, float(mean[number] - costs[number, -1]))
        self._group_shifts()

    def _at_most(self, number: float) -> pywraplp.Constraint:
        return self._solver.Constraint(-self._solver.infinity(), number)

    def _add_column(self, coefficients: list[tuple[pywraplp.Constraint, float]]) -> pywraplp.Variable:
        column = self._solver.NumVar(0, self._solver.infinity(), "")
        for row, coefficient in coefficients:
            row.SetCoefficient(column, coefficient)
        return column

    def _sum_up(self, by_day: Numbers) -> Numbers:
        return numpy.bincount(self._stretch_of, weights=by_day, minlength=self._stretches)

    def _group_shifts(self) -> None:
        """Put together the shifts of a stretch in which the same can be done."""
        ends = [self._problem.list_ends(shift) for shift in self._problem.shifts]
        groups: dict[tuple[int, bytes], int] = {}
        self._group_of = [
            groups.setdefault((int(self._stretch_of[shift.day]), end.tobytes()), len(groups))
            for shift, end in zip(self._problem.shifts, ends, strict=True)
        ]
        self._ends = numpy.array([ends[self._group_of.index(group)] for group in range(len(groups))])
        self._stretch_of_group = numpy.array([stretch for stretch, _ in groups])
        self._counts = numpy.bincount(self._group_of)
        self._rows = [self._at_most(float(count)) for count in self._counts]
        self._patterns: dict[tuple[int, bytes], tuple[pywraplp.Variable, Numbers]] = {}

    def _add_pattern(self, group: int, counts: Numbers) -> bool:
        key = (group, counts.tobytes())
        if key in self._patterns:
            return False
        stretch = self._stretch_of_group[group]
        places = [(self._places[kind][stretch], -float(counts[kind])) for kind in numpy.flatnonzero(counts)]
        self._patterns[key] = (self._add_column([(self._rows[group], 1.0), *places]), counts)
        return True

    def solve(self) -> Mix:
        """Return prices and parts of patterns once no pattern is worth much more than its shift."""
        chance = numpy.random.default_rng(1)
        quarters = numpy.array([kind.quarters for kind in self._problem.kinds])
        falling = numpy.outer(quarters, numpy.linspace(1, 0.1, self._stretches))
        for _ in range(FIRST_ROUNDS):
            prices = falling * chance.uniform(0.5, 1.5, falling.shape)
            _, counts = find_longest_paths(self._ends, prices.T[self._stretch_of_group])
            for group, pattern in enumerate(counts):
                self._add_pattern(group, pattern)
        for _ in range(ROUNDS):
            status = self._solver.Solve()
            assert status == self._solver.OPTIMAL, f"the relaxation has no optimum: {status}"
            won = -self._goal.Value()
            prices = self._read_prices(self._places)
            shares = numpy.array([-row.dual_value() for row in self._rows])
            parts = self._read_parts()
            bay_prices = self._read_prices(self._bays)
            most, counts = find_longest_paths(self._ends, prices.T[self._stretch_of_group])
            better = numpy.flatnonzero(most > shares + SMALL)
            if ((most - shares) * self._counts).sum() < NEAR_ENOUGH * won:
                break
            if not sum(self._add_pattern(int(group), counts[group]) for group in better):
                break
        return Mix(prices[:, self._stretch_of], bay_prices[:, self._stretch_of], parts)

    def _read_prices(self, rows: list[list[pywraplp.Constraint]]) -> Numbers:
        found = [[max(0.0, -row.dual_value()) for row in by_stretch] for by_stretch in rows]
        return numpy.array(found).reshape(len(rows), self._stretches)

    def _read_parts(self) -> list[list[tuple[float, Numbers]]]:
        by_group: list[list[tuple[float, Numbers]]] = [[] for _ in self._rows]
        for (group, _), (column, counts) in self._patterns.items():
            if column.solution_value() > SMALL:
                by_group[group].append((column.solution_value() / self._counts[group], counts))
        return [by_group[group] for group in self._group_of]


def choose_patterns(problem: SiteProblem, mix: Mix) -> list[list[int]]:
    """Return for each shift the kinds of one whole pattern, so that the sums stay near those of the parts."""
    quarters = numpy.array([kind.quarters for kind in problem.kinds], dtype=float)
    owed = numpy.zeros(len(problem.kinds))
    chosen: list[list[int]] = []
    for parts in mix.parts:
        if not parts:
            chosen.append([])
            continue
        owed += sum(share * counts for share, counts in parts)
        best = min((counts for _, counts in parts), key=lambda counts: float(((quarters * (owed - counts)) ** 2).sum()))
        owed -= best
        chosen.append([int(kind) for kind in numpy.repeat(numpy.arange(len(best)), best)])
    return chosen
