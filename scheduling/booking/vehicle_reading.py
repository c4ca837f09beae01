"""Reads in one query what booking must know of one vehicle: its owner, its size, its visits and what they serve.

Asked one by one these are five short queries, and a short query takes longer to be asked than to be answered.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import DEFAULT_DB_ALIAS
from django.db.models import FilteredRelation, Model, Q, QuerySet

from scheduling.booking.rules.opening import Span
from scheduling.enums import GIVES_ITS_PLACE_UP
from scheduling.models import Appointment, AppointmentStatus, Cover, VehicleSize
from treatments.models import Customer, Vehicle
from treatments.shared.standing_query import Given, StandingQuery, list_columns

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
    owner = size = None
    visits: dict[int, Appointment] = {}
    served: dict[int, list[tuple[int, str]]] = defaultdict(list)
    for row in KNOWN.ask(vehicle.pk):
        if size is None and row[0] is not None:
            size = VehicleSize.from_db(DEFAULT_DB_ALIAS, OF_SIZE, row[:OWNER_AT])
        if owner is None and row[OWNER_AT] is not None:
            owner = Customer.from_db(DEFAULT_DB_ALIAS, OF_CUSTOMER, row[OWNER_AT:VISIT_AT])
        key = row[VISIT_AT]
        if key is None:
            continue
        if key not in visits:
            visits[key] = Appointment.from_db(DEFAULT_DB_ALIAS, OF_VISIT, row[VISIT_AT:ITEM_AT])
            visits[key].vehicle = vehicle
        cover, due_key, serves = row[ITEM_AT:]
        if serves:
            served[key].append((cover, due_key))
    return KnownVehicle(owner, size, tuple(visits.values()), served)


def _name_columns(model: type[Model]) -> list[str]:
    # The key comes first, by which a row that is not there is known.
    columns = list_columns(model)
    assert columns[0] == model._meta.pk.attname
    return columns


OF_SIZE, OF_CUSTOMER, OF_VISIT = _name_columns(VehicleSize), _name_columns(Customer), _name_columns(Appointment)
OWNER_AT = len(OF_SIZE)
VISIT_AT = OWNER_AT + len(OF_CUSTOMER)
ITEM_AT = VISIT_AT + len(OF_VISIT)


def _list_known() -> "QuerySet[Any, Any]":
    standing = FilteredRelation("appointments", condition=~Q(appointments__status__in=GIVES_ITS_PLACE_UP))
    owned = FilteredRelation("ownerships", condition=Q(ownerships__until_day__isnull=True))
    return (
        Vehicle.objects.filter(pk=Given(0))
        .annotate(standing=standing, owned=owned)
        .order_by("standing__starts_at", "standing__pk", "standing__items__pk")
        .values_list(
            *(f"size__{column}" for column in OF_SIZE),
            *(f"owned__customer__{column}" for column in OF_CUSTOMER),
            *(f"standing__{column}" for column in OF_VISIT),
            *(f"standing__items__{column}" for column in ("cover_id", "due_key", "serves")),
        )
    )


KNOWN = StandingQuery(_list_known)
