"""Mends a plan of one site: visits alike change places, pressing ones get room, others move to days that cost less.

Every step makes the plan better in the order of ``costs``, keeps to the free quarters, and leaves alone what was
promised.
"""

import itertools
from collections import defaultdict
from collections.abc import Sequence
from datetime import date

import numpy
from ortools.graph.python.linear_sum_assignment import SimpleLinearSumAssignment

from scheduling.season.rules.costs import Cost, Places, list_days_of, make_weights, weigh, weigh_day, weigh_no_day
from scheduling.season.rules.flow import weigh_up
from scheduling.season.rules.room import Room, Sign
from scheduling.season.rules.season import Place, Season, SeasonSite, SeasonVisit

ROUNDS = 2
# So many visits change places at once; the time grows with the square.
MOST_IN_EXCHANGE = 250
# So often one visit tries to take another's place; a cover that lapses tries harder.
MOST_TRIES = 12
MOST_TRIES_TO_SAVE = 400


class Mending:
    """A plan of one site while it is being mended."""

    def __init__(self, season: Season, site: SeasonSite, places: Places) -> None:
        self.season = season
        self.visits = {visit.key: visit for visit in season.visits}
        self.free = [visit for visit in season.visits if visit.promised is None]
        self.places = dict(places)
        self.room = Room(site, season.visits)
        self.weights = (*make_weights(season, season.visits), 1)
        self.there: dict[tuple[int, date], set[str]] = defaultdict(set)
        self.load: dict[date, int] = defaultdict(int)
        self._days: dict[str, list[tuple[Cost, date]]] = {}
        for visit in season.visits:
            place = self.places[visit.key]
            if place is None:
                continue
            if visit.promised is None:
                self.room.take(visit, place)
                self.there[place.bay, place.day].add(visit.key)
            self.load[place.day] += visit.quarters

    def mend(self) -> dict[str, Place | None]:
        """Return the places once no step makes them better, or after some rounds."""
        for _ in range(ROUNDS):
            changed = self.exchange()
            changed = self._make_room_for_pressing() or changed
            changed = self.move_to_better_days() or changed
            if not changed:
                break
        return self.places

    def put(self, visit: SeasonVisit, place: Place | None) -> None:
        """Put a visit somewhere else; there must be room."""
        old = self.places[visit.key]
        if old is not None:
            self.room.give_back(visit, old)
            self.there[old.bay, old.day].discard(visit.key)
            self.load[old.day] -= visit.quarters
        if place is not None:
            self.room.take(visit, place)
            self.there[place.bay, place.day].add(visit.key)
            self.load[place.day] += visit.quarters
        self.places[visit.key] = place

    def weigh(self, visit: SeasonVisit, place: Place | None) -> int:
        return weigh_up(self.weights, weigh(visit, place, self.season))

    def exchange(self) -> bool:
        """Let visits that fit in the same places change them, in the best way there is."""
        alike: dict[Sign, list[SeasonVisit]] = defaultdict(list)
        for visit in self.free:
            alike[self.room.sign(visit)].append(visit)
        changed = False
        for visits in alike.values():
            visits.sort(key=lambda visit: (visit.opens_on, visit.key))
            # Parts that overlap by half, so that visits of two parts meet as well.
            for begin in range(0, max(1, len(visits) - MOST_IN_EXCHANGE // 2), MOST_IN_EXCHANGE // 2):
                changed = self._exchange_among(visits[begin : begin + MOST_IN_EXCHANGE]) or changed
        return changed

    def _exchange_among(self, visits: Sequence[SeasonVisit]) -> bool:
        places = [self.places[visit.key] for visit in visits]
        tails, heads, costs = [], [], []
        now = 0
        for tail, visit in enumerate(visits):
            for head, place in enumerate(places):
                if place is None or visit.may_come_on(place.day):
                    cost = self.weigh(visit, place)
                    tails.append(tail)
                    heads.append(head)
                    costs.append(cost)
                    now += cost if head == tail else 0
        assignment = SimpleLinearSumAssignment()
        assignment.add_arcs_with_cost(numpy.array(tails), numpy.array(heads), numpy.array(costs))
        status = assignment.solve()
        assert status == assignment.OPTIMAL, f"visits that have places can keep them: {status}"
        if assignment.optimal_cost() >= now:
            return False
        for visit in visits:
            self.put(visit, None)
        for tail, visit in enumerate(visits):
            self.put(visit, places[assignment.right_mate(tail)])
        return True

    def _make_room_for_pressing(self) -> bool:
        changed = False
        order = sorted(self.free, key=lambda visit: (-self.weigh(visit, self.places[visit.key]), visit.key))
        for visit in order:
            changed = self._take_anothers_place(visit) or changed
        return changed

    def _take_anothers_place(self, visit: SeasonVisit) -> bool:
        """Put a visit on a better day in the place of one or two others, if that is better for all together."""
        old = self.places[visit.key]
        now = weigh(visit, old, self.season)
        days = [day for cost, day in self.list_days(visit) if cost[:2] < now[:2] and not (now[0] and cost[0])]
        tries = MOST_TRIES_TO_SAVE if now[0] else MOST_TRIES
        for many in (1, 2) if now[0] else (1,):
            for day in days:
                gain = weigh_up(self.weights, now) - weigh_up(self.weights, weigh_day(visit, day))
                for bay in self.room.list_bays(visit):
                    there = [self.visits[key] for key in sorted(self.there[bay, day]) if key != visit.key]
                    for others in itertools.combinations(there, many):
                        freed = sum(other.quarters + other.standing_quarters for other in others)
                        if freed + self.room.count_free(bay, day) < visit.quarters:
                            continue
                        if sum(self._weigh_least_loss(other, day) for other in others) >= gain:
                            continue
                        tries -= 1
                        if self._try_instead(visit, day, others):
                            return True
                        if not tries:
                            return False
        return False

    def _weigh_least_loss(self, other: SeasonVisit, day: date) -> int:
        """Return what a visit that leaves a day in a full season is likely to lose, at least: some weeks."""
        if not weigh_day(other, day)[0] and other.lapses_after is not None and other.lapses_after <= day:
            return self.weights[0]
        return self.weights[1] * other.risk_per_week

    def _try_instead(self, visit: SeasonVisit, day: date, others: Sequence[SeasonVisit]) -> bool:
        """Put the visit on the day in place of others, and these where they cost least; undo it if that is worse."""
        moved = (visit, *others)
        old = [self.places[one.key] for one in moved]
        before = sum(self.weigh(one, place) for one, place in zip(moved, old, strict=True))
        for one in moved:
            self.put(one, None)
        place = self.room.find_place(visit, day)
        if place is not None:
            self.put(visit, place)
            after = self.weigh(visit, place)
            for other in others:
                self.put(other, self.find_cheapest(other))
                after += self.weigh(other, self.places[other.key])
            if after < before:
                return True
        for one in moved:
            self.put(one, None)
        for one, where in zip(moved, old, strict=True):
            self.put(one, where)
        return False

    def find_cheapest(self, visit: SeasonVisit) -> Place | None:
        """Return the place with room that costs least, the earliest among equals."""
        best: Place | None = None
        least = weigh_no_day(visit, self.season)
        for cost, day in self.list_days(visit):
            if cost >= least:
                break
            place = self.room.find_place(visit, day)
            if place is not None:
                found = weigh(visit, place, self.season)
                if found < least:
                    best, least = place, found
        return best

    def list_days(self, visit: SeasonVisit) -> list[tuple[Cost, date]]:
        """Return the days on which a visit may be with the least that each costs, the cheapest and earliest first."""
        found = self._days.get(visit.key)
        if found is None:
            found = self._days[visit.key] = sorted(
                (weigh_day(visit, day), day) for day in list_days_of(visit, self.room.days)
            )
        return found

    def move_to_better_days(self) -> bool:
        """Move visits to where they cost less, or where it is less full at the same cost."""
        changed = False
        order = sorted(self.free, key=lambda visit: (-visit.risk_per_week, visit.opens_on, visit.minutes, visit.key))
        for visit in order:
            old = self.places[visit.key]
            now = (*weigh(visit, old, self.season), self.load[old.day] - visit.quarters if old else 0)
            best: Place | None = None
            for cost, day in self.list_days(visit):
                if (*cost, 0) >= now:
                    break
                if old is not None and day == old.day:
                    continue
                place = self.room.find_place(visit, day)
                if place is None:
                    continue
                whole = (*weigh(visit, place, self.season), self.load[day])
                if whole < now:
                    best, now = place, whole
            if best is not None:
                self.put(visit, best)
                changed = True
        return changed
