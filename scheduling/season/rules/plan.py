"""Finds a plan for a season: a flow says on which days visits should be, real places are filled, the rest is mended.

The plan is never worse than first come, first served, and what was promised to a customer stays where it was.
"""

from collections.abc import Sequence
from datetime import date

from scheduling.season.rules.costs import Places, make_weights, split_by_site, total, weigh
from scheduling.season.rules.exact import list_options, solve_exactly
from scheduling.season.rules.first_come import serve_first_come
from scheduling.season.rules.flow import ROUGH_SCALE, solve_flow
from scheduling.season.rules.mend import Mending
from scheduling.season.rules.renew import improve_plan
from scheduling.season.rules.season import Place, Proposal, Season, SeasonPlan, SeasonSite, SeasonVisit


def plan_season(season: Season) -> SeasonPlan:
    """Return a plan in which as few covers as can be lapse, then risk, wishes and load are as small as was found."""
    by_calls = serve_first_come(season)
    places: dict[str, Place | None] = {}
    for site, visits in split_by_site(season):
        part = Season(season.first, season.last, (site,), tuple(visits))
        called = {visit.key: by_calls[visit.key] for visit in visits}
        options = list_options(part)
        planned = plan_by_flow(part, site, visits) if options is None else solve_exactly(part, options)
        if total(part, called).order < total(part, planned).order:
            planned = Mending(part, site, called).mend()
        places |= planned
    return describe_plan(season, places)


def plan_by_flow(season: Season, site: SeasonSite, visits: Sequence[SeasonVisit]) -> dict[str, Place | None]:
    """Return places for one site's visits, near the best, however many there are."""
    flow = solve_flow(season, site, visits, (*make_weights(season, visits), 1), level_load=True, scale=ROUGH_SCALE)
    mending = Mending(season, site, {visit.key: visit.promised for visit in visits})
    left_over = []
    # Long visits first, as they are hardest to fit; among equals those that have the least time.
    order = sorted(mending.free, key=lambda visit: (-visit.minutes, visit.lapses_after or date.max, visit.key))
    for visit in order:
        days = [day for day, _ in flow.shares[visit.key] if day is not None]
        place = mending.room.find_place(visit, days[0]) if days else None
        if place is None:
            left_over.append(visit)
        else:
            mending.put(visit, place)
    for visit in sorted(left_over, key=lambda visit: (visit.lapses_after or date.max, -visit.minutes, visit.key)):
        mending.put(visit, mending.find_cheapest(visit))
    mending.mend()
    improve_plan(mending)
    return mending.places


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
        if late:
            return f"No bay is free for it in this season, and the cover stops after {visit.lapses_after}."
        return "No bay is free for it in this season; nothing stops before the season ends."
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
