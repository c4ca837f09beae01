"""The best plan there is for a few visits, by OR-tools' CP-SAT, one figure after the other. What no plan of a season
can beat: the least that lapses, and the least risk, by Lagrange's relaxation.
"""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy
from ortools.linear_solver import pywraplp

from scheduling.season.rules.costs import (
    compute_cost,
    compute_no_day_cost,
    find_lapse_price,
    list_days_of,
    split_by_site,
)
from scheduling.season.rules.hours import QUARTERS_A_DAY, lay_stays
from scheduling.season.rules.problem import SiteProblem, Weights, find_longest_paths
from scheduling.season.rules.programme import Programme, find_bay_limits
from scheduling.season.rules.room import Room
from scheduling.season.rules.season import Place, Season, SeasonSite, SeasonVisit

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
        promised = [compute_cost(visit, visit.promised, season) for visit in visits if visit.promised is not None]
        lapses += sum(cost[0] for cost in promised)
        together += sum(price * cost[0] + cost[1] for cost in promised)
        # What can't lapse in this season takes no room from what can.
        pressing = [visit for visit in visits if visit.promised is not None or compute_no_day_cost(visit, season)[0]]
        lapses += _find_least(season, site, pressing, (1, 0, 0))
        together += _find_least(season, site, visits, (price, 1, 0))
    return Bound(lapses, price, together)


def _find_least(season: Season, site: SeasonSite, visits: Sequence[SeasonVisit], weights: Weights) -> int:
    problem = SiteProblem(season, site, visits)
    if not problem.visits:
        return 0
    costs = problem.compute_costs(weights)
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


# By the linear interface: the other one loads pandas, which costs half a second at every start.


# Beyond that many places to choose from the search takes longer than the plan is worth.
MOST_OPTIONS = 3_000
# Not by the clock, so that the same season always gets the same plan.
DETERMINISTIC_SECONDS = 20.0
FIGURES = 3


class NotSolvedError(RuntimeError):
    """The search ended without an answer, which a season that is allowed to place nothing always has."""


def list_options(season: Season) -> dict[str, list[Place]] | None:
    """Return every place for each visit of one site that is not promised, or None where there are too many."""
    (site,) = season.sites
    room = Room(site, season.visits)
    options: dict[str, list[Place]] = {}
    count = 0
    for visit in (visit for visit in season.visits if visit.promised is None):
        options[visit.key] = theirs = []
        for day in list_days_of(visit, room.days):
            for person in (person for person in site.people if visit.may_be_done_by(person, day)):
                busy = room.person_taken[person.key, day]
                for stay in lay_stays(person.worked.get(day, 0), visit.quarters, visit.standing_quarters):
                    for bay in room.name_kind(visit).bays:
                        if not stay.work & busy and not stay.bay & room.bay_taken[bay, day]:
                            theirs.append(Place(day, bay, person.key, stay.start))
            if count + len(theirs) > MOST_OPTIONS:
                return None
        count += len(theirs)
    return options


def solve_exactly(season: Season, options: dict[str, list[Place]]) -> dict[str, Place | None]:
    """Return the best places for the visits of one site, out of all of them."""
    (site,) = season.sites
    room = Room(site, season.visits)
    solver = pywraplp.Solver.CreateSolver("SAT")
    solver.SetSolverSpecificParametersAsString(
        f"num_workers:1 random_seed:1 max_deterministic_time:{DETERMINISTIC_SECONDS}"
    )
    by_key = {visit.key: visit for visit in season.visits}
    chosen = {(key, place): solver.BoolVar(f"{key} {place}") for key, theirs in options.items() for place in theirs}
    for key, theirs in options.items():
        solver.Add(solver.Sum([chosen[key, place] for place in theirs]) <= 1)
    takes = defaultdict(list)
    loads = defaultdict(list)
    for (key, place), var in chosen.items():
        visit = by_key[key]
        work, stand = room.mark(visit, place)
        loads[place.day].append(visit.quarters * var)
        for quarter in range(QUARTERS_A_DAY):
            if stand >> quarter & 1:
                takes["bay", place.bay, place.day, quarter].append(var)
            if work >> quarter & 1 and place.person is not None:
                takes["person", place.person, place.day, quarter].append(var)
    for together in takes.values():
        if len(together) > 1:
            solver.Add(solver.Sum(together) <= 1)
    objectives = []
    for figure in range(FIGURES):
        constant = 0
        terms = []
        for key, theirs in options.items():
            without = compute_no_day_cost(by_key[key], season)[figure]
            constant += without
            terms += [
                (compute_cost(by_key[key], place, season)[figure] - without) * chosen[key, place] for place in theirs
            ]
        objectives.append(solver.Sum(terms) + constant)
    objectives.append(_add_squares(solver, season, loads))
    # Among equals the earliest.
    earliness = {place: (place.day - season.first).days * QUARTERS_A_DAY + place.quarter for _, place in chosen}
    objectives.append(solver.Sum([earliness[place] * var for (_, place), var in chosen.items()]))
    places: dict[str, Place | None] = {}
    for objective in objectives:
        solver.Minimize(objective)
        status = solver.Solve()
        if status not in (solver.OPTIMAL, solver.FEASIBLE):
            raise NotSolvedError(f"CP-SAT ended with status {status}.")
        places = {visit.key: visit.promised for visit in season.visits}
        values = {both: var.solution_value() > 0.5 for both, var in chosen.items()}
        for (key, place), is_chosen in values.items():
            if is_chosen:
                places[key] = place
        least = round(solver.Objective().Value())
        solver.Add(objective <= least)
        solver.SetHint(list(chosen.values()), [float(values[both]) for both in chosen])
    return places


def _add_squares(solver: Any, season: Season, loads: Mapping[date, list[Any]]) -> Any:
    """Return the sum over the days of the square of the quarters that are worked, the promised ones too.

    A square of a whole number is the largest of the lines through it and its neighbours, and only small is wanted.
    """
    most = sum(visit.quarters for visit in season.visits)
    squares = []
    for day, quarters in loads.items():
        fixed = sum(visit.quarters for visit in season.visits if visit.promised and visit.promised.day == day)
        load = solver.Sum(quarters) + fixed
        square = solver.IntVar(0, most * most, f"square {day}")
        for step in range(most):
            solver.Add(square >= (2 * step + 1) * load - step * (step + 1))
        squares.append(square)
    return solver.Sum(squares)
