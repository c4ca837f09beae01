"""Reads what is on record of one vehicle, for its page: its whole history, its owners, and where each record stands.

Three queries: the work and the inspections with their lines, and everything else at once.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import (
    BigIntegerField,
    CharField,
    DateField,
    DateTimeField,
    DecimalField,
    Field,
    QuerySet,
    Value,
)
from django.db.models.functions import Cast, Coalesce

from claims.models import Claim
from notifications.models import Message
from scheduling.models import Appointment, Cover, CoverChange
from treatments.models import Inspection, OdometerReading, Ownership, PlaceOfUse, Vehicle
from treatments.queries import find_today
from treatments.records.histories import (
    BY_DAY,
    INSPECTION_COLUMNS,
    OF_INSPECTION,
    OF_TREATMENT,
    TREATMENT_COLUMNS,
    add_photos,
    describe_inspections,
    describe_owner,
    describe_place,
    describe_reading,
    describe_treatments,
    sort_places,
)
from treatments.records.rules.history import PlaceRecord, RecordedReading, VehicleHistory
from treatments.reference.queries import map_sites, map_zones
from treatments.vehicles.fact_queries import read_facts

# What the rules do not ask of a treatment, and the timeline tells; two of each line, the last.
TOLD_OF_TREATMENT = (
    "site_id", "applicator_id", Coalesce("reading__amount", "odometer_amount"),
    Coalesce("reading__unit", "odometer_unit"), "source", "amendment_reason", "amended_by__pk", "recorded_at",
    "lines__quantity_amount", "lines__quantity_unit",
)  # fmt: skip
SITE, PERSON = OF_TREATMENT, OF_TREATMENT + 1
# At the same place in the columns of both.
SIGNED_OFF = TREATMENT_COLUMNS.index("signed_off_at")
TOLD_OF_INSPECTION = (
    "site_id", "inspector_id", Coalesce("reading__amount", "odometer_amount"),
    Coalesce("reading__unit", "odometer_unit"), "amendment_reason", "amended_by__pk", "recorded_at",
)  # fmt: skip


def _nothing(field: "Field[Any, Any]") -> Cast:
    return Cast(Value(None), field)


def _text(words: str) -> Value:
    return Value(words, output_field=CharField())


def _list_others(vehicle: Vehicle, covers: list[Cover]) -> "QuerySet[Any, Any]":
    """Return what is neither work nor an inspection, of a vehicle and of its covers.

    Form, key, day, moment, site and another key; the kilometres of a reading; of an owner the day on which the shop was
    told, the last day, name and contact; of a place of use the day on which the shop knew it and the category; of a
    reading the moment at which it was withdrawn.
    """
    day, moment, key = _nothing(DateField()), _nothing(DateTimeField()), _nothing(BigIntegerField())
    kilometres = _nothing(DecimalField(max_digits=14, decimal_places=6))
    no_owner = (day, day, _text(""), _text(""), _text(""))
    return (
        OdometerReading.objects.filter(vehicle=vehicle)
        .order_by()
        .values_list(_text("reading"), "pk", "day", "recorded_at", key, key, "kilometres", *no_owner, "withdrawn_at")
        .union(
            Ownership.objects.filter(vehicle=vehicle)
            .order_by()
            .values_list(
                _text("ownership"), "pk", "from_day", "recorded_at", key, "customer_id", kilometres,
                "told_on", "until_day", "customer__name", "customer__contact", _text(""), moment,
            ),
            PlaceOfUse.objects.filter(vehicle=vehicle)
            .order_by()
            .values_list(
                _text("place of use"), "pk", "from_day", "recorded_at", key, key, kilometres,
                "known_on", day, _text(""), _text(""), "corrosivity", moment,
            ),
            Appointment.objects.filter(vehicle=vehicle)
            .order_by()
            .values_list(_text("visit"), "pk", day, "starts_at", "site_id", "cover_id", kilometres, *no_owner, moment),
            CoverChange.objects.filter(cover__in=covers)
            .order_by()
            .values_list(_text("change"), "pk", "day", moment, key, "cover_id", kilometres, *no_owner, moment),
            Claim.objects.filter(cover__in=covers)
            .order_by()
            .values_list(_text("claim"), "pk", "reported_on", moment, key, "cover_id", kilometres, *no_owner, moment),
            Message.objects.filter(cover__in=covers)
            .order_by()
            .values_list(_text("message"), "pk", day, "created_at", key, "cover_id", kilometres, *no_owner, moment),
            all=True,
        )
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Place:
    """Where a record stands in time.

    Attributes:
        site: the primary key of the site of work and visits.
        other: that of who did the work, of the cover of any other record.
    """

    form: str
    key: int
    day: date
    moment: datetime | None
    site: int | None
    other: int | None


@dataclass(frozen=True, slots=True)
class Owner:
    """Who owned the vehicle from a day; ``until_day`` is None for the owner now."""

    key: int
    from_day: date
    until_day: date | None
    name: str
    contact: str


@dataclass(frozen=True, slots=True)
class VehicleRecords:
    """What is on record of a vehicle.

    Attributes:
        history: all of it, whenever it was written down.
        owners: the first one first.
        places: of every record but readings and owners, in no order; drafts too.
        treatments: the rows of each treatment by its primary key, drafts too.
        inspections: those of each inspection likewise.
    """

    history: VehicleHistory
    owners: tuple[Owner, ...]
    places: tuple[Place, ...]
    treatments: dict[int, list[Sequence[Any]]]
    inspections: dict[int, list[Sequence[Any]]]


def read_vehicle_records(vehicle: Vehicle, covers: Iterable[Cover]) -> VehicleRecords:
    """Return what is on record of a vehicle and of those of its covers that are told, in three queries."""
    treatments: dict[int, list[Sequence[Any]]] = defaultdict(list)
    worked = vehicle.treatments.order_by(*BY_DAY)
    for row in worked.values_list(*TREATMENT_COLUMNS, *TOLD_OF_TREATMENT):
        treatments[row[0]].append(row)
    places = [Place("treatment", key, r[2], r[SIGNED_OFF], r[SITE], r[PERSON]) for key, (r, *_) in treatments.items()]
    inspections: dict[int, list[Sequence[Any]]] = defaultdict(list)
    looked = add_photos(Inspection.objects.filter(vehicle=vehicle)).order_by(*BY_DAY)
    for row in looked.values_list(*INSPECTION_COLUMNS, *TOLD_OF_INSPECTION):
        inspections[row[0]].append(row)
    places += [
        Place("inspection", key, r[2], r[SIGNED_OFF], r[OF_INSPECTION], r[OF_INSPECTION + 1])
        for key, (r, *_) in inspections.items()
    ]
    sites, zones = map_sites(), map_zones()
    readings: list[RecordedReading] = []
    withdrawn: list[RecordedReading] = []
    owned, owners = [], []
    used: dict[int, PlaceRecord] = {}
    others = _list_others(vehicle, list(covers))
    for form, key, told_day, moment, site, other, kilometres, *owner in others:
        day = told_day
        if form == "reading":
            told = withdrawn if owner[-1] else readings
            told.append(describe_reading(key, day, moment, kilometres, owner[-1]))
        elif form == "ownership":
            told_on, until_day, name, contact, *_others = owner
            owned.append(describe_owner(key, other, day, moment, told_on))
            owners.append(Owner(key, day, until_day, name, contact))
        elif form == "place of use":
            known_on, _until, _name, _contact, category, _withdrawn_at = owner
            used[key] = describe_place(key, category, day, known_on, moment)
        else:
            if day is None:
                # A visit's day is that of its site.
                day = find_today(moment, sites[site] if form == "visit" else None)
            places.append(Place(form, key, day, moment, site, other))
    # On one day there is one change of owner; readings of one day come as they were written down.
    readings.sort(key=lambda one: (one.reading.day, int(one.reading.record.rpartition(" ")[2])))
    owned.sort(key=lambda one: one.from_day)
    owners.sort(key=lambda one: one.from_day)
    history = VehicleHistory(
        tuple(
            describe_treatments(_list_signed(treatments), {vehicle.pk: vehicle.body_style}, zones).get(vehicle.pk, ())
        ),
        tuple(describe_inspections(_list_signed(inspections), zones).get(vehicle.pk, ())),
        tuple(readings),
        tuple(owned),
        sort_places(used),
        facts=read_facts([vehicle.pk], zones).get(vehicle.pk, ()),
        withdrawn=tuple(withdrawn),
    )
    return VehicleRecords(history, tuple(owners), tuple(places), treatments, inspections)


def _list_signed(work: Mapping[int, list[Sequence[Any]]]) -> list[Sequence[Any]]:
    """Return the rows of what is signed off."""
    return [row for rows in work.values() for row in rows if row[SIGNED_OFF] is not None]
