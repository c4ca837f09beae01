"""The visits of one kind on days with so many places each, at the least cost, and what one place more or less changes.

A place more is worth the best chain of visits that move up into it; one less costs the best chain that makes do.
"""

import copy
import itertools
from collections.abc import Sequence

import numpy

from scheduling.season.rules.problem import UNREACHABLE, Numbers

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

    def weigh_change(self, gone: Sequence[int], come: Sequence[int]) -> int:
        """Return what ``change`` would cost, ``SCALE`` times, if each step were the only one."""
        both = min(len(gone), len(come))
        moves = sum(
            min(self._chains[step], self.loss[step[0]] - self.gain[step[1]]) for step in zip(gone, come, strict=False)
        )
        return int(moves + self.loss[gone[both:]].sum() - self.gain[come[both:]].sum())

    def weigh_moves(self) -> Numbers:
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
