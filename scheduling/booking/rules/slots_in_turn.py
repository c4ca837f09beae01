"""Finds the best time for each of many visits in turn, none in the way of another."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from scheduling.booking.rules.opening import DueDates, SiteTimes, Span, VisitWork
from scheduling.booking.rules.slots import Preferences, Slot, find_slots


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
    left, found = dict(sites), []
    for visit in visits:
        wishes = Preferences(earliest=visit.earliest)
        slots = find_slots(visit.items, visit.work, [left[visit.site]], from_moment, visit.until, wishes, most=1)
        if slots:
            left[visit.site] = _take(left[visit.site], slots[0])
        found.append(slots[0] if slots else None)
    return found


def _take(site: SiteTimes, slot: Slot) -> SiteTimes:
    stay, at_work = Span(slot.starts_at, slot.bay_free_at), Span(slot.starts_at, slot.work_ends_at)
    bays = tuple(replace(bay, taken=(*bay.taken, stay)) if bay.key == slot.bay else bay for bay in site.bays)
    people = tuple(
        replace(person, taken=(*person.taken, at_work)) if person.key == slot.person is not None else person
        for person in site.people
    )
    return replace(site, bays=bays, people=people)
