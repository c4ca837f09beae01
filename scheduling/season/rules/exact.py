"""The best plan there is for a few visits, by OR-tools' CP-SAT, one figure after the other.

Each figure is made as small as it can be and then held while the next is; so the order is kept to the letter.
"""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from typing import Any

# By the linear interface: the other one loads pandas, which costs half a second at every start.
from ortools.linear_solver import pywraplp

from scheduling.season.rules.costs import list_days_of, weigh, weigh_no_day
from scheduling.season.rules.hours import QUARTERS_A_DAY, lay_stays
from scheduling.season.rules.room import Room
from scheduling.season.rules.season import Place, Season

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
                    for bay in room.tell_kind(visit).bays:
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
            without = weigh_no_day(by_key[key], season)[figure]
            constant += without
            terms += [(weigh(by_key[key], place, season)[figure] - without) * chosen[key, place] for place in theirs]
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
