"""Reads of the histories of vehicles what dates and lists of work rest on, for many vehicles in one query.

That is the work with its zones and products, the days of inspections with the zones that reinspections answer for,
odometer readings, owners and places of use. Quantities, films, conditions, lots, what was seen at inspections and when
it was written down are left out; ``history_reading`` reads all.
"""

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.db.models import BigIntegerField, CharField, DateField, DecimalField, Q, QuerySet, Value
from django.db.models.functions import Cast

from treatments.enums import (
    CorrosivityCategory,
    FilmState,
    InspectionKind,
    ProductFamily,
    TreatmentKind,
    ZoneKind,
)
from treatments.models import Inspection, InspectionLine, OdometerReading, Ownership, PlaceOfUse, Treatment
from treatments.records.rules.history import (
    InspectionRecord,
    OwnerRecord,
    PlaceRecord,
    RecordedReading,
    TreatmentRecord,
    VehicleHistory,
    ZoneLine,
)
from treatments.records.rules.odometer import Reading
from treatments.reference.queries import map_products, map_zones
from treatments.vehicles.fact_queries import read_facts


def read_short_histories(vehicles: Iterable[int]) -> dict[int, VehicleHistory]:
    """Return the history of each vehicle by its primary key, without what the head of this module names."""
    keys = list(dict.fromkeys(vehicles))
    if not keys:
        return {}
    treatments: dict[int, tuple[Any, ...]] = {}
    lines: dict[int, list[tuple[int, int | None]]] = defaultdict(list)
    looks: dict[int, tuple[Any, ...]] = {}
    answered: dict[int, set[str]] = defaultdict(set)
    readings: dict[int, list[RecordedReading]] = defaultdict(list)
    owners: dict[int, list[OwnerRecord]] = defaultdict(list)
    places: dict[int, dict[int, PlaceRecord]] = defaultdict(dict)
    zones = map_zones()
    for what, vehicle, day, key, word, other, zone, product, kilometres, told_on in _list_records(keys):
        if what == WORK:
            treatments.setdefault(key, (vehicle, day, word, other))
            if zone is not None:
                lines[key].append((zone, product))
        elif what == LOOK:
            looks.setdefault(key, (vehicle, day, word, other))
        elif what == ANSWER:
            answered[key].add(zones[zone].code)
        elif what == READING:
            readings[vehicle].append(RecordedReading(Reading(day, kilometres, f"reading {key}")))
        elif what == PLACE:
            category = CorrosivityCategory(word) if word else None
            places[vehicle][key] = PlaceRecord(f"place of use {key}", category, day, told_on)
        else:
            owners[vehicle].append(OwnerRecord(f"ownership {key}", str(other), day, told_on=told_on))
    inspections: dict[int, list[InspectionRecord]] = defaultdict(list)
    for key, (vehicle, day, kind, amends) in looks.items():
        inspections[vehicle].append(
            InspectionRecord(
                f"inspection {key}",
                day,
                INSPECTION_KINDS[kind],
                answered=frozenset(answered[key]),
                amends=f"inspection {amends}" if amends else None,
            )
        )
    describe = _LineWriter()
    facts = read_facts(keys, describe.zones)
    works: dict[int, list[TreatmentRecord]] = defaultdict(list)
    for key, (vehicle, day, kind, amends) in treatments.items():
        works[vehicle].append(
            TreatmentRecord(
                f"treatment {key}",
                day,
                TREATMENT_KINDS[kind],
                tuple([describe.find(zone, product) for zone, product in lines[key]]),
                amends=f"treatment {amends}" if amends else None,
            )
        )
    return {
        key: VehicleHistory(
            tuple(works.get(key, ())),
            tuple(inspections.get(key, ())),
            tuple(readings.get(key, ())),
            tuple(owners.get(key, ())),
            tuple(place for _written, place in sorted(places[key].items())) if key in places else (),
            facts=facts.get(key, ()),
        )
        for key in keys
    }


class _LineWriter:
    """Describes each pair of zone and product once; treatments have the same few again and again."""

    def __init__(self) -> None:
        self.zones, self.products = map_zones(), map_products()
        self.lines: dict[tuple[int, int | None], ZoneLine] = {}

    def find(self, zone_key: int, product_key: int | None) -> ZoneLine:
        pair = zone_key, product_key
        line = self.lines.get(pair)
        if line is None:
            zone, kind = self.zones[zone_key], ZoneKind(self.zones[zone_key].kind)
            if product_key is None:
                line = ZoneLine(zone.code, zone.name, kind)
            else:
                product = self.products[product_key]
                line = ZoneLine(zone.code, zone.name, kind, ProductFamily(product.family), product.name)
            self.lines[pair] = line
        return line


# Which kind of record a row tells of.
WORK, LOOK, ANSWER, READING, OWNER, PLACE = "work", "look", "answer", "reading", "owner", "place"
TREATMENT_KINDS = {kind.value: kind for kind in TreatmentKind}
INSPECTION_KINDS = {kind.value: kind for kind in InspectionKind}


def list_answers() -> "QuerySet[InspectionLine]":
    """Return the lines by which signed-off reinspections answer for their zones; no other inspection's are asked for.

    The same in SQL as ``rules.history.is_answered``; a test compares.
    """
    rust_seen = Q(rusted_area_percent__isnull=False) | Q(perforated=True)
    return InspectionLine.objects.filter(
        Q(not_seen_reason__gt="") | (rust_seen & ~Q(film_state=FilmState.NOT_SEEN.value)),
        inspection__kind=InspectionKind.REINSPECTION.value,
        inspection__signed_off_at__isnull=False,
    ).order_by()


def _list_records(vehicles: list[int]) -> "QuerySet[Any, Any]":
    """Return kind of record, vehicle, day, key, and what each kind has to tell; work has a row for each line.

    The word is the kind of visit or the category of a place, the other key is what an amendment replaces or the owner.
    An inspection has a row of its own for each zone that it answers for.
    """
    no_key, no_day = Cast(Value(None), BigIntegerField()), Cast(Value(None), DateField())
    no_number, no_word = Cast(Value(None), DecimalField(max_digits=14, decimal_places=6)), Value("", CharField())
    is_work, is_look, is_answer, is_reading, is_owner, is_place = (
        Value(what, CharField()) for what in (WORK, LOOK, ANSWER, READING, OWNER, PLACE)
    )
    work = Treatment.objects.filter(vehicle__in=vehicles, signed_off_at__isnull=False).order_by()
    looks = Inspection.objects.filter(vehicle__in=vehicles, signed_off_at__isnull=False).order_by()
    answers = list_answers().filter(inspection__vehicle__in=vehicles)
    readings = OdometerReading.objects.filter(vehicle__in=vehicles, withdrawn_at__isnull=True).order_by()
    owners = Ownership.objects.filter(vehicle__in=vehicles).order_by()
    places = PlaceOfUse.objects.filter(vehicle__in=vehicles).order_by()
    every = work.values_list(
        is_work, "vehicle_id", "done_on", "pk", "kind", "amends_id",
        "lines__zone_id", "lines__product_id", no_number, no_day,
    ).union(
        looks.values_list(
            is_look, "vehicle_id", "done_on", "pk", "kind", "amends_id", no_key, no_key, no_number, no_day
        ),
        answers.values_list(
            is_answer, "inspection__vehicle_id", "inspection__done_on", "inspection_id", no_word, no_key,
            "zone_id", no_key, no_number, no_day,
        ),
        readings.values_list(
            is_reading, "vehicle_id", "day", "pk", no_word, no_key, no_key, no_key, "kilometres", no_day
        ),
        owners.values_list(
            is_owner, "vehicle_id", "from_day", "pk", no_word, "customer_id",
            no_key, no_key, no_number, "told_on",
        ),
        places.values_list(
            is_place, "vehicle_id", "from_day", "pk", "corrosivity", no_key, no_key, no_key, no_number, "known_on"
        ),
        all=True,
    )  # fmt: skip
    return every.order_by("done_on", "pk", "lines__zone_id", "lines__product_id")
