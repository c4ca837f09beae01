"""What is better in a season: no cover lapses, then little waiting where rust is quick, then wishes, then even load."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from scheduling.season.rules.season import Place, Season, SeasonSite, SeasonVisit, Totals

# What waits for the next season waits at least so much longer.
WEEKS_TO_NEXT_SEASON = 4

Cost = tuple[int, int, int]
Places = Mapping[str, Place | None]


def count_weeks(visit: SeasonVisit, day: date) -> int:
    """Return the weeks waited by a day since the window opened, those after its last day counted twice."""
    return max(0, (day - visit.opens_on).days // 7) + max(0, (day - visit.last_on).days // 7)


def compute_day_cost(visit: SeasonVisit, day: date) -> Cost:
    """Return the least that a visit on a day costs: (lapses, risk, unmet wishes)."""
    late = int(visit.lapses_after is not None and day > visit.lapses_after)
    unmet = int(bool(visit.weekdays) and day.isoweekday() not in visit.weekdays)
    return late, visit.risk_per_week * count_weeks(visit, day), unmet


def compute_no_day_cost(visit: SeasonVisit, season: Season) -> Cost:
    """Return what it costs that a visit has no day in the season."""
    late = int(visit.lapses_after is not None and visit.lapses_after <= season.last)
    waited = count_weeks(visit, season.last) + WEEKS_TO_NEXT_SEASON
    return late, visit.risk_per_week * waited, int(bool(visit.weekdays)) + int(bool(visit.part_of_day))


def compute_cost(visit: SeasonVisit, place: Place | None, season: Season) -> Cost:
    """Return what a place for a visit costs, or that it has none."""
    if place is None:
        return compute_no_day_cost(visit, season)
    late, risk, unmet = compute_day_cost(visit, place.day)
    return late, risk, unmet + int(not visit.is_in_part(place.quarter))


def total(season: Season, places: Places) -> Totals:
    """Return what places for all visits come to."""
    costs = [compute_cost(visit, places[visit.key], season) for visit in season.visits]
    load: dict[tuple[int, date], int] = {}
    for visit in season.visits:
        place = places[visit.key]
        if place is not None:
            key = (visit.site, place.day)
            load[key] = load.get(key, 0) + visit.quarters
    return Totals(
        sum(cost[0] for cost in costs),
        sum(cost[1] for cost in costs),
        sum(cost[2] for cost in costs),
        sum(quarters * quarters for quarters in load.values()),
        sum(1 for place in places.values() if place is None),
    )


def make_weights(season: Season, visits: Sequence[SeasonVisit]) -> tuple[int, int]:
    """Return what one lapse and one unit of risk weigh in unmet wishes, so that the order can't be turned round.

    Over the given visits no sum of risks reaches the weight of one lapse, no sum of unmet wishes that of one risk.
    """
    most_risk = sum(compute_no_day_cost(visit, season)[1] for visit in visits)
    risk = 2 * len(visits) + 1
    return (most_risk + 1) * risk, risk


def find_lapse_price(season: Season, visits: Iterable[SeasonVisit]) -> int:
    """Return a price of a lapse in units of risk: more than any one visit can come to."""
    return max((compute_no_day_cost(visit, season)[1] for visit in visits), default=0) + 1


def split_by_site(season: Season) -> list[tuple[SeasonSite, list[SeasonVisit]]]:
    """Return each site with its visits, since sites share nothing."""
    by_site: dict[int, list[SeasonVisit]] = {site.key: [] for site in season.sites}
    for visit in season.visits:
        by_site[visit.site].append(visit)
    return [(site, by_site[site.key]) for site in season.sites]


def list_days_of(visit: SeasonVisit, days: Sequence[date]) -> Iterable[date]:
    """Return the days of a season on which a visit may be."""
    return (day for day in days if visit.may_come_on(day))
