"""Finds a plan for a season: prices lead to a pattern for each shift, shifts exchange parts, visits get the places.
What happens without a plan: whoever's window opens first calls first and takes the first day that has room. Makes a
site of a season from the hours, bays and people that booking reads, with all that is taken already. Plans a season
anew around what was promised to customers meanwhile. Sets the plan of a season beside first come, first served, and
beside what no plan can beat.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from scheduling.booking.rules.slots import SiteTimes
from scheduling.enums import SeasonStep
from scheduling.season.rules.assign import assign_visits
from scheduling.season.rules.costs import (
    Places,
    compute_cost,
    find_lapse_price,
    list_days_of,
    make_weights,
    split_by_site,
    total,
)
from scheduling.season.rules.exact import Bound, find_bound, list_options, solve_exactly
from scheduling.season.rules.hours import mark_taken, mark_worked
from scheduling.season.rules.mend import Exchange
from scheduling.season.rules.problem import SiteProblem
from scheduling.season.rules.programme import Programme, choose_patterns, find_bay_limits
from scheduling.season.rules.room import Room
from scheduling.season.rules.season import (
    Place,
    Proposal,
    Season,
    SeasonBay,
    SeasonPerson,
    SeasonPlan,
    SeasonSite,
    SeasonVisit,
    Totals,
)
from treatments.rules.explanation import Explanation, OwnWords, explain


def serve_first_come(season: Season) -> dict[str, Place | None]:
    """Return the places of a season in which everybody takes the earliest day, in the order of the windows.

    What was promised stays as it was.
    """
    places: dict[str, Place | None] = {visit.key: visit.promised for visit in season.visits}
    for site, visits in split_by_site(season):
        room = Room(site, visits)
        callers = [visit for visit in visits if visit.promised is None]
        for visit in sorted(callers, key=lambda visit: (visit.opens_on, visit.key)):
            for day in list_days_of(visit, room.days):
                place = room.find_place(visit, day)
                if place is not None:
                    places[visit.key] = place
                    room.take(visit, place)
                    break
    return places


def describe_site(times: SiteTimes, first: date, last: date) -> SeasonSite:
    """Return a site as the planner sees it from ``first`` to ``last``, both included.

    A quarter counts as worked where it is worked whole, and as taken where any part of it is.
    """
    days = sorted(day for day in times.open_spans if first <= day <= last)
    return SeasonSite(
        times.key,
        tuple(
            SeasonBay(
                bay.key,
                bay.name,
                bay.kind,
                mark_taken(bay.taken, times.zone, first, last),
                bay.most_height_mm,
                bay.most_mass_kg,
            )
            for bay in times.bays
        ),
        tuple(
            SeasonPerson(
                person.key,
                person.skills,
                mark_worked(person.worked, times.zone, days),
                mark_taken(person.taken, times.zone, first, last),
            )
            for person in times.people
        ),
    )


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
        costs = problem.compute_costs((find_lapse_price(season, problem.visits), 1, 0))
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
        late = bool(compute_cost(visit, place, season)[0])
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


def replan(season: Season, promised: Mapping[str, Place]) -> SeasonPlan:
    """Return a plan in which what was promised stays, and everything else is planned around it.

    Args:
        promised: the places that were accepted and told to customers, by the key of the visit.

    Raises:
        KeyError: where a promise is for a visit that is not in the season.
    """
    unknown = sorted(promised.keys() - {visit.key for visit in season.visits})
    if unknown:
        raise KeyError(f"Promised, but not in the season: {', '.join(unknown)}.")
    visits = tuple(replace(visit, promised=promised.get(visit.key, visit.promised)) for visit in season.visits)
    return plan_season(replace(season, visits=visits))


@dataclass(frozen=True, slots=True)
class Comparison:
    """A season planned, called in order, and bounded."""

    plan: SeasonPlan
    first_come: Totals
    bound: Bound

    @property
    def lapses_avoided(self) -> int:
        return self.first_come.lapses - self.plan.totals.lapses

    @property
    def lapses_over_bound(self) -> int:
        """How many more covers lapse than the bound; 0 where no plan can lapse fewer."""
        return self.plan.totals.lapses - self.bound.lapses

    @property
    def risk_over_bound(self) -> float:
        """How far the risk lies over what no plan with as many lapses can beat, as a share of that."""
        least = self.bound.find_risk_at(self.plan.totals.lapses)
        return (self.plan.totals.risk - least) / max(1, least)


def compare_season(season: Season, *, describe_step: Callable[[SeasonStep], None] = lambda step: None) -> Comparison:
    """Plan a season and measure the plan against doing without one and against the bound.

    Args:
        describe_step: is called as each step begins, since a large season takes minutes.
    """
    describe_step(SeasonStep.CALLING_IN_ORDER)
    called = serve_first_come(season)
    describe_step(SeasonStep.PLANNING)
    plan = plan_season(season)
    describe_step(SeasonStep.BOUNDING)
    return Comparison(plan, total(season, called), find_bound(season))


def read_places(plan: SeasonPlan) -> dict[str, Place | None]:
    """Return the places that a plan proposes, by the key of the visit."""
    return {proposal.key: proposal.place for proposal in plan.proposals}
