"""Finds a plan for a season: prices lead to a pattern for each shift, shifts exchange parts, visits get the places.

The plan is never worse than first come, first served, and what was promised to a customer stays where it was.
"""

from collections.abc import Sequence
from datetime import date

from scheduling.season.rules.assign import assign_visits
from scheduling.season.rules.costs import Places, find_lapse_price, make_weights, split_by_site, total, weigh
from scheduling.season.rules.exact import list_options, solve_exactly
from scheduling.season.rules.first_come import serve_first_come
from scheduling.season.rules.mend import Exchange
from scheduling.season.rules.problem import SiteProblem
from scheduling.season.rules.programme import Programme, choose_patterns, find_bay_limits
from scheduling.season.rules.season import Place, Proposal, Season, SeasonPlan, SeasonSite, SeasonVisit


def plan_season(season: Season) -> SeasonPlan:
    """Return a plan in which as few covers as can be lapse, then risk, wishes and load are as small as was found."""
    by_calls = serve_first_come(season)
    places: dict[str, Place | None] = {}
    for site, visits in split_by_site(season):
        part = Season(season.first, season.last, (site,), tuple(visits))
        called = {visit.key: by_calls[visit.key] for visit in visits}
        options = list_options(part)
        planned = plan_by_patterns(part, site, visits) if options is None else solve_exactly(part, options)
        places |= planned if total(part, planned).order <= total(part, called).order else called
    return describe_plan(season, places)


def plan_by_patterns(season: Season, site: SeasonSite, visits: Sequence[SeasonVisit]) -> dict[str, Place | None]:
    """Return places for one site's visits, near the best, however many there are."""
    places = {visit.key: visit.promised for visit in visits}
    problem = SiteProblem(season, site, visits)
    if problem.visits and problem.shifts:
        costs = problem.weigh((find_lapse_price(season, problem.visits), 1, 0))
        mix = Programme(problem, costs, find_bay_limits(problem)).solve()
        weights = (*make_weights(season, visits), 1)
        patterns = Exchange(problem, weights, choose_patterns(problem, mix)).improve()
        places |= assign_visits(problem, weights, patterns)
    return places


def describe_plan(season: Season, places: Places) -> SeasonPlan:
    """Return the places as proposals, each with its reason, and what they come to."""
    names = {bay.key: bay.name for site in season.sites for bay in site.bays}
    proposals = []
    for visit in season.visits:
        place = places[visit.key]
        late = bool(weigh(visit, place, season)[0])
        proposals.append(Proposal(visit.key, place, late, _tell_why(visit, place, late, names)))
    return SeasonPlan(tuple(proposals), total(season, places))


def _tell_why(visit: SeasonVisit, place: Place | None, late: bool, names: dict[int, str]) -> str:
    if place is None:
        told = "No bay is free for it in this season; nothing stops before the season ends."
        if late:
            told = f"No bay is free for it in this season, and the cover stops after {visit.lapses_after}."
        return f"{told} {visit.training.tell_who_may()}" if visit.training else told
    if visit.promised is not None:
        if late:
            return f"Promised to the customer and kept, though the cover stops after {visit.lapses_after}."
        return "Promised to the customer and kept."
    if late:
        return f"No bay that suits was free before the cover stops after {visit.lapses_after}; the best day after it."
    told = _tell_dates(visit, place.day)
    return f"{told[0].upper()}{told[1:]}, {names[place.bay]}{_tell_wishes(visit, place)}."


def _tell_dates(visit: SeasonVisit, day: date) -> str:
    if visit.lapses_after is None:
        if day <= visit.last_on:
            return f"in its window, which ends on {visit.last_on}"
        return f"after its last day, {visit.last_on}, so as early as there is room"
    days = (visit.lapses_after - day).days
    if days == 0:
        return f"on the day after which the cover would stop, {visit.lapses_after}"
    return f"{days} {'day' if days == 1 else 'days'} before the cover would stop after {visit.lapses_after}"


def _tell_wishes(visit: SeasonVisit, place: Place) -> str:
    unmet = ""
    if visit.weekdays and place.day.isoweekday() not in visit.weekdays:
        unmet = "; not the weekday asked for"
    if not visit.is_in_part(place.quarter):
        unmet += "; not the part of the day asked for"
    if unmet:
        return unmet
    return "; as the customer asked" if visit.weekdays or visit.part_of_day else ""
