"""One site's season in numbers: visits by kind, days, the shifts of its people, and what each day costs each visit."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

import numpy

from scheduling.season.rules.costs import compute_no_day_cost
from scheduling.season.rules.hours import QUARTERS_A_DAY, lay_stays
from scheduling.season.rules.room import Kind, Room
from scheduling.season.rules.season import Place, Season, SeasonPerson, SeasonSite, SeasonVisit

# More than any sum of costs, and small enough that sums of it still fit in 64 bits.
UNREACHABLE = 1 << 58
SUNDAY_ORDINAL = 7  # day 7 of the calendar was a Sunday
DAYS_A_WEEK = 7
# A layout that is not found in so many steps is given up.
MOST_STEPS = 200

# What one lapse, one unit of risk and one unmet wish weigh.
Weights = tuple[int, int, int]
Numbers = Any  # numpy's arrays, whose types say no more than this
# Which kinds of visit begin where in one shift, by the number of the kind.
Pattern = list[tuple[int, Place]]


@dataclass(frozen=True, slots=True)
class Shift:
    """A day by its number, who works, and the one bay that is meant where the bays alone decide."""

    day: int
    person: SeasonPerson
    bay: int | None


class SiteProblem:
    """The visits of one site that were not promised, and what is free for them.

    Attributes:
        everybody: all visits of the site; ``visits`` are those that are yet to be placed.
        room: what is taken, by what was promised too; patterns are taken from it and given back while planning.
        kinds: all that decides where a visit fits; ``kind_of`` tells the number of each visit's kind.
        shifts: by day.
    """

    def __init__(self, season: Season, site: SeasonSite, visits: Sequence[SeasonVisit]) -> None:
        self.season = season
        self.room = Room(site, visits)
        self.everybody = visits
        self.visits = [visit for visit in visits if visit.promised is None]
        self.days = [day for day in self.room.days if season.first <= day <= season.last]
        found = {self.room.name_kind(visit): None for visit in self.visits}
        self.kinds: list[Kind] = list(found)
        number = {kind: number for number, kind in enumerate(self.kinds)}
        self.kind_of: Numbers = numpy.array([number[self.room.name_kind(visit)] for visit in self.visits], dtype=int)
        self.shifts = [
            Shift(number, person, bay)
            for number, day in enumerate(self.days)
            # Whoever can do most comes first: the others can't take their place.
            for person in sorted(site.people, key=lambda person: (-len(person.skills), person.key or 0))
            if person.worked.get(day)
            for bay in ([None] if person.key is not None else [bay.key for bay in self.room.bays])
        ]

    def compute_costs(self, weights: Weights) -> Numbers:
        """Return what each visit costs on each day, by ``compute_day_cost``, and without one in the last column."""
        ordinals = numpy.array([day.toordinal() for day in self.days], dtype=numpy.int64)
        costs = numpy.full((len(self.visits), len(self.days) + 1), UNREACHABLE, dtype=numpy.int64)
        for row, visit in zip(costs, self.visits, strict=True):
            may = ordinals >= visit.opens_on.toordinal()
            for first, last in visit.avoid:
                may &= (ordinals < first.toordinal()) | (ordinals > last.toordinal())
            late = ordinals > (visit.lapses_after or date.max).toordinal()
            weeks = numpy.maximum(0, (ordinals - visit.opens_on.toordinal()) // DAYS_A_WEEK)
            weeks += numpy.maximum(0, (ordinals - visit.last_on.toordinal()) // DAYS_A_WEEK)
            wanted = [number % SUNDAY_ORDINAL for number in visit.weekdays or range(DAYS_A_WEEK)]
            unmet = ~numpy.isin(ordinals % DAYS_A_WEEK, wanted)
            row[:-1][may] = (weights[0] * late + weights[1] * visit.risk_per_week * weeks + weights[2] * unmet)[may]
            row[-1] = numpy.dot(weights, compute_no_day_cost(visit, self.season))
        return costs

    def list_ends(self, shift: Shift) -> Numbers:
        """Return for each kind and each quarter of the day when a visit that begins there ends; 0: none can."""
        day, person = self.days[shift.day], shift.person
        worked, busy = person.worked[day], self.room.person_taken[person.key, day]
        ends = numpy.zeros((len(self.kinds), QUARTERS_A_DAY), dtype=numpy.int64)
        for row, kind in zip(ends, self.kinds, strict=True):
            if kind.may_be_done_by(person, day):
                taken = tuple(self.room.bay_taken[bay, day] for bay in kind.bays if shift.bay in (None, bay))
                with_bay = shift.bay is not None
                row[:] = _list_ends(worked, busy, taken, kind.quarters, kind.standing_quarters, with_bay)
        return ends

    def lay_out(self, shift: Shift, kinds: Sequence[int]) -> Pattern | None:
        """Return a pattern of visits of these kinds in what is free of a shift, or None where none was found.

        The kinds that are named first come first where they can.
        """
        day, person = self.days[shift.day], shift.person
        worked = person.worked[day]
        steps = 0

        def search(begin: int, left: Sequence[int], busy: int, taken: Mapping[int, int]) -> Pattern | None:
            nonlocal steps
            if not left:
                return []
            for number in dict.fromkeys(left):
                steps += 1
                if steps > MOST_STEPS:
                    return None
                kind = self.kinds[number]
                for stay in lay_stays(worked, kind.quarters, kind.standing_quarters):
                    if stay.start < begin or stay.work & busy:
                        continue
                    bays = (bay for bay in kind.bays if shift.bay in (None, bay))
                    bay = next(
                        (bay for bay in bays if not stay.bay & (self.room.bay_taken[bay, day] | taken[bay])), None
                    )
                    if bay is None:
                        continue
                    rest = list(left)
                    rest.remove(number)
                    more = defaultdict(int, taken)
                    more[bay] |= stay.bay
                    found = search(stay.start + 1, rest, busy | (stay.work if person.key is not None else 0), more)
                    if found is not None:
                        return [(number, Place(day, bay, person.key, stay.start)), *found]
                    break
            return None

        if not all(self.kinds[number].may_be_done_by(person, day) for number in set(kinds)):
            return None
        return search(0, kinds, self.room.person_taken[person.key, day], defaultdict(int))

    def take(self, pattern: Pattern) -> None:
        for number, place in pattern:
            self.room.take(self.kinds[number], place)

    def give_back(self, pattern: Pattern) -> None:
        for number, place in pattern:
            self.room.give_back(self.kinds[number], place)


@lru_cache(maxsize=16_384)
def _list_ends(
    worked: int, busy: int, taken: tuple[int, ...], quarters: int, standing: int, with_bay: bool
) -> tuple[int, ...]:
    ends = [0] * QUARTERS_A_DAY
    for stay in lay_stays(worked, quarters, standing):
        if not stay.work & busy and any(not stay.bay & there for there in taken):
            ends[stay.start] = (stay.bay if with_bay else stay.work).bit_length()
    return tuple(ends)


def find_longest_paths(ends: Numbers, values: Numbers) -> tuple[Numbers, Numbers]:
    """Return for each of many shifts the most that visits in it can be worth, and how many of each kind make it up.

    Args:
        ends: for each shift as ``SiteProblem.list_ends`` tells.
        values: what a visit of each kind is worth in each shift.
    """
    shifts, kinds, quarters = ends.shape
    rows = numpy.arange(shifts)
    best = numpy.zeros((shifts, quarters + 1))
    chosen = numpy.full((shifts, quarters), -1)
    begins = numpy.flatnonzero(ends.any(axis=(0, 1)))
    upto = quarters
    for quarter in begins[::-1]:
        best[:, quarter + 1 : upto] = best[:, [upto]]
        end = ends[:, :, quarter]
        worth = numpy.where(end > 0, values + best[rows[:, None], end], -1.0)
        kind = worth.argmax(axis=1)
        most = worth[rows, kind]
        is_better = most > best[:, quarter + 1]
        best[:, quarter] = numpy.where(is_better, most, best[:, quarter + 1])
        chosen[is_better, quarter] = kind[is_better]
        upto = quarter
    best[:, :upto] = best[:, [upto]]
    counts = numpy.zeros((shifts, kinds), dtype=numpy.int64)
    at = numpy.zeros(shifts, dtype=numpy.int64)
    for quarter in begins:
        here = numpy.flatnonzero((at <= quarter) & (chosen[:, quarter] >= 0))
        kind = chosen[here, quarter]
        counts[here, kind] += 1
        at[here] = ends[here, kind, quarter]
    return best[:, 0], counts
