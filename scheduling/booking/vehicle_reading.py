"""Reads what booking must know of one vehicle: its owner, its size, its visits and what they serve."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from scheduling.booking.reading import list_holding_visits
from scheduling.booking.rules.opening import Span
from scheduling.models import Appointment, AppointmentItem, AppointmentStatus, Cover, VehicleSize
from treatments.models import Customer, Vehicle
from treatments.queries import find_owner

OPEN = (AppointmentStatus.BOOKED, AppointmentStatus.IN_THE_BAY)


@dataclass(frozen=True, slots=True)
class KnownVehicle:
    """What is on record of a vehicle where it is to be booked.

    Attributes:
        owner: who owns it now.
        size: as it was measured.
        visits: all that were not given up, by when they begin.
        served: cover and due item of each thing that a visit serves, by the visit's key.
    """

    owner: Customer | None
    size: VehicleSize | None
    visits: tuple[Appointment, ...]
    served: Mapping[int, Sequence[tuple[int, str]]]

    def list_stays(self, *, leave_out: Appointment | None = None) -> tuple[Span, ...]:
        """Return when the vehicle is with the shop, but for one visit."""
        left_out = leave_out.pk if leave_out is not None else None
        return tuple(Span(visit.starts_at, visit.ready_at) for visit in self.visits if visit.pk != left_out)

    def list_coming(self, start: datetime) -> list[Appointment]:
        """Return the visits from a moment on that stand and are not over."""
        return [visit for visit in self.visits if visit.status in OPEN and visit.starts_at >= start]

    def list_served_of(self, cover: Cover) -> set[str]:
        """Return the due items of a cover that some visit serves."""
        return {key for served in self.served.values() for of_cover, key in served if of_cover == cover.pk}

    def list_served_by(self, visit: Appointment) -> set[str]:
        """Return the due items that one visit serves."""
        return {key for _cover, key in self.served.get(visit.pk, ())}


def read_known_vehicle(vehicle: Vehicle) -> KnownVehicle:
    """Return what is on record of a vehicle where it is to be booked."""
    held = list_holding_visits().filter(vehicle=vehicle).select_related("site", "bay", "person")
    visits = tuple(held.order_by("starts_at", "pk"))
    served: dict[int, list[tuple[int, str]]] = defaultdict(list)
    for item in AppointmentItem.objects.filter(appointment__in=visits, serves=True).order_by("pk"):
        served[item.appointment_id].append((item.cover_id, item.due_key))
    for visit in visits:
        visit.vehicle = vehicle
    return KnownVehicle(find_owner(vehicle), VehicleSize.objects.filter(vehicle=vehicle).first(), visits, served)
