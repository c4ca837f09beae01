"""Reads the histories of vehicles as the rules see them: three queries, however many vehicles and visits there are.

Only what is signed off speaks; a draft by the lift is not yet a record, and was known from its sign-off on.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import (
    BigIntegerField,
    CharField,
    Count,
    DateField,
    DateTimeField,
    DecimalField,
    OuterRef,
    QuerySet,
    Subquery,
    Value,
)
from django.db.models.functions import Cast, Coalesce

from treatments.enums import (
    CorrosivityCategory,
    FilmState,
    InspectionKind,
    ProductFamily,
    TreatmentKind,
    ZoneKind,
)
from treatments.models import (
    Inspection,
    OdometerReading,
    Ownership,
    Photo,
    PlaceOfUse,
    Product,
    Treatment,
    TreatmentLine,
    Vehicle,
    Zone,
)
from treatments.records.rules.conditions import SurfaceConditions
from treatments.records.rules.history import (
    InspectedZone,
    InspectionRecord,
    OwnerRecord,
    PlaceRecord,
    RecordedReading,
    TreatmentRecord,
    VehicleHistory,
    ZoneLine,
)
from treatments.records.rules.odometer import Reading
from treatments.reference.queries import map_areas, map_products, map_zones
from treatments.vehicles.fact_queries import read_facts

Areas = Mapping[tuple[int, str], Decimal]


def read_histories(vehicles: Iterable[Vehicle]) -> dict[int, VehicleHistory]:
    """Return the whole history of each vehicle by its primary key, in a constant number of queries."""
    styles = {vehicle.pk: vehicle.body_style for vehicle in vehicles}
    keys = list(styles)
    if not keys:
        return {}
    zones = map_zones()
    facts = read_facts(keys, zones)
    worked = Treatment.objects.filter(vehicle__in=keys, signed_off_at__isnull=False).order_by(*BY_DAY)
    treatments = describe_treatments(worked.values_list(*TREATMENT_COLUMNS), styles, zones)
    looked = add_photos(Inspection.objects.filter(vehicle__in=keys, signed_off_at__isnull=False)).order_by(*BY_DAY)
    inspections = describe_inspections(looked.values_list(*INSPECTION_COLUMNS), zones)
    readings: dict[int, list[RecordedReading]] = defaultdict(list)
    withdrawn: dict[int, list[RecordedReading]] = defaultdict(list)
    owners: dict[int, list[OwnerRecord]] = defaultdict(list)
    places: dict[int, dict[int, PlaceRecord]] = defaultdict(dict)
    rows = _list_readings_and_owners(keys)
    for vehicle, day, key, recorded_at, withdrawn_at, kilometres, customer, told_on, place in rows:
        if kilometres is not None:
            told = withdrawn if withdrawn_at else readings
            told[vehicle].append(describe_reading(key, day, recorded_at, kilometres, withdrawn_at))
        elif customer is not None:
            owners[vehicle].append(describe_owner(key, customer, day, recorded_at, told_on))
        else:
            places[vehicle][key] = describe_place(key, place, day, told_on, recorded_at)
    return {
        key: VehicleHistory(
            tuple(treatments.get(key, ())),
            tuple(inspections.get(key, ())),
            tuple(readings.get(key, ())),
            tuple(owners.get(key, ())),
            sort_places(places.get(key, {})),
            facts=facts.get(key, ()),
            withdrawn=tuple(withdrawn.get(key, ())),
        )
        for key in keys
    }


def read_history(vehicle: Vehicle) -> VehicleHistory:
    """Return the whole history of one vehicle."""
    return read_histories([vehicle])[vehicle.pk]


CONDITIONS = (
    "air_temperature_c", "surface_temperature_c", "relative_humidity_percent", "surface_clean", "surface_dry",
)  # fmt: skip
# What ``describe_treatments`` and ``describe_inspections`` want a row to begin with, one for each line, by day and key.
TREATMENT_COLUMNS = (
    "pk", "vehicle_id", "done_on", "kind", "signed_off_at", "amends_id", *CONDITIONS,
    "lines__zone_id", "lines__product_id", "lines__quantity_ml", "lines__pressure_kpa",
    "lines__access_points_used", "lines__mist_seen_at_far_end", "lines__not_done_reason",
    "lines__lot__number", "lines__lot__expires_on", "lines__lot__recalled_on",
    "lines__lot__recall_recorded_at",
)  # fmt: skip
INSPECTION_COLUMNS = (
    "pk", "vehicle_id", "done_on", "kind", "signed_off_at", "amends_id",
    "lines__zone_id", "lines__rusted_area_percent", "lines__perforated", "lines__film_state", "lines__not_seen_reason",
    "photos",
)  # fmt: skip
OF_TREATMENT, OF_INSPECTION = len(TREATMENT_COLUMNS), len(INSPECTION_COLUMNS)
BY_DAY = ("done_on", "pk", "lines__pk")


def add_photos(inspections: "QuerySet[Inspection]") -> "QuerySet[Any, Any]":
    """Return inspections with how many photos each of their lines has, as ``photos``."""
    of_line = Photo.objects.filter(line=OuterRef("lines__pk")).order_by().values("line")
    return inspections.annotate(photos=Coalesce(Subquery(of_line.annotate(number=Count("pk")).values("number")), 0))


def _list_readings_and_owners(vehicles: list[int]) -> "QuerySet[Any, Any]":
    """Return vehicle, day, key, moment; then the moment of withdrawal and the kilometres of a reading, the owner, the
    day told and the place.

    A row is of a reading, of an owner, or of a place of use, where the day told is that on which the shop knew it.
    """
    readings = OdometerReading.objects.filter(vehicle__in=vehicles).order_by()
    owners = Ownership.objects.filter(vehicle__in=vehicles).order_by()
    places = PlaceOfUse.objects.filter(vehicle__in=vehicles).order_by()
    no_customer, no_day = Cast(Value(None), BigIntegerField()), Cast(Value(None), DateField())
    no_moment = Cast(Value(None), DateTimeField())
    no_number = Cast(Value(None), DecimalField(max_digits=14, decimal_places=6))
    both = readings.values_list(
        "vehicle_id", "day", "pk", "recorded_at", "withdrawn_at", "kilometres", no_customer, no_day,
        Value("", CharField()),
    ).union(
        owners.values_list(
            "vehicle_id", "from_day", "pk", "recorded_at", no_moment, no_number, "customer_id", "told_on",
            Value("", CharField()),
        ),
        places.values_list(
            "vehicle_id", "from_day", "pk", "recorded_at", no_moment, no_number, no_customer, "known_on", "corrosivity"
        ),
        all=True,
    )  # fmt: skip
    return both.order_by("day", "pk")


def describe_treatments(
    rows: Iterable[Sequence[Any]], styles: Mapping[int, str], zones: Mapping[int, Zone]
) -> dict[int, list[TreatmentRecord]]:
    """Return treatments by the key of their vehicle, as the rules read them.

    Args:
        rows: of treatments signed off, each beginning with ``TREATMENT_COLUMNS``.
        styles: the body style of each vehicle.
        zones: as ``map_zones`` gives them.
    """
    products, areas = map_products(), map_areas()
    heads: dict[int, tuple[Any, ...]] = {}
    lines: dict[int, list[ZoneLine]] = defaultdict(list)
    for row in rows:
        key, zone, product = row[0], row[11], row[12]
        heads.setdefault(key, tuple(row[:11]))
        if zone is not None:
            area = areas.get((zone, styles[row[1]]))
            lines[key].append(
                describe_coat(
                    zones[zone], products[product] if product is not None else None, area, *row[13:OF_TREATMENT]
                )
            )
    found: dict[int, list[TreatmentRecord]] = defaultdict(list)
    for key, vehicle, day, kind, recorded_at, amends, *conditions in heads.values():
        found[vehicle].append(
            TreatmentRecord(
                record=f"treatment {key}",
                day=day,
                kind=TreatmentKind(kind),
                lines=tuple(lines[key]),
                recorded_at=recorded_at,
                conditions=_describe_conditions(*conditions),
                amends=f"treatment {amends}" if amends else None,
            )
        )
    return found


def describe_inspections(rows: Iterable[Sequence[Any]], zones: Mapping[int, Zone]) -> dict[int, list[InspectionRecord]]:
    """Return inspections by the key of their vehicle; each row begins with ``INSPECTION_COLUMNS``."""
    heads: dict[int, Sequence[Any]] = {}
    seen: dict[int, list[InspectedZone]] = defaultdict(list)
    for row in rows:
        key, zone, percent, perforated, film, reason, photos = row[0], *row[6:OF_INSPECTION]
        heads.setdefault(key, row)
        if zone is not None:
            seen[key].append(InspectedZone(zones[zone].code, percent, perforated, FilmState(film), photos, reason))
    found: dict[int, list[InspectionRecord]] = defaultdict(list)
    for key, vehicle, day, kind, signed_off_at, amends, *_line in heads.values():
        is_asked = kind == InspectionKind.REINSPECTION
        found[vehicle].append(
            InspectionRecord(
                f"inspection {key}",
                day,
                InspectionKind(kind),
                tuple(seen[key]),
                signed_off_at,
                frozenset(zone.zone for zone in seen[key] if is_asked and zone.is_answered),
                f"inspection {amends}" if amends else None,
            )
        )
    return found


def describe_inspection(inspection: Inspection) -> InspectionRecord:
    """Return one inspection, signed off or not, with what it says of each zone; photos are not counted."""
    zones = tuple(
        InspectedZone(
            line.zone.code,
            line.rusted_area_percent,
            line.perforated,
            FilmState(line.film_state),
            not_seen_reason=line.not_seen_reason,
        )
        for line in inspection.lines.select_related("zone").order_by("pk")
    )
    return InspectionRecord(f"inspection {inspection.pk}", inspection.done_on, InspectionKind(inspection.kind), zones)


def describe_reading(
    key: int, day: date, recorded_at: datetime, kilometres: Decimal, withdrawn_at: datetime | None = None
) -> RecordedReading:
    """Return an odometer reading as the rules read it."""
    return RecordedReading(Reading(day, kilometres, f"reading {key}"), recorded_at, withdrawn_at)


def describe_owner(key: int, customer: int, day: date, recorded_at: datetime, told_on: date | None) -> OwnerRecord:
    """Return an owner as the rules read it."""
    return OwnerRecord(f"ownership {key}", str(customer), day, recorded_at, told_on)


def describe_place(key: int, category: str, from_day: date, known_on: date, recorded_at: datetime) -> PlaceRecord:
    """Return a place of use as the rules read it; ``category`` is that of ISO 9223, or ''."""
    corrosivity = CorrosivityCategory(category) if category else None
    return PlaceRecord(f"place of use {key}", corrosivity, from_day, known_on, recorded_at)


def sort_places(places: Mapping[int, PlaceRecord]) -> tuple[PlaceRecord, ...]:
    """Return places of use, by primary key, in the order in which they were written down."""
    return tuple(place for _key, place in sorted(places.items()))


def describe_line(line: TreatmentLine, area_m2: Decimal | None) -> ZoneLine:
    """Return a line with all that the rules ask of its zone, product and lot; the area in m2 is the body style's."""
    lot = line.lot
    return describe_coat(
        line.zone,
        line.product,
        area_m2,
        line.quantity_ml,
        line.pressure_kpa,
        line.access_points_used,
        line.mist_seen_at_far_end,
        line.not_done_reason,
        lot.number if lot else None,
        lot.expires_on if lot else None,
        lot.recalled_on if lot else None,
        lot.recall_recorded_at if lot else None,
    )


def describe_coat(
    zone: Zone,
    product: Product | None,
    area_m2: Decimal | None,
    quantity_ml: Decimal | None,
    pressure_kpa: Decimal | None,
    access_points_used: int | None,
    mist_seen_at_far_end: bool | None,
    not_done_reason: str,
    lot: str | None,
    lot_expires_on: date | None,
    lot_recalled_on: date | None,
    lot_recall_recorded_at: datetime | None,
) -> ZoneLine:
    """Return what went on a zone, or why nothing did, as the rules read it."""
    if product is None:
        return ZoneLine(zone.code, zone.name, ZoneKind(zone.kind), not_done_reason=not_done_reason)
    return ZoneLine(
        zone=zone.code,
        zone_name=zone.name,
        zone_kind=ZoneKind(zone.kind),
        family=ProductFamily(product.family),
        product=product.name,
        lot=lot,
        lot_expires_on=lot_expires_on,
        lot_recalled_on=lot_recalled_on,
        lot_recall_recorded_at=lot_recall_recorded_at,
        quantity_ml=quantity_ml,
        area_m2=area_m2,
        target_dry_film_um=product.target_dry_film_um,
        volume_solids_percent=product.volume_solids_percent,
        loss_fraction=product.loss_fraction,
        water_displacing=product.water_displacing,
        surface_min_c=product.surface_min_c,
        surface_max_c=product.surface_max_c,
        plastic=zone.plastic,
        pressure_kpa=pressure_kpa,
        access_points_used=access_points_used,
        mist_seen_at_far_end=mist_seen_at_far_end,
    )


def describe_conditions(treatment: Treatment) -> SurfaceConditions | None:
    """Return the surface conditions of a treatment, None where nothing was measured or seen."""
    return _describe_conditions(*(getattr(treatment, name) for name in CONDITIONS))


def _describe_conditions(
    air_c: Decimal | None, surface_c: Decimal | None, humidity: Decimal | None, clean: bool | None, dry: bool | None
) -> SurfaceConditions | None:
    if all(value is None for value in (air_c, surface_c, humidity, clean, dry)):
        return None
    return SurfaceConditions(
        air_temperature_c=air_c,
        surface_temperature_c=surface_c,
        relative_humidity_percent=humidity,
        clean=clean,
        dry=dry,
        plastic_parts=None,
    )
