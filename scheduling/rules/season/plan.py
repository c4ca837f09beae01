"""Finds a plan for a season: a flow says on which days visits should be, real bays are filled, and what is left mended.

The plan never has more lapses than first come, first served: where mending could not beat that, it begins from it.
"""

from collections.abc import Sequence
from datetime import date

from scheduling.rules.season.costs import Cost, Places, Room, list_days_of, split_by_site, total, weigh, weigh_day
from scheduling.rules.season.exact import MOST_EXACT, solve_exactly
from scheduling.rules.season.first_come import serve_first_come
from scheduling.rules.season.flow import ROUGH_SCALE, solve_flow
from scheduling.rules.season.mend import Mending
from scheduling.rules.season.season import Place, Proposal, Season, SeasonPlan, SeasonSite, SeasonVisit


def plan_season(season: Season) -> SeasonPlan:
    """Return a plan in which as few covers as can be lapse, then risk, wishes and load are as small as was found."""
    by_calls = serve_first_come(season)
    places: dict[str, Place | None] = {}
    for site, visits in split_by_site(season):
        part = Season(season.first, season.last, (site,), tuple(visits))
        called = {visit.key: by_calls[visit.key] for visit in visits}
        planned = solve_exactly(part) if len(visits) <= MOST_EXACT else _plan_site(part, site, visits)
        if total(part, called).order < total(part, planned).order:
            planned = Mending(part, site, called).mend()
        places |= planned
    return describe_plan(season, places)


def _plan_site(season: Season, site: SeasonSite, visits: Sequence[SeasonVisit]) -> dict[str, Place | None]:
    most_risk = max((weigh(visit, None, season)[1] for visit in visits), default=0)
    risk_outweighs_wishes = len(visits) + 1
    lapse_outweighs_risk = len(visits) * most_risk + 1

    def weigh_all(cost: Cost) -> int:
        lapses, risk, unmet = cost
        return (lapses * lapse_outweighs_risk + risk) * risk_outweighs_wishes + unmet

    flow = solve_flow(season, site, visits, weigh_all, level_load=True, scale=ROUGH_SCALE)
    wanted = {key: shares[0][0] for key, shares in flow.shares.items()}
    room = Room(site)
    places: dict[str, Place | None] = {visit.key: None for visit in visits}
    # Long visits first, as they are hardest to fit; among equals those that have the least time.
    order = sorted(visits, key=lambda visit: (-visit.minutes, visit.lapses_after or date.max, visit.key))
    left_over = []
    for visit in order:
        day = wanted.get(visit.key)
        bay = room.find_bay(visit, day) if day is not None else None
        if day is None or bay is None:
            left_over.append(visit)
            continue
        places[visit.key] = Place(day, bay)
        room.take(visit, Place(day, bay))
    for visit in sorted(left_over, key=lambda visit: (visit.lapses_after or date.max, -visit.minutes, visit.key)):
        place = find_best_place(visit, room)
        if place is not None:
            places[visit.key] = place
            room.take(visit, place)
    return Mending(season, site, places).mend()


def find_best_place(visit: SeasonVisit, room: Room) -> Place | None:
    """Return the place with room that costs the least, the earliest among equals."""
    best: Place | None = None
    least: Cost | None = None
    for day in list_days_of(visit, room.days):
        cost = weigh_day(visit, day)
        if least is not None and cost >= least:
            continue
        bay = room.find_bay(visit, day)
        if bay is not None:
            best, least = Place(day, bay), cost
    return best


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
    if late:
        return f"No bay that suits was free before the cover stops after {visit.lapses_after}; the best day after it."
    if visit.lapses_after is not None:
        days = (visit.lapses_after - place.day).days
        told = f"{days} days before the cover would stop after {visit.lapses_after}" if days else (
            f"on the last day before the cover would stop, {visit.lapses_after}"
        )  # fmt: skip
        told = told if days != 1 else f"1 day before the cover would stop after {visit.lapses_after}"
    elif place.day <= visit.last_on:
        told = f"in its window, which ends on {visit.last_on}"
    else:
        told = f"overdue since {visit.last_on}, so as early as there is room"
    wish = ""
    if visit.weekdays:
        met = place.day.isoweekday() in visit.weekdays
        wish = "; on a weekday the customer asked for" if met else "; not on a weekday the customer asked for"
    return f"{told[0].upper()}{told[1:]}, {names[place.bay]}{wish}."
