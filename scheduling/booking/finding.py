"""Proposes times for a visit of a vehicle: reads what is due and what is taken, and lets the rules choose. Reads what
visits take: how long, in which kind of bay, by whom, how large the vehicles are, and when they are away.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from scheduling.bays.queries import list_durations, map_usual_sizes
from scheduling.bays.services import read_needed_trainings
from scheduling.booking.reading import (
    KnownVehicle,
    WhatIsDue,
    read_known_vehicle,
    read_site_times,
    read_what_is_due_for,
)
from scheduling.booking.rules.opening import DueDates, NeededTraining, Span, VisitWork
from scheduling.booking.rules.slots import Preferences, Slot, find_slots
from scheduling.covers.rules.dates import add_months
from scheduling.enums import MONTHS_BOOKED_AHEAD, BayKind, Skill, VisitKind
from scheduling.models import Appointment, BodyStyleSize, Cover, VehicleSize, WorkDuration
from scheduling.refusals import refuse
from treatments.models import Site, Vehicle
from treatments.queries import find_today
from treatments.rules.explanation import Label


@dataclass(frozen=True, slots=True)
class Workload:
    """Durations, sizes and stays from which the work of any visit of some vehicles is told."""

    durations: tuple[WorkDuration, ...]
    sizes: Mapping[int, VehicleSize]
    usual_sizes: Mapping[str, BodyStyleSize]
    stays: Mapping[int, tuple[Span, ...]]
    trainings: Mapping[int, NeededTraining] = field(default_factory=dict)

    def find_work(self, *, vehicle: int, body_style: str, site: int, visit: VisitKind, zones: int = 0) -> VisitWork:
        """Return what a visit of a vehicle takes at a site.

        Args:
            zones: how many zones are due to be recoated.

        Raises:
            SchedulingError: where no duration for such a visit is on record.
        """
        row = choose_duration(self.durations, visit, site, body_style)
        if row is None:
            raise refuse("visit.no_duration", "visit", visit=Label(visit))
        size, usual = self.sizes.get(vehicle), self.usual_sizes.get(body_style)
        return VisitWork(
            bay_kind=BayKind(row.bay_kind),
            skill=Skill(row.skill),
            work_minutes=row.wash_and_dry_minutes + row.work_minutes + row.minutes_per_zone * zones,
            standing_minutes=row.standing_minutes,
            stands_in_bay=row.stands_in_bay,
            height_mm=(size and size.height_mm) or (usual.height_mm if usual else None),
            mass_kg=(size and size.mass_kg) or (usual.mass_kg if usual else None),
            vehicle_taken=self.stays.get(vehicle, ()),
            training=self.trainings.get(vehicle) if row.skill == Skill.SPRAYING else None,
        )


def choose_duration(rows: Iterable[WorkDuration], visit: VisitKind, site: int, body_style: str) -> WorkDuration | None:
    """Return the row that says most about a visit of this kind, body style and site, or None where none does."""
    fitting = [
        row for row in rows if row.visit == visit and row.body_style in ("", body_style) and row.site_id in (None, site)
    ]
    return max(fitting, key=lambda row: (row.body_style != "", row.site_id is not None), default=None)


def read_workload(vehicles: Collection[int]) -> Workload:
    """Return what the visits of some vehicles take, in a constant number of queries; their stays are left out."""
    sizes = {size.vehicle_id: size for size in VehicleSize.objects.filter(vehicle__in=vehicles)}
    return Workload(list_durations(), sizes, map_usual_sizes(), {}, read_needed_trainings(vehicles))


def read_visit_work(
    *,
    vehicle: Vehicle,
    site: Site,
    visit: VisitKind,
    zones: int = 0,
    leave_out: Appointment | None = None,
    known: KnownVehicle | None = None,
) -> VisitWork:
    """Return what a visit of one vehicle takes at a site; see ``Workload.find_work``.

    Args:
        known: what is on record of the vehicle, where the caller has read it already.
    """
    known = known or read_known_vehicle(vehicle)
    sizes = {vehicle.pk: known.size} if known.size else {}
    stays = {vehicle.pk: known.list_stays(leave_out=leave_out)}
    trainings = read_needed_trainings([vehicle.pk])
    workload = Workload(list_durations(), sizes, map_usual_sizes(), stays, trainings)
    return workload.find_work(vehicle=vehicle.pk, body_style=vehicle.body_style, site=site.pk, visit=visit, zones=zones)


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
