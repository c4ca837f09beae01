"""Reads what visits take: how long, in which kind of bay, by whom, how large the vehicles are, and when they are away.

In the same few queries for one vehicle as for a whole season.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from scheduling.bays.queries import list_durations, map_usual_sizes
from scheduling.bays.trainings import read_needed_trainings
from scheduling.booking.rules.opening import Span
from scheduling.booking.rules.site_times import NeededTraining, VisitWork
from scheduling.booking.vehicle_reading import KnownVehicle, read_known_vehicle
from scheduling.enums import BayKind, Skill, VisitKind
from scheduling.models import Appointment, BodyStyleSize, VehicleSize, WorkDuration
from scheduling.refusals import refuse
from treatments.models import Site, Vehicle
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
