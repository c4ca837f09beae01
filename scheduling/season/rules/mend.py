"""The closing exchange: shifts change their patterns, alone or two and two, for as long as that makes the plan better.

What visits cost is known exactly after each step, since visits of one kind share places with no other kind.
"""

import itertools
import random
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

import numpy

from scheduling.season.rules.assign import SCALE, Transport
from scheduling.season.rules.problem import Numbers, Pattern, SiteProblem, Weights, find_longest_paths

ROUNDS = 8
# So many visits of a shift change places at once with as much work of another shift.
MOST_IN_PART = 3
MOST_PARTS_OF_LENGTH = 2_000
MOST_PAIRS_TRIED = 150
TIMES_VALUED = 3
# So many shifts are looked at together, which is quicker; what changed meanwhile is seen when a change is tried.
AT_ONCE = 12
# Steps that promise less than such a share of one unit of risk are not tried.
LEAST_SHARE = 0.01


class Exchange:
    """A plan of one site as patterns, with all visits at the least cost for the places that these give."""

    def __init__(self, problem: SiteProblem, weights: Weights, kinds_of_shifts: Sequence[Sequence[int]]) -> None:
        """Lay out patterns for the shifts; what does not fit is left out, the shortest visits first."""
        self._problem = problem
        self._chance = random.Random(1)
        # What was tried once is not tried again: things seldom change so much that it would be better now.
        self._tried: set[tuple[tuple[int, tuple[int, ...]], ...]] = set()
        self._least = LEAST_SHARE * weights[1] * SCALE
        costs = problem.compute_costs(weights)
        self._transports = [Transport(costs[problem.kind_of == number]) for number in range(len(problem.kinds))]
        self._quarters = [kind.quarters for kind in problem.kinds]
        self._day_of: Numbers = numpy.array([shift.day for shift in problem.shifts])
        self._able: Numbers = numpy.array([problem.list_ends(shift).any(axis=1) for shift in problem.shifts])
        self.patterns: list[Pattern] = []
        for shift, kinds in zip(problem.shifts, kinds_of_shifts, strict=True):
            wanted = self._longest_first(kinds)
            pattern = problem.lay_out(shift, wanted)
            while pattern is None:
                wanted = wanted[:-1]
                pattern = problem.lay_out(shift, wanted)
            problem.take(pattern)
            self.patterns.append(pattern)
            for kind, _ in pattern:
                self._transports[kind].add_place(shift.day)

    def _longest_first(self, kinds: Iterable[int]) -> list[int]:
        """Return kinds of visits in the order in which they are easiest to lay out."""
        return sorted(map(int, kinds), key=lambda kind: -self._quarters[kind])

    def improve(self) -> list[Pattern]:
        """Return the patterns once no step makes them better, or after some rounds."""
        for _ in range(ROUNDS):
            numbers = range(len(self._problem.shifts))
            changed = sum(self._renew(numbers[begin : begin + AT_ONCE]) for begin in numbers[::AT_ONCE])
            changed += self._exchange_parts()
            if not changed:
                break
        return self.patterns

    def _renew(self, numbers: Sequence[int]) -> int:
        """Give each of some shifts the longest path for what places are worth as things stand."""
        problem = self._problem
        ends, old = [], []
        for number in numbers:
            pattern = self.patterns[number]
            problem.give_back(pattern)
            ends.append(problem.list_ends(problem.shifts[number]))
            problem.take(pattern)
            old.append(numpy.bincount([kind for kind, _ in pattern], minlength=len(problem.kinds)))
        laid, table = numpy.array(old), numpy.array(ends)
        days = self._day_of[list(numbers)]
        loss = numpy.array([transport.loss[days] for transport in self._transports], dtype=float).T
        gain = numpy.array([transport.gain[days] for transport in self._transports], dtype=float).T

        def value(counts: Numbers) -> Numbers:
            """Return what places of each kind are worth together; those there are already are worth more."""
            return numpy.minimum(counts, laid) * loss + numpy.maximum(0, counts - laid) * gain

        best, most = laid, value(laid).sum(axis=1) + self._least
        values = numpy.where(laid > 0, loss, gain)
        for _ in range(TIMES_VALUED):
            _, counts = find_longest_paths(table, values)
            worth = value(counts)
            is_better = worth.sum(axis=1) > most
            best = numpy.where(is_better[:, None], counts, best)
            most = numpy.where(is_better, worth.sum(axis=1), most)
            values = numpy.where(counts > 0, worth / numpy.maximum(1, counts), values)
        changed = 0
        for number, counts, before in zip(numbers, best, laid, strict=True):
            if (counts != before).any():
                kinds = self._longest_first(numpy.repeat(numpy.arange(len(counts)), counts))
                changed += self._replace([(number, kinds)])
        return changed

    def _replace(self, changes: Sequence[tuple[int, Sequence[int]]]) -> bool:
        """Give shifts other kinds of visits where they can be laid out and that is better; else leave all as it was."""
        asked = tuple((number, tuple(kinds)) for number, kinds in changes)
        if asked in self._tried:
            return False
        self._tried.add(asked)
        problem = self._problem
        old = [(number, self.patterns[number]) for number, _ in changes]
        for _, pattern in old:
            problem.give_back(pattern)
        new: list[tuple[int, Pattern]] = []
        for number, kinds in changes:
            laid = problem.lay_out(problem.shifts[number], kinds)
            if laid is None:
                break
            problem.take(laid)
            new.append((number, laid))
        if len(new) == len(changes) and self._change_places(old, new):
            for number, pattern in new:
                self.patterns[number] = pattern
            return True
        for _, pattern in new:
            problem.give_back(pattern)
        for _, pattern in old:
            problem.take(pattern)
        return False

    def _change_places(self, old: Sequence[tuple[int, Pattern]], new: Sequence[tuple[int, Pattern]]) -> bool:
        """Change the places where that makes visits cost less; else leave them."""
        days: dict[int, Counter[int]] = defaultdict(Counter)
        for sign, patterns in ((1, new), (-1, old)):
            for number, pattern in patterns:
                for kind, _ in pattern:
                    days[kind][self._problem.shifts[number].day] += sign
        steps = {kind: (list((-more).elements()), list((+more).elements())) for kind, more in days.items()}
        # A single step costs what it says, later ones at least as much; so what is doubtful comes first.
        costs = {kind: self._transports[kind].compute_change_cost(*step) for kind, step in steps.items()}
        total = sum(costs.values())
        changed = {}
        for kind, step in sorted(steps.items(), key=lambda item: (-len(item[1][0]) - len(item[1][1]), item[0])):
            if total >= 0:
                return False
            changed[kind] = self._transports[kind].copy()
            changed[kind].change(*step)
            total += SCALE * (changed[kind].cost - self._transports[kind].cost) - costs[kind]
        if total < 0:
            for kind, transport in changed.items():
                self._transports[kind] = transport
        return total < 0

    def _exchange_parts(self) -> int:
        """Let two shifts of different days exchange parts that take as long; return how often that was better."""
        tried = changed = 0
        touched: set[int] = set()
        for one, part, other, others in self._find_exchanges():
            if one in touched or other in touched:
                continue
            mine = Counter(kind for kind, _ in self.patterns[one])
            theirs = Counter(kind for kind, _ in self.patterns[other])
            mine.subtract(part)
            mine.update(others)
            theirs.subtract(others)
            theirs.update(part)
            tried += 1
            if self._replace(
                [(one, self._longest_first(mine.elements())), (other, self._longest_first(theirs.elements()))]
            ):
                changed += 1
                touched |= {one, other}
            if tried == MOST_PAIRS_TRIED:
                break
        return changed

    def _find_exchanges(self) -> list[tuple[int, tuple[int, ...], int, tuple[int, ...]]]:
        """Return pairs of shifts and what each would give the other, the most promising first."""
        by_length: dict[int, list[tuple[int, tuple[int, ...]]]] = defaultdict(list)
        for number, pattern in enumerate(self.patterns):
            kinds = sorted(kind for kind, _ in pattern)
            for size in range(1, MOST_IN_PART + 1):
                for part in sorted(set(itertools.combinations(kinds, size))):
                    by_length[sum(self._quarters[kind] for kind in part)].append((number, part))
        moves = numpy.array([transport.compute_move_costs() for transport in self._transports])
        found = []
        for parts in by_length.values():
            if len(parts) > MOST_PARTS_OF_LENGTH:
                parts = self._chance.sample(parts, MOST_PARTS_OF_LENGTH)
            shifts = numpy.array([number for number, _ in parts])
            days = self._day_of[shifts]
            costs = numpy.array([moves[list(part), self._day_of[number]].sum(axis=0)[days] for number, part in parts])
            may = numpy.array([self._able[:, list(part)].all(axis=1)[shifts] for _, part in parts])
            saved = -(costs + costs.T)
            better = numpy.triu((saved > self._least) & may & may.T & (days[:, None] != days[None, :]))
            one, other = numpy.nonzero(better)
            order = numpy.argsort(-saved[one, other], kind="stable")[:MOST_PAIRS_TRIED]
            found += [(saved[one[n], other[n]], parts[one[n]], parts[other[n]]) for n in order]
        found.sort(key=lambda pair: -pair[0])
        return [(*one, *other) for _, one, other in found]
