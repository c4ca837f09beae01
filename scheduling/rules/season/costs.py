"""What is better in a season: no cover lapses, then little waiting where rust is quick, then wishes, then even load.

Waiting is counted in whole weeks: within a week the difference is less than the estimate of the risk can tell.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from scheduling.rules.season.season import Place, Season, SeasonSite, SeasonVisit, Totals

QUARTER_MINUTES = 15
# What waits for the next season waits at least so much longer.
WEEKS_TO_NEXT_SEASON = 4

Cost = tuple[int, int, int]
Places = Mapping[str, Place | None]


def count_quarters(minutes: int) -> int:
    """Return how many quarters of an hour a visit takes, begun ones included: visits begin on quarters."""
    return -(-minutes // QUARTER_MINUTES)


def count_taken_minutes(visit: SeasonVisit) -> int:
    """Return the minutes that a visit takes from a bay and from the people, to the next quarter of an hour."""
    return count_quarters(visit.minutes) * QUARTER_MINUTES


def weigh_day(visit: SeasonVisit, day: date) -> Cost:
    """Return what a visit on a day costs: (lapses, risk, unmet wishes)."""
    late = int(visit.lapses_after is not None and day > visit.lapses_after)
    waited = max(0, (day - visit.opens_on).days // 7)
    unmet = int(bool(visit.weekdays) and day.isoweekday() not in visit.weekdays)
    return late, visit.risk_per_week * waited, unmet


def weigh_no_day(visit: SeasonVisit, season: Season) -> Cost:
    """Return what it costs that a visit has no day in the season."""
    late = int(visit.lapses_after is not None and visit.lapses_after <= season.last)
    waited = max(0, (season.last - visit.opens_on).days // 7) + WEEKS_TO_NEXT_SEASON
    return late, visit.risk_per_week * waited, int(bool(visit.weekdays))


def weigh(visit: SeasonVisit, place: Place | None, season: Season) -> Cost:
    return weigh_no_day(visit, season) if place is None else weigh_day(visit, place.day)


def total(season: Season, places: Places) -> Totals:
    """Return what places for all visits come to."""
    costs = [weigh(visit, places[visit.key], season) for visit in season.visits]
    load: dict[tuple[int, date], int] = {}
    for visit in season.visits:
        place = places[visit.key]
        if place is not None:
            key = (visit.site, place.day)
            load[key] = load.get(key, 0) + count_quarters(visit.minutes)
    return Totals(
        sum(cost[0] for cost in costs),
        sum(cost[1] for cost in costs),
        sum(cost[2] for cost in costs),
        sum(quarters * quarters for quarters in load.values()),
        sum(1 for place in places.values() if place is None),
    )


def list_faults(season: Season, places: Places) -> list[str]:
    """Return what can't be in a plan: bays or people with more than their minutes, a bay that does not fit, a day too
    early. Empty for a plan that holds.
    """
    faults = []
    by_key = {visit.key: visit for visit in season.visits}
    for site in season.sites:
        bays = {bay.key: bay for bay in site.bays}
        used: dict[tuple[int, date], int] = {}
        worked: dict[date, int] = {}
        for visit in (by_key[key] for key in places if by_key[key].site == site.key):
            place = places[visit.key]
            if place is None:
                continue
            if not bays[place.bay].fits(visit):
                faults.append(f"{visit.key} does not fit in {bays[place.bay].name}")
            if place.day < visit.opens_on:
                faults.append(f"{visit.key} comes before its window opens")
            minutes = count_taken_minutes(visit)
            used[place.bay, place.day] = used.get((place.bay, place.day), 0) + minutes
            worked[place.day] = worked.get(place.day, 0) + minutes
        faults += [
            f"{bays[bay].name} is full beyond its minutes on {day}"
            for (bay, day), minutes in used.items()
            if minutes > bays[bay].minutes.get(day, 0)
        ]
        faults += [
            f"more work than people on {day}"
            for day, minutes in worked.items()
            if minutes > site.people_minutes.get(day, 0)
        ]
    return faults


class Room:
    """What is still free while places are given out at one site, by bay and day, and by day for the people."""

    def __init__(self, site: SeasonSite) -> None:
        self.site = site
        self.days = site.list_days()
        self.free = {(bay.key, day): minutes for bay in site.bays for day, minutes in bay.minutes.items()}
        self.people = dict(site.people_minutes)
        # The bay that fits tightest comes first, so that tall lifts stay free for tall vehicles.
        order = sorted(site.bays, key=lambda bay: (bay.kind, bay.most_height_mm or 10**6, bay.key))
        self.bays = sorted(order, key=lambda bay: bay.kind != "ground")
        self._fitting: dict[tuple[object, ...], list[int]] = {}

    def list_bays(self, visit: SeasonVisit) -> list[int]:
        """Return the bays in which a visit fits, the least capable first."""
        key = (visit.bay_kind, visit.height_mm, visit.mass_kg)
        found = self._fitting.get(key)
        if found is None:
            found = self._fitting[key] = [bay.key for bay in self.bays if bay.fits(visit)]
        return found

    def find_bay(self, visit: SeasonVisit, day: date) -> int | None:
        """Return the bay that the visit leaves fullest on a day, or None where there is no room."""
        minutes = count_taken_minutes(visit)
        if self.people.get(day, 0) < minutes:
            return None
        best, least = None, None
        for bay in self.list_bays(visit):
            left = self.free.get((bay, day), 0) - minutes
            if left >= 0 and (least is None or left < least):
                best, least = bay, left
        return best

    def take(self, visit: SeasonVisit, place: Place) -> None:
        minutes = count_taken_minutes(visit)
        self.free[place.bay, place.day] -= minutes
        self.people[place.day] -= minutes

    def give_back(self, visit: SeasonVisit, place: Place) -> None:
        minutes = count_taken_minutes(visit)
        self.free[place.bay, place.day] += minutes
        self.people[place.day] += minutes


def split_by_site(season: Season) -> list[tuple[SeasonSite, list[SeasonVisit]]]:
    """Return each site with its visits, since sites share nothing."""
    by_site: dict[int, list[SeasonVisit]] = {site.key: [] for site in season.sites}
    for visit in season.visits:
        by_site[visit.site].append(visit)
    return [(site, by_site[site.key]) for site in season.sites]


def list_days_of(visit: SeasonVisit, days: Sequence[date]) -> Iterable[date]:
    """Return the days of a season on which a visit counts."""
    return (day for day in days if day >= visit.opens_on)
