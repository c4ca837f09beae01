"""Proposes times for a visit of a vehicle: reads what is due and what is taken, and lets the rules choose."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from scheduling.booking.reading import WhatIsDue, read_site_times, read_what_is_due_for
from scheduling.booking.rules.site_times import DueDates, NeededTraining
from scheduling.booking.rules.slots import Preferences, Slot, find_slots
from scheduling.booking.vehicle_reading import KnownVehicle
from scheduling.booking.work import read_visit_work
from scheduling.covers.rules.dates import add_months
from scheduling.enums import MONTHS_BOOKED_AHEAD, VisitKind
from scheduling.models import Appointment, Cover
from treatments.models import Site, Vehicle
from treatments.queries import find_today

# How far a search looks that nobody has told how far to look.
LOOKED_THROUGH_DAYS = 42
NO_WISHES = Preferences()


def find_last_day(items: Sequence[DueDates], first: date) -> date:
    """Return how far to look from a day on: six weeks, or to the end of the window of what comes first."""
    last = max([first + timedelta(days=LOOKED_THROUGH_DAYS), *(item.last_on for item in items[:1])])
    return min(last, add_months(first, MONTHS_BOOKED_AHEAD))


@dataclass(frozen=True, slots=True)
class Proposed:
    """The best few times, and what was looked for; ``training`` narrows who may do it."""

    slots: tuple[Slot, ...]
    due: WhatIsDue
    visit: VisitKind
    from_moment: datetime
    until: date
    training: NeededTraining | None = None


def propose_slots(
    *,
    vehicle: Vehicle,
    cover: Cover | None,
    sites: Sequence[Site],
    now: datetime,
    from_moment: datetime | None = None,
    until: date | None = None,
    preferences: Preferences = NO_WISHES,
    visit: VisitKind | None = None,
    moved: Appointment | None = None,
    most: int = 5,
    due: WhatIsDue | None = None,
    known: KnownVehicle | None = None,
) -> Proposed:
    """Return the best few times for a visit of a vehicle; one visit serves all that is due.

    Args:
        vehicle: what is to come.
        cover: the cover whose due items are served; None for a vehicle without one.
        sites: where it may come.
        now: the moment; nothing earlier is proposed.
        from_moment: the earliest moment wanted, ``now`` or later.
        until: the last day to look at; without it what ``find_last_day`` says.
        preferences: what the customer would like.
        visit: what it comes for; without it what is due decides.
        moved: an appointment that is to be moved, and so is not in its own way.
        most: how many times to return.
        due: what is due, where the caller has read it already.
        known: what is on record of the vehicle, likewise.

    Raises:
        ValidationError: where no duration for such a visit is on record.
    """
    today = find_today(now, sites[0])
    if due is None:
        due = read_what_is_due_for(cover, today)
    kind = visit or due.visit
    items = due.served_by(kind)
    start = max(from_moment or now, now)
    first = find_today(start, sites[0])
    last = until or find_last_day(items, first)
    work = read_visit_work(vehicle=vehicle, site=sites[0], visit=kind, zones=due.zones, leave_out=moved, known=known)
    times = read_site_times(sites, first, last, leave_out=moved)
    slots = find_slots(items, work, times, start, last, preferences, most=most)
    return Proposed(slots, due, kind, start, last, work.training)
