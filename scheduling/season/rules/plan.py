"""Finds a plan for a season: prices lead to a pattern for each shift, shifts exchange parts, visits get the places.

The plan is never worse than first come, first served, and what was promised to a customer stays where it was.
"""

from collections.abc import Sequence

from scheduling.season.rules.assign import assign_visits
from scheduling.season.rules.costs import Places, find_lapse_price, make_weights, split_by_site, total, weigh
from scheduling.season.rules.exact import list_options, solve_exactly
from scheduling.season.rules.first_come import serve_first_come
from scheduling.season.rules.mend import Exchange
from scheduling.season.rules.problem import SiteProblem
from scheduling.season.rules.programme import Programme, choose_patterns, find_bay_limits
from scheduling.season.rules.season import Place, Proposal, Season, SeasonPlan, SeasonSite, SeasonVisit
from treatments.rules.explanation import Explanation, OwnWords, explain


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
        proposals.append(Proposal(visit.key, place, late, _explain(visit, place, late, names)))
    return SeasonPlan(tuple(proposals), total(season, places))


def _explain(visit: SeasonVisit, place: Place | None, late: bool, names: dict[int, str]) -> tuple[Explanation, ...]:
    lapses = {"lapses_after": visit.lapses_after} if late else {}
    ending = ".lapses" if late else ""
    if place is None:
        said = explain(f"season.no_bay{ending}", **lapses)
        return (said, visit.training.explain_who_may()) if visit.training else (said,)
    if visit.promised is not None:
        return (explain(f"season.promised{ending}", **lapses),)
    if late:
        return (explain("season.too_late", **lapses),)
    return (_explain_day(visit, place, OwnWords(names[place.bay]), _explain_wishes(visit, place)),)


def _explain_day(visit: SeasonVisit, place: Place, bay: OwnWords, wishes: Explanation | None) -> Explanation:
    if visit.lapses_after is None:
        code = "season.in_window" if place.day <= visit.last_on else "season.after_window"
        return explain(code, last_on=visit.last_on, bay=bay, wishes=wishes)
    days = (visit.lapses_after - place.day).days
    if days == 0:
        return explain("season.on_last_day_of_cover", lapses_after=visit.lapses_after, bay=bay, wishes=wishes)
    return explain("season.before_cover_stops", days=days, lapses_after=visit.lapses_after, bay=bay, wishes=wishes)


def _explain_wishes(visit: SeasonVisit, place: Place) -> Explanation | None:
    not_weekday = bool(visit.weekdays) and place.day.isoweekday() not in visit.weekdays
    not_part = not visit.is_in_part(place.quarter)
    if not_weekday or not_part:
        unmet = "neither" if not_weekday and not_part else "not_weekday" if not_weekday else "not_part_of_day"
        return explain(f"visit.wish.{unmet}")
    return explain("visit.wish.as_asked") if visit.weekdays or visit.part_of_day else None
