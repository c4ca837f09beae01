"""What is still free at one site while places are given out: each bay and each person, quarter by quarter.

A place is a real time: one bay and one person with the skill, free together for the whole of the visit.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from scheduling.enums import BayKind, Skill
from scheduling.season.rules.hours import find_stay, lay_stays
from scheduling.season.rules.season import Place, SeasonSite, SeasonVisit

Sign = tuple[object, ...]
NO_LIMIT_MM = 10**6


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
        self._signs: dict[str, Sign] = {}
        self._fitting: dict[Sign, list[int]] = {}
        self._able: dict[object, list[int | None]] = {}
        # What was found on a day holds until something changes on it.
        self._known: dict[date, dict[Sign, Place | None]] = defaultdict(dict)
        for visit in visits:
            if visit.promised is not None:
                self.take(visit, visit.promised)

    def sign(self, visit: SeasonVisit) -> Sign:
        """Return all that decides where a visit fits; visits with the same can change places."""
        found = self._signs.get(visit.key)
        if found is None:
            bays = tuple(bay.key for bay in self.bays if bay.fits(visit))
            found = self._signs[visit.key] = (bays, visit.skill, visit.quarters, visit.standing_quarters)
            self._fitting[found] = list(bays)
        return found

    def list_bays(self, visit: SeasonVisit) -> list[int]:
        """Return the bays in which a visit fits, the least capable first."""
        return self._fitting[self.sign(visit)]

    def _list_people(self, visit: SeasonVisit) -> list[int | None]:
        found = self._able.get(visit.skill)
        if found is None:
            # Whoever can do least comes first, so that the others stay free for what only they can do.
            people = sorted(self.site.people, key=lambda person: (len(person.skills), person.key or 0))
            found = self._able[visit.skill] = [person.key for person in people if visit.skill in person.skills]
        return found

    def find_place(self, visit: SeasonVisit, day: date) -> Place | None:
        """Return the place on a day that wastes least, in the part of the day that was asked for where it can be.

        None where no bay and person are free together for long enough.
        """
        known = self._known[day]
        sign = (self.sign(visit), visit.part_of_day)
        if sign not in known:
            known[sign] = self._search(visit, day)
        return known[sign]

    def _search(self, visit: SeasonVisit, day: date) -> Place | None:
        quarters, standing = visit.quarters, visit.standing_quarters
        best: Place | None = None
        least: tuple[int, ...] | None = None
        for person in self._list_people(visit):
            worked = self._worked[person].get(day, 0)
            busy = self.person_taken[person, day]
            if (worked & ~busy).bit_count() < quarters:
                continue
            for rank, bay in enumerate(self.list_bays(visit)):
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
                        best, least = Place(day, bay, person, stay.start), figures
                    if not unmet:
                        break
                    seen = True
        return best

    def take(self, visit: SeasonVisit, place: Place) -> None:
        """Take a place; for one that was promised nobody asks whether it is free."""
        work, bay = self.mark(visit, place)
        self.bay_taken[place.bay, place.day] |= bay
        if place.person is not None:
            self.person_taken[place.person, place.day] |= work
        self._known[place.day] = {}

    def give_back(self, visit: SeasonVisit, place: Place) -> None:
        """Free a place that was taken with ``take`` and was free before."""
        work, bay = self.mark(visit, place)
        self.bay_taken[place.bay, place.day] &= ~bay
        if place.person is not None:
            self.person_taken[place.person, place.day] &= ~work
        self._known[place.day] = {}

    def mark(self, visit: SeasonVisit, place: Place) -> tuple[int, int]:
        """Return the quarters that a visit at a place takes its person and its bay."""
        return mark_stay(self._worked.get(place.person, {}).get(place.day, 0), visit, place)

    def count_free(self, bay: int, day: date) -> int:
        """Return how many quarters of a bay are free on a day while anybody works."""
        worked = 0
        for theirs in self._worked.values():
            worked |= theirs.get(day, 0)
        return (worked & ~self.bay_taken[bay, day]).bit_count()

    def count_free_people(self, day: date, skills: frozenset[Skill]) -> int:
        """Return how many quarters are free on a day of all people with any of the skills.

        Without people's hours on record those of all bays.
        """
        return sum(
            sum(self.count_free(bay.key, day) for bay in self.bays)
            if person.key is None
            else (person.worked.get(day, 0) & ~self.person_taken[person.key, day]).bit_count()
            for person in self.site.people
            if person.skills & skills
        )


def mark_stay(worked: int, visit: SeasonVisit, place: Place) -> tuple[int, int]:
    """Return the quarters that a visit at a place takes its person and its bay.

    What was promised may lie outside the hours that are worked now; then it takes its quarters without a break.
    """
    stay = find_stay(worked, visit.quarters, visit.standing_quarters, place.quarter)
    if stay is None:
        everything = (1 << 96) - 1
        stay = find_stay(everything, visit.quarters, visit.standing_quarters, place.quarter)
    assert stay is not None, f"{visit.key} is not done on {place.day} when it begins at {place.time}"
    return stay.work, stay.bay


def _count_before(free: int, start: int) -> int:
    """Return how many free quarters lie directly before a start: they would be left over as a gap."""
    count = 0
    while start - 1 - count >= 0 and free >> (start - 1 - count) & 1:
        count += 1
    return count
