"""Mends a plan of one site: saves covers by making room for them, then moves visits to days that cost less.

Every step makes the plan better in the order of ``costs`` and keeps to the minutes of bays and people.
"""

import itertools
from collections import defaultdict
from datetime import date

from scheduling.rules.season.costs import (
    Places,
    Room,
    count_quarters,
    count_taken_minutes,
    list_days_of,
    weigh,
    weigh_day,
)
from scheduling.rules.season.season import Place, Season, SeasonSite, SeasonVisit

ROUNDS = 3


class Mending:
    """A plan of one site while it is being mended."""

    def __init__(self, season: Season, site: SeasonSite, places: Places) -> None:
        self.season = season
        self.visits = {visit.key: visit for visit in season.visits}
        self.places = dict(places)
        self.room = Room(site)
        self.there: dict[date, set[str]] = defaultdict(set)
        self.load: dict[date, int] = defaultdict(int)
        for key, place in self.places.items():
            if place is not None:
                self.room.take(self.visits[key], place)
                self._note(self.visits[key], place, 1)

    def _note(self, visit: SeasonVisit, place: Place, sign: int) -> None:
        if sign > 0:
            self.there[place.day].add(visit.key)
        else:
            self.there[place.day].discard(visit.key)
        self.load[place.day] += sign * count_quarters(visit.minutes)

    def put(self, visit: SeasonVisit, place: Place | None) -> None:
        """Put a visit somewhere else; there must be room."""
        old = self.places[visit.key]
        if old is not None:
            self.room.give_back(visit, old)
            self._note(visit, old, -1)
        if place is not None:
            self.room.take(visit, place)
            self._note(visit, place, 1)
        self.places[visit.key] = place

    def mend(self) -> dict[str, Place | None]:
        """Return the places once no step makes them better, or after some rounds."""
        for _ in range(ROUNDS):
            changed = self._save_covers()
            changed = self._move_to_better_days() or changed
            if not changed:
                break
        return self.places

    def _save_covers(self) -> bool:
        changed = False
        late = [visit for visit in self.visits.values() if weigh(visit, self.places[visit.key], self.season)[0]]
        for visit in sorted(late, key=lambda visit: (visit.lapses_after or date.max, -visit.minutes, visit.key)):
            changed = self._save(visit) or changed
        return changed

    def _save(self, visit: SeasonVisit) -> bool:
        """Put a visit on a day before its cover stops, where need be by moving one that can wait."""
        assert visit.lapses_after is not None
        days = [day for day in list_days_of(visit, self.room.days) if day <= visit.lapses_after]
        for day in days:
            bay = self.room.find_bay(visit, day)
            if bay is not None:
                self.put(visit, Place(day, bay))
                return True
        for many in (1, 2):
            for day in reversed(days):
                for bay in self.room.list_bays(visit):
                    there = sorted(key for key in self.there[day] if self._find_bay_of(key) == bay)
                    for keys in itertools.combinations(there, many):
                        if self._make_room(visit, Place(day, bay), [self.visits[key] for key in keys]):
                            return True
        return False

    def _find_bay_of(self, key: str) -> int | None:
        place = self.places[key]
        return place.bay if place is not None else None

    def _make_room(self, visit: SeasonVisit, wanted: Place, others: list[SeasonVisit]) -> bool:
        """Move others from a place to days on which their covers do not stop, where that makes room enough.

        In a season that is too full one that can wait for the next loses its day; no cover stops for that.
        """
        freed = sum(count_taken_minutes(other) for other in others)
        free = self.room.free[wanted.bay, wanted.day] + freed
        people = self.room.people[wanted.day] + freed
        if min(free, people) < count_taken_minutes(visit):
            return False
        moved: list[tuple[SeasonVisit, Place]] = []
        for other in others:
            place = self._find_place_elsewhere(other, wanted.day)
            if place is None and weigh(other, None, self.season)[0] > weigh_day(other, wanted.day)[0]:
                for back, old in reversed(moved):
                    self.put(back, old)
                return False
            moved.append((other, wanted))
            self.put(other, place)
        self.put(visit, wanted)
        return True

    def _find_place_elsewhere(self, other: SeasonVisit, day: date) -> Place | None:
        """Return the cheapest place on another day on which the cover of a visit stops no sooner than now."""
        until = other.lapses_after if not weigh_day(other, day)[0] else None
        best: Place | None = None
        least = None
        for another in list_days_of(other, self.room.days):
            if another == day or (until is not None and another > until):
                continue
            cost = weigh_day(other, another)
            if least is not None and cost >= least:
                continue
            bay = self.room.find_bay(other, another)
            if bay is not None:
                best, least = Place(another, bay), cost
        return best

    def _move_to_better_days(self) -> bool:
        changed = False
        order = sorted(
            self.visits.values(), key=lambda visit: (-visit.risk_per_week, visit.opens_on, visit.minutes, visit.key)
        )
        for visit in order:
            old = self.places[visit.key]
            now = (*weigh(visit, old, self.season), self._weigh_load(visit, old, old))
            best: Place | None = None
            for day in list_days_of(visit, self.room.days):
                cost = weigh_day(visit, day)
                if cost > now[:3]:
                    continue
                whole = (*cost, self.load[day] if old is None or day != old.day else now[3])
                if whole >= now:
                    continue
                bay = self.room.find_bay(visit, day)
                if bay is not None:
                    best, now = Place(day, bay), whole
            if best is not None:
                self.put(visit, best)
                changed = True
        return changed

    def _weigh_load(self, visit: SeasonVisit, place: Place | None, old: Place | None) -> int:
        """Return how many quarters a day has without the visit itself."""
        if place is None:
            return 0
        own = count_quarters(visit.minutes) if old is not None and place.day == old.day else 0
        return self.load[place.day] - own
