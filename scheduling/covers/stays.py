"""Reads when vehicles stood at the shop for booked visits; a claim asks whether the shop had the chance to coat."""

from collections import defaultdict
from collections.abc import Iterable

from scheduling.enums import AppointmentStatus
from scheduling.models import Appointment
from treatments.queries import find_today
from treatments.records.rules.history import StayRecord
from treatments.reference.queries import map_sites


def read_stays(vehicles: Iterable[int]) -> dict[int, tuple[StayRecord, ...]]:
    """Return the finished visits of each vehicle by its primary key, in one query; a vehicle without any is left out.

    A visit changes no more once it is finished, so its last change is when that was written down.
    """
    finished = Appointment.objects.filter(vehicle__in=set(vehicles), status=AppointmentStatus.DONE)
    rows = finished.order_by("starts_at", "pk").values_list(
        "vehicle_id", "pk", "site_id", "starts_at", "work_ends_at", "changed_at"
    )
    sites = map_sites()
    found: dict[int, list[StayRecord]] = defaultdict(list)
    for vehicle, key, site, starts_at, work_ends_at, changed_at in rows:
        first, last = find_today(starts_at, sites[site]), find_today(work_ends_at, sites[site])
        found[vehicle].append(StayRecord(f"visit {key}", first, last, changed_at))
    return {vehicle: tuple(stays) for vehicle, stays in found.items()}
