"""What the database already holds about the vehicles of a batch, read in a constant number of queries.

Visits are those that stand: an amended treatment is found under the day and kind of each of its versions.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from treatments.enums import TreatmentKind
from treatments.log_import.rules.row import LogRow
from treatments.models import OdometerReading, Ownership, Treatment, TreatmentLine, Vehicle
from treatments.vehicles.fact_queries import read_facts
from treatments.vehicles.rules.standing_facts import StandingFact

VisitKey = tuple[date, TreatmentKind]
LineKey = tuple[int, int | None, str]


@dataclass(frozen=True, slots=True)
class KnownLine:
    """A line of a visit; the row that told of it, None where it is on record."""

    quantity_ml: Decimal | None
    not_done_reason: str
    row: int | None


@dataclass(frozen=True, slots=True)
class Told:
    """What a row or the record says of a visit: the words, what is compared, and the row, None for the record."""

    words: str
    compared: str | Decimal
    row: int | None


@dataclass(slots=True)
class Visit:
    """A visit on record or to be recorded, what is told of it, and the lines that this import adds to it.

    Attributes:
        zones: of each zone the line that says whether it was done, as the visit now stands.
    """

    on_record: Treatment | None
    lines: dict[LineKey, KnownLine] = field(default_factory=dict)
    zones: dict[int, KnownLine] = field(default_factory=dict)
    told: dict[str, Told] = field(default_factory=dict)
    new_rows: list[LogRow] = field(default_factory=list)


@dataclass(slots=True)
class Records:
    """What the database already holds about the vehicles of a batch, by VIN."""

    vehicles: dict[str, Vehicle]
    ownerships: dict[str, list[Ownership]]
    readings: dict[str, list[OdometerReading]]
    visits: dict[str, dict[VisitKey, Visit]]
    facts: dict[str, tuple[StandingFact, ...]]


# Each vehicle that gets new rows: its VIN, those rows by day, and the visits that they belong to.
Wanted = list[tuple[str, list[LogRow], list[Visit]]]


def key_line(zone: int, product: int | None, lot: str) -> LineKey:
    return zone, product, lot.casefold()


def load_records(vins: Sequence[str]) -> Records:
    """Return what is on record, with the vehicles locked."""
    vehicles = {
        vehicle.vin: vehicle
        # Locked in key order; a second import of the same vehicles waits here.
        for vehicle in Vehicle.objects.select_for_update().filter(vin__in=vins).order_by("pk")
    }
    vin_of = {vehicle.pk: vin for vin, vehicle in vehicles.items()}
    ownerships: dict[str, list[Ownership]] = defaultdict(list)
    for owned in Ownership.objects.filter(vehicle__in=vin_of).select_related("customer").order_by("from_day"):
        ownerships[vin_of[owned.vehicle_id]].append(owned)
    readings: dict[str, list[OdometerReading]] = defaultdict(list)
    for reading in OdometerReading.objects.filter(vehicle__in=vin_of):
        readings[vin_of[reading.vehicle_id]].append(reading)
    facts = {vin_of[key]: told for key, told in read_facts(vin_of).items()}
    return Records(vehicles, ownerships, readings, _load_visits(vin_of), facts)


def _load_visits(vin_of: dict[int, str]) -> dict[str, dict[VisitKey, Visit]]:
    treatments = {
        treatment.pk: treatment
        for treatment in Treatment.objects.filter(vehicle__in=vin_of).select_related("reading").order_by("pk")
    }
    newer = {t.amends_id: t.pk for t in treatments.values() if t.amends_id}
    by_standing: dict[int, Visit] = {}
    visits: dict[str, dict[VisitKey, Visit]] = defaultdict(dict)
    standing_of: dict[int, int] = {}
    for treatment in treatments.values():
        standing = treatment.pk
        while standing in newer:
            standing = newer[standing]
        standing_of[treatment.pk] = standing
        visit = by_standing.setdefault(standing, _open_visit(treatments[standing]))
        key = treatment.done_on, TreatmentKind(treatment.kind)
        visits[vin_of[treatment.vehicle_id]].setdefault(key, visit)
    # A line that any version of the visit had is known: an amendment that took it out was a person's decision.
    for line in TreatmentLine.objects.filter(treatment__in=standing_of).select_related("lot").order_by("pk"):
        key_ = key_line(line.zone_id, line.product_id, line.lot.number if line.lot else "")
        standing = standing_of[line.treatment_id]
        known = KnownLine(line.quantity_ml, line.not_done_reason, None)
        by_standing[standing].lines[key_] = known
        if line.treatment_id == standing:
            by_standing[standing].zones[line.zone_id] = known
    return visits


def _open_visit(treatment: Treatment) -> Visit:
    visit = Visit(treatment)
    if treatment.reading:
        kilometres = treatment.reading.kilometres
        visit.told["odometer"] = Told(f"{kilometres:.0f} km", kilometres, None)
    return visit
