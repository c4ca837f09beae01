"""Reads in one query what booking many has to know of covers and their vehicles besides what is due for them.

That is which are booked already, when vehicles are with the shop, how large they are, and their owners' telephone.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import CharField, DateTimeField, IntegerField, QuerySet, Value
from django.db.models.functions import Cast

from scheduling.bays.queries import list_durations, map_usual_sizes
from scheduling.bays.trainings import read_needed_trainings
from scheduling.booking.reading import list_holding_visits
from scheduling.booking.rules.opening import Span
from scheduling.booking.work import Workload
from scheduling.models import AppointmentItem, Cover, VehicleSize
from treatments.models import Ownership
from treatments.shared.among import Among
from treatments.shared.standing_query import GivenKeys, StandingQuery


@dataclass(frozen=True, slots=True)
class KnownOfMany:
    """What is known of some covers: the number of a visit that serves one by cover, the others by vehicle."""

    booked: dict[int, str]
    phones: dict[int, str]
    workload: Workload


def read_known_of(covers: Sequence[Cover]) -> KnownOfMany:
    """Return what is known of some covers and their vehicles, by primary key."""
    booked: dict[int, str] = {}
    phones: dict[int, str] = {}
    stays: dict[int, list[Span]] = defaultdict(list)
    sizes: dict[int, VehicleSize] = {}
    rows = KNOWN.ask([cover.vehicle_id for cover in covers], [cover.pk for cover in covers])
    for what, key, text, height, mass, start, end in rows:
        if what == BOOKED:
            booked[key] = text
        elif what == STAY:
            stays[key].append(Span(start, end))
        elif what == SIZE:
            sizes[key] = VehicleSize(vehicle_id=key, height_mm=height, mass_kg=mass)
        else:
            phones[key] = text
    spans = {vehicle: tuple(theirs) for vehicle, theirs in stays.items()}
    trainings = read_needed_trainings({cover.vehicle_id for cover in covers})
    return KnownOfMany(booked, phones, Workload(list_durations(), sizes, map_usual_sizes(), spans, trainings))


# Which kind of record a row tells of.
BOOKED, STAY, SIZE, PHONE = "booked", "stay", "size", "phone"


def _list_known() -> "QuerySet[Any, Any]":
    """Return kind of record, cover or vehicle, number or telephone, height, mass, from when and until when."""
    vehicles, covers = GivenKeys(0), GivenKeys(1)
    no_text, no_number = Value("", CharField()), Cast(Value(None), IntegerField())
    no_moment = Cast(Value(None), DateTimeField())
    is_booked, is_stay, is_size, is_phone = (Value(what, CharField()) for what in (BOOKED, STAY, SIZE, PHONE))
    stays = list_holding_visits().filter(Among("vehicle_id", vehicles)).order_by()
    booked = AppointmentItem.objects.filter(Among("cover_id", covers), serves=True).order_by()
    sizes = VehicleSize.objects.filter(Among("vehicle_id", vehicles)).order_by()
    # The open row of an owner is the owner now; a vehicle has one.
    owners = Ownership.objects.filter(Among("vehicle_id", vehicles), until_day__isnull=True).order_by()
    return stays.values_list(
        is_stay, "vehicle_id", no_text, no_number, no_number, "starts_at", "ready_at"
    ).union(
        booked.values_list(is_booked, "cover_id", "appointment__number", no_number, no_number, no_moment, no_moment),
        sizes.values_list(is_size, "vehicle_id", no_text, "height_mm", "mass_kg", no_moment, no_moment),
        owners.values_list(is_phone, "vehicle_id", "customer__phone", no_number, no_number, no_moment, no_moment),
        all=True,
    )  # fmt: skip


KNOWN = StandingQuery(_list_known)
