"""What is still free at one site while places are given out: each bay and each person, quarter by quarter.

A place is a real time: one bay and one person with the skill, free together for the whole of the visit.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from scheduling.booking.rules.opening import NeededTraining
from scheduling.enums import BayKind, Skill
from scheduling.season.rules.hours import find_stay, lay_stays
from scheduling.season.rules.season import Place, SeasonPerson, SeasonSite, SeasonVisit, may_do

NO_LIMIT_MM = 10**6


class Kind(NamedTuple):
    """All that decides where a visit fits, the least capable bay first; visits of one kind can change places."""

    bays: tuple[int, ...]
    skill: Skill
    training: NeededTraining | None
    quarters: int
    standing_quarters: int

    def may_be_done_by(self, person: SeasonPerson, day: date) -> bool:
        return may_do(person, day, self.skill, self.training)


class Room:
    """The free quarters of a site. What was promised takes its place first."""

    def __init__(self, site: SeasonSite, visits: Iterable[SeasonVisit]) -> None:
        """Begin with what is taken at the site and by the promised ones among its visits."""
        self.site = site
        self.days = site.list_days()
        # A vehicle that needs no lift leaves the lifts free, and a low one the tall lift.
        self.bays = sorted(
            site.bays, key=lambda bay: (bay.kind is BayKind.LIFT, bay.most_height_mm or NO_LIMIT_MM, bay.key)
        )
        self.bay_taken: dict[tuple[int, date], int] = defaultdict(int)
        self.person_taken: dict[tuple[int | None, date], int] = defaultdict(int)
        for bay in site.bays:
            self.bay_taken.update({(bay.key, day): taken for day, taken in bay.taken.items()})
        for person in site.people:
            if person.key is not None:
                self.person_taken.update({(person.key, day): taken for day, taken in person.taken.items()})
        self._worked = {person.key: person.worked for person in site.people}
        self._kinds: dict[str, Kind] = {}
        # Whoever can do least comes first, so that the others stay free for what only they can do.
        self._people = sorted(site.people, key=lambda person: (len(person.skills), person.key or 0))
        # What was found on a day holds until something changes on it.
        self._known: dict[date, dict[tuple[Kind, str], Place | None]] = defaultdict(dict)
        for visit in visits:
            if visit.promised is not None:
                self.take(visit, visit.promised)

    def name_kind(self, visit: SeasonVisit) -> Kind:
        found = self._kinds.get(visit.key)
        if found is None:
            bays = tuple(bay.key for bay in self.bays if bay.fits(visit))
            found = Kind(bays, visit.skill, visit.training, visit.quarters, visit.standing_quarters)
            self._kinds[visit.key] = found
        return found

    def find_place(self, visit: SeasonVisit, day: date) -> Place | None:
        """Return the place on a day that wastes least, in the part of the day that was asked for where it can be.

        None where no bay and person are free together for long enough.
        """
        known = self._known[day]
        asked = (self.name_kind(visit), visit.part_of_day)
        if asked not in known:
            known[asked] = self._search(visit, day)
        return known[asked]

    def _search(self, visit: SeasonVisit, day: date) -> Place | None:
        quarters, standing = visit.quarters, visit.standing_quarters
        best: Place | None = None
        least: tuple[int, ...] | None = None
        for person in self._people:
            worked = person.worked.get(day, 0)
            busy = self.person_taken[person.key, day]
            if (worked & ~busy).bit_count() < quarters or not visit.may_be_done_by(person, day):
                continue
            for rank, bay in enumerate(self.name_kind(visit).bays):
                taken = self.bay_taken[bay, day]
                if (worked & ~busy & ~taken).bit_count() < quarters:
                    continue
                seen = False
                for stay in lay_stays(worked, quarters, standing):
                    if stay.work & busy or stay.bay & taken:
                        continue
                    unmet = int(not visit.is_in_part(stay.start))
                    if unmet and seen:
                        continue
                    free = worked & ~busy & ~taken
                    wasted = _count_before(worked & ~busy, stay.start) + _count_before(worked & ~taken, stay.start)
                    figures = (unmet, wasted, rank, free.bit_count(), stay.start)
                    if least is None or figures < least:
                        best, least = Place(day, bay, person.key, stay.start), figures
                    if not unmet:
                        break
                    seen = True
        return best

    def take(self, visit: SeasonVisit | Kind, place: Place) -> None:
        """Take a place; for one that was promised nobody asks whether it is free."""
        work, bay = self.mark(visit, place)
        self.bay_taken[place.bay, place.day] |= bay
        if place.person is not None:
            self.person_taken[place.person, place.day] |= work
        self._known[place.day] = {}

    def give_back(self, visit: SeasonVisit | Kind, place: Place) -> None:
        """Free a place that was taken with ``take`` and was free before."""
        work, bay = self.mark(visit, place)
        self.bay_taken[place.bay, place.day] &= ~bay
        if place.person is not None:
            self.person_taken[place.person, place.day] &= ~work
        self._known[place.day] = {}

    def mark(self, visit: SeasonVisit | Kind, place: Place) -> tuple[int, int]:
        """Return the quarters that a visit at a place takes its person and its bay."""
        return mark_stay(self._worked.get(place.person, {}).get(place.day, 0), visit, place)


def mark_stay(worked: int, visit: SeasonVisit | Kind, place: Place) -> tuple[int, int]:
    """Return the quarters that a visit at a place takes its person and its bay.

    What was promised may lie outside the hours that are worked now; then it takes its quarters without a break.
    """
    stay = find_stay(worked, visit.quarters, visit.standing_quarters, place.quarter)
    if stay is None:
        everything = (1 << 96) - 1
        stay = find_stay(everything, visit.quarters, visit.standing_quarters, place.quarter)
    assert stay is not None, f"{visit} is not done on {place.day} when it begins at {place.time}"
    return stay.work, stay.bay


def _count_before(free: int, start: int) -> int:
    """Return how many free quarters lie directly before a start: they would be left over as a gap."""
    count = 0
    while start - 1 - count >= 0 and free >> (start - 1 - count) & 1:
        count += 1
    return count
