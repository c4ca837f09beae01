"""The best plan there is for a few visits, by OR-tools' CP-SAT, one figure after the other.

Each figure is made as small as it can be and then held while the next is; so the order is kept to the letter.
"""

from ortools.sat.python import cp_model

from scheduling.rules.season.costs import count_quarters, count_taken_minutes, list_days_of, weigh_day, weigh_no_day
from scheduling.rules.season.season import Place, Season, SeasonVisit

# Beyond that many visits at a site the search takes longer than the plan is worth.
MOST_EXACT = 12
# Not by the clock, so that the same season always gets the same plan.
DETERMINISTIC_SECONDS = 20.0


class NotSolvedError(RuntimeError):
    """The search ended without an answer, which a season that is allowed to place nothing always has."""


def solve_exactly(season: Season) -> dict[str, Place | None]:
    """Return the best places for the visits of one site."""
    (site,) = season.sites
    model = cp_model.CpModel()
    days = site.list_days()
    chosen: dict[tuple[str, Place], cp_model.IntVar] = {}
    by_key: dict[str, SeasonVisit] = {visit.key: visit for visit in season.visits}
    for visit in season.visits:
        theirs = []
        for day in list_days_of(visit, days):
            for bay in site.bays:
                if bay.fits(visit) and bay.minutes.get(day, 0) >= count_taken_minutes(visit):
                    place = Place(day, bay.key)
                    chosen[visit.key, place] = model.new_bool_var(f"{visit.key} {day} {bay.key}")
                    theirs.append(chosen[visit.key, place])
        model.add(sum(theirs) <= 1)
    for day in days:
        here = [(key, place, var) for (key, place), var in chosen.items() if place.day == day]
        work = [count_taken_minutes(by_key[key]) * var for key, _, var in here]
        model.add(sum(work) <= site.people_minutes.get(day, 0))
        for bay in site.bays:
            stays = [count_taken_minutes(by_key[key]) * var for key, place, var in here if place.bay == bay.key]
            model.add(sum(stays) <= bay.minutes.get(day, 0))
    objectives = []
    for figure in range(3):
        terms = []
        constant = 0
        for visit in season.visits:
            without = weigh_no_day(visit, season)[figure]
            constant += without
            terms += [
                (weigh_day(visit, place.day)[figure] - without) * var
                for (key, place), var in chosen.items()
                if key == visit.key
            ]
        objectives.append(sum(terms) + constant)
    squares = []
    for day in days:
        quarters = [
            count_quarters(by_key[key].minutes) * var for (key, place), var in chosen.items() if place.day == day
        ]
        if quarters:
            most = sum(count_quarters(visit.minutes) for visit in season.visits)
            load = model.new_int_var(0, most, f"load {day}")
            model.add(load == sum(quarters))
            square = model.new_int_var(0, most * most, f"square {day}")
            model.add_multiplication_equality(square, [load, load])
            squares.append(square)
    objectives.append(sum(squares))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = DETERMINISTIC_SECONDS
    places: dict[str, Place | None] = {}
    for objective in objectives:
        model.minimize(objective)
        status = solver.solve(model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            raise NotSolvedError(f"CP-SAT ended with {solver.status_name(status)}.")
        places = {visit.key: None for visit in season.visits}
        for (key, place), var in chosen.items():
            if solver.boolean_value(var):
                places[key] = place
        model.add(objective <= round(solver.objective_value))
        model.clear_hints()  # type: ignore[no-untyped-call]
        for var in chosen.values():
            model.add_hint(var, solver.boolean_value(var))
    return places
