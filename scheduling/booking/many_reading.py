"""Reads what booking many has to know of covers and their vehicles besides what is due for them.

That is which are booked already, when vehicles are with the shop, how large they are, and their owners' telephone.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from scheduling.bays.trainings import read_needed_trainings
from scheduling.booking.work import Workload, read_workload
from scheduling.models import AppointmentItem, Cover
from treatments.models import Ownership


@dataclass(frozen=True, slots=True)
class KnownOfMany:
    """What is known of some covers: the number of a visit that serves one by cover, the others by vehicle."""

    booked: dict[int, str]
    phones: dict[int, str]
    workload: Workload


def read_known_of(covers: Sequence[Cover]) -> KnownOfMany:
    """Return what is known of some covers and their vehicles, by primary key."""
    vehicles = {cover.vehicle_id for cover in covers}
    booked = AppointmentItem.objects.filter(cover__in=covers, serves=True).order_by()
    # The open row of an owner is the owner now; a vehicle has one.
    owned = Ownership.objects.filter(vehicle__in=vehicles, until_day__isnull=True).order_by()
    return KnownOfMany(
        dict(booked.values_list("cover_id", "appointment__number")),
        dict(owned.values_list("vehicle_id", "customer__phone")),
        replace(read_workload(vehicles), trainings=read_needed_trainings(vehicles)),
    )
