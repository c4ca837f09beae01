"""Finds the best time for each of many visits in turn, none in the way of another; each comes to what a search says.

What is found on a day is kept for all visits that take alike, since a place that is taken never makes another free.
"""

import heapq
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import groupby

from scheduling.booking.rules.opening import DueDates, SiteTimes, Span, VisitWork
from scheduling.booking.rules.slots import (
    Place,
    Preferences,
    Slot,
    choose_day_to_be_near,
    count_day,
    describe_slot,
    find_slots,
    is_any_late,
    judge_day,
    lay_free_stay,
    list_pairs,
    list_starts,
    list_turns,
    measure_distance,
)
from treatments.rules.site_days import find_day


@dataclass(frozen=True, slots=True)
class VisitInTurn:
    """One of the visits: where it is made, all that is due for its vehicle, what it takes, and the last day for it.

    Attributes:
        earliest: whether it is to be as soon as can be, instead of near the target day.
    """

    site: int
    items: tuple[DueDates, ...]
    work: VisitWork
    until: date
    earliest: bool = False


def find_slots_in_turn(
    visits: Sequence[VisitInTurn], sites: Mapping[int, SiteTimes], from_moment: datetime
) -> list[Slot | None]:
    """Return for each visit the time that ``find_slots`` finds first, taken for those after it; None where none is.

    Args:
        visits: in the order in which they choose.
        sites: by key, with everything that is taken there.
        from_moment: nothing begins before it.
    """
    searches: dict[int, _SiteSearch] = {}
    found = []
    for visit in visits:
        search = searches.get(visit.site)
        if search is None:
            search = searches[visit.site] = _SiteSearch(sites[visit.site], from_moment)
        slot = search.find(visit)
        if slot is not None:
            search.take(slot)
        found.append(slot)
    return found


# The free places of one day for visits that take alike, the best first, each in one bay with one person. One that was
# taken since it was laid is looked for anew when its turn comes; what is found then never comes before it.
_Places = list[tuple[tuple[int, int, datetime, int, int], Place]]
# Days of which none is better than another, with what each of them counts and how far it is from the best day.
_Days = tuple[tuple[int, int, int, int], list[date]]


class _SiteSearch:
    """The search at one site, with what earlier visits have taken."""

    def __init__(self, site: SiteTimes, from_moment: datetime) -> None:
        self._site, self._from = site, from_moment
        self._today = find_day(from_moment, site.zone)
        self._days = sorted([day for day, spans in site.open_spans.items() if spans])
        self._bays = {bay.key: bay for bay in site.bays}
        self._people = {person.key: person for person in site.people}
        self._places: dict[tuple[object, ...], dict[date, _Places]] = {}
        self._walks: dict[tuple[object, ...], list[_Days]] = {}

    def find(self, visit: VisitInTurn) -> Slot | None:
        """Return the best time for a visit, None where no day has one."""
        if visit.work.vehicle_taken:
            # Where the vehicle itself is with the shop on some days, no other visit takes alike.
            here = replace(self._site, bays=tuple(self._bays.values()), people=tuple(self._people.values()))
            wishes = Preferences(earliest=visit.earliest)
            found = find_slots(visit.items, visit.work, [here], self._from, visit.until, wishes, most=1)
            return next(iter(found), None)
        places = self._places.setdefault(_describe_need(visit.work, self._site), {})
        for (*counts, distance), days in self._find_walk(visit):
            best = min(
                (
                    (*place.rank(visit.work), *place.when_and_where, day, place)
                    for day in days
                    if (place := self._find_place(places, visit.work, day)) is not None
                ),
                default=None,
            )
            if best is not None:
                *_key, day, place = best
                judged = judge_day(visit.items, day, self._today)
                rank = (*counts, 0, distance, *place.rank(visit.work))
                wishes = Preferences(earliest=visit.earliest)
                return describe_slot(place, self._site, day, visit.items, judged, visit.work, wishes, rank=rank)
        return None

    def _find_place(self, places: dict[date, _Places], work: VisitWork, day: date) -> Place | None:
        of_day = places.get(day)
        if of_day is None:
            of_day = places[day] = self._lay_all(work, day)
        return self._choose(of_day, work, day)

    def take(self, slot: Slot) -> None:
        """Let a time be taken for the visits that follow."""
        bay = self._bays[slot.bay]
        self._bays[slot.bay] = replace(bay, taken=(*bay.taken, Span(slot.starts_at, slot.bay_free_at)))
        if slot.person is not None:
            person = self._people[slot.person]
            taken = (*person.taken, Span(slot.starts_at, slot.work_ends_at))
            self._people[slot.person] = replace(person, taken=taken)

    def _find_walk(self, visit: VisitInTurn) -> Sequence[_Days]:
        """Return the open days in the order in which they are tried; many vehicles are due on the same days."""
        dates = [(item.kind, item.opens_on, item.target_on, item.last_on, item.grace_until) for item in visit.items]
        key = visit.until, visit.earliest, tuple(dates)
        walk = self._walks.get(key)
        if walk is None:
            walk = self._walks[key] = self._list_days(visit)
        return walk

    def _list_days(self, visit: VisitInTurn) -> list[_Days]:
        """Return the open days up to the last one for a visit, those first that suit it best."""
        items, is_late = visit.items, is_any_late(visit.items, self._today)
        near = choose_day_to_be_near(items, self._today, Preferences(earliest=visit.earliest))
        # From one turn to the next all days count the same, so that few need be counted.
        turns = list_turns(items)
        counted: dict[int, tuple[int, int, int]] = {}
        days = []
        for day in self._days:
            if day > visit.until:
                break
            passed = bisect_right(turns, day.toordinal())
            counts = counted.get(passed)
            if counts is None:
                counts = counted[passed] = count_day(items, day, self._today, is_late)
            days.append(((*counts, measure_distance(day, near)), day))
        days.sort()
        return [(key, [day for _key, day in group]) for key, group in groupby(days, key=lambda found: found[0])]

    def _lay_all(self, work: VisitWork, day: date) -> _Places:
        places: _Places = []
        for bay, person in list_pairs(work, self._site, day):
            self._push(places, work, bay.key, person.key, day, self._from)
        return places

    def _choose(self, places: _Places, work: VisitWork, day: date) -> Place | None:
        """Return the first of the places that is still free, None where none is left on that day."""
        while places:
            place = places[0][1]
            bay, person = self._bays[place.bay.key], self._people[place.person.key]
            # What was laid before anybody took more in this bay or of this person's time may be taken now.
            if bay is place.bay and person is place.person:
                return place
            heapq.heappop(places)
            self._push(places, work, bay.key, person.key, day, place.stay.starts_at)
        return None

    def _push(
        self, places: _Places, work: VisitWork, bay_key: int, person_key: int | None, day: date, since: datetime
    ) -> None:
        """Add the first place from a moment on in a bay with a person, where there is one."""
        bay, person = self._bays[bay_key], self._people[person_key]
        for start in list_starts(bay, person, day, since):
            stay = lay_free_stay(start, work, self._site, bay, person, day)
            if stay is not None:
                place = Place(stay, bay, person)
                heapq.heappush(places, ((*place.rank(work), *place.when_and_where), place))
                return


def _describe_need(work: VisitWork, site: SiteTimes) -> tuple[object, ...]:
    """Return all of the work that its free places rest on: of the vehicle's size only into which bays it fits."""
    fitting = tuple([bay.key for bay in site.bays if bay.fits(work)])
    person = work.skill, work.training
    return work.bay_kind, person, work.work_minutes, work.standing_minutes, work.stands_in_bay, fitting
