"""Reads what the clocks of many covers need, in a constant number of queries and without building model instances.

It reads less than ``read_cover_cases`` (no quantities, films or grades, which no due date rests on), ten times as fast.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from scheduling.bays.queries import UNREADABLE, UNREADABLE_TERMS, read_calendars
from scheduling.booking.following import find_booked_days
from scheduling.covers.changes import describe_facts, list_versions
from scheduling.covers.rules.dates import DutyTable
from scheduling.covers.rules.facts import CoverFacts
from scheduling.models import Cover, CoverChange, TermsVersion
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_document import read_published_terms
from treatments.enums import CorrosivityCategory, InspectionKind, ProductFamily, TreatmentKind, ZoneKind
from treatments.models import (
    Inspection,
    OdometerReading,
    Ownership,
    PlaceOfUse,
    Product,
    Site,
    Treatment,
    VehicleFact,
    Zone,
)
from treatments.records.histories import describe_place
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
from treatments.records.short_histories import list_answers
from treatments.rules.site_settings import NotComputableError
from treatments.vehicles.fact_queries import describe_fact, map_withheld
from treatments.vehicles.rules.standing_facts import StandingFact


@dataclass(slots=True)
class ClockCase:
    """One cover with what its clocks need."""

    cover: int
    site: int
    dealership: int | None
    tables_by_day: tuple[tuple[date, DutyTable], ...]
    facts: CoverFacts
    history: VehicleHistory
    booked: dict[str, date] = field(default_factory=dict)

    def find_table(self, day: date) -> DutyTable:
        """Return the table of the terms that the cover stands under on ``day``."""
        under = [table for from_day, table in self.tables_by_day if from_day <= day]
        return under[-1]

    def find_next_move(self, day: date) -> date | None:
        """Return the next day from which the cover stands under other terms."""
        return min((from_day for from_day, _ in self.tables_by_day if from_day > day), default=None)


class ClockReader:
    """Keeps what all covers share (terms, calendars, zones, products) and reads the rest range by range."""

    def __init__(self) -> None:
        sites = list(Site.objects.all())
        self.calendars = read_calendars(sites)
        self.site_categories = {site.pk: CorrosivityCategory(site.corrosivity) for site in sites}
        self.zone_rows = {zone.pk: zone for zone in Zone.objects.all()}
        self.zones = {key: (zone.code, zone.name, ZoneKind(zone.kind)) for key, zone in self.zone_rows.items()}
        self.withheld = map_withheld(self.zone_rows.values())
        self.families = {p.pk: ProductFamily(p.family) for p in Product.objects.all()}
        self.terms: dict[int, Terms | None] = {}  # None: can't be read
        self.tables: dict[tuple[int, int], DutyTable] = {}
        self.lines: dict[tuple[int, int | None], ZoneLine] = {}

    def read(self, keys: Sequence[int], faults: dict[int, str] | None = None) -> Iterator[ClockCase]:
        """Yield the case of each cover of ``keys``; of one without terms that can be read, note why in ``faults``.

        Raises:
            NotComputableError: for such a cover, where faults are not asked for.
        """
        rows = list(
            Cover.objects.filter(pk__in=keys)
            .order_by("pk")
            .values_list(
                "pk", "number", "vehicle_id", "terms_version_id", "site_id", "dealership_id", "sold_on", "registered_on"
            )
        )
        vehicles = [row[2] for row in rows]
        changes: dict[int, list[CoverChange]] = defaultdict(list)
        for change in CoverChange.objects.filter(cover__in=keys).order_by("day", "id"):
            changes[change.cover_id].append(change)
        self._read_terms({row[3] for row in rows}, changes)
        treatments = self._read_treatments(vehicles)
        inspections = self._read_inspections(vehicles)
        limited = [row[2] for row in rows if changes[row[0]] or self._has_distance_limit(row[3])]
        readings = self._read_readings(limited)
        owners = self._read_owners(vehicles)
        places = self._read_places(vehicles)
        facts = self._read_facts(vehicles)
        booked = find_booked_days(keys)
        for cover, number, vehicle, version, site, dealership, sold_on, registered_on in rows:
            theirs = changes.get(cover, [])
            try:
                tables = self._list_tables(version, site, theirs)
            except NotComputableError as error:
                if faults is None:
                    raise
                faults[cover] = str(error)
                continue
            yield ClockCase(
                cover,
                site,
                dealership,
                tables,
                describe_facts(
                    number, sold_on, registered_on, self.site_categories[site], theirs, places=places.get(vehicle, ())
                ),
                VehicleHistory(
                    tuple(treatments.get(vehicle, ())),
                    tuple(inspections.get(vehicle, ())),
                    tuple(readings.get(vehicle, ())),
                    tuple(owners.get(vehicle, ())),
                    facts=tuple(facts.get(vehicle, ())),
                ),
                booked.get(cover, {}),
            )

    def _read_terms(self, versions: set[int], changes: dict[int, list[CoverChange]]) -> None:
        for listed in changes.values():
            versions |= {key for change in listed for key in (change.from_version_id, change.to_version_id) if key}
        missing = versions - self.terms.keys()
        if missing:
            for version in TermsVersion.objects.filter(pk__in=missing):
                try:
                    self.terms[version.pk] = read_published_terms(version.document)
                except UNREADABLE:
                    self.terms[version.pk] = None

    def _has_distance_limit(self, version: int) -> bool:
        terms = self.terms[version]
        return terms is not None and terms.distance_limit_km is not None

    def _list_tables(self, version: int, site: int, changes: list[CoverChange]) -> tuple[tuple[date, DutyTable], ...]:
        found = []
        for from_day, under in list_versions(version, changes):
            table = self.tables.get((under, site))
            if table is None:
                terms = self.terms[under]
                if terms is None:
                    raise NotComputableError(UNREADABLE_TERMS)
                table = self.tables[under, site] = DutyTable(terms, self.calendars[site])
            found.append((from_day, table))
        return tuple(found)

    def _read_treatments(self, vehicles: list[int]) -> dict[int, list[TreatmentRecord]]:
        found: dict[int, list[TreatmentRecord]] = defaultdict(list)
        rows = (
            Treatment.objects.filter(vehicle__in=vehicles, signed_off_at__isnull=False, amended_by__isnull=True)
            .order_by("vehicle_id", "done_on", "pk", "lines__pk")
            .values_list("vehicle_id", "pk", "done_on", "kind", "lines__zone_id", "lines__product_id")
        )
        last = 0
        lines: list[ZoneLine] = []
        opened: tuple[int, int, date, str] | None = None

        def close() -> None:
            if opened is not None:
                vehicle, key, day, kind = opened
                found[vehicle].append(TreatmentRecord(f"treatment {key}", day, TREATMENT_KINDS[kind], tuple(lines)))

        for vehicle, key, day, kind, zone, product in rows:
            if key != last:
                close()
                last, opened, lines = key, (vehicle, key, day, kind), []
            if zone is not None:
                lines.append(self._find_line(zone, product))
        close()
        return found

    def _find_line(self, zone: int, product: int | None) -> ZoneLine:
        line = self.lines.get((zone, product))
        if line is None:
            code, name, kind = self.zones[zone]
            family = self.families[product] if product is not None else None
            line = self.lines[zone, product] = ZoneLine(code, name, kind, family)
        return line

    def _read_inspections(self, vehicles: list[int]) -> dict[int, list[InspectionRecord]]:
        found: dict[int, list[InspectionRecord]] = defaultdict(list)
        rows = Inspection.objects.filter(
            vehicle__in=vehicles, signed_off_at__isnull=False, amended_by__isnull=True
        ).order_by("vehicle_id", "done_on", "pk")
        answered: dict[int, set[str]] = defaultdict(set)
        answers = list_answers().filter(inspection__vehicle__in=vehicles)
        for key, zone in answers.values_list("inspection_id", "zone_id"):
            answered[key].add(self.zones[zone][0])
        for vehicle, key, day, kind in rows.values_list("vehicle_id", "pk", "done_on", "kind"):
            zones = frozenset(answered.get(key, ()))
            found[vehicle].append(InspectionRecord(f"inspection {key}", day, INSPECTION_KINDS[kind], answered=zones))
        return found

    def _read_readings(self, vehicles: list[int]) -> dict[int, list[RecordedReading]]:
        """Return the readings of vehicles whose terms have a distance limit; nothing else rests on them."""
        found: dict[int, list[RecordedReading]] = defaultdict(list)
        if not vehicles:
            return found
        rows = OdometerReading.objects.filter(vehicle__in=vehicles, withdrawn_at__isnull=True).order_by(
            "vehicle_id", "day", "pk"
        )
        for vehicle, key, day, kilometres in rows.values_list("vehicle_id", "pk", "day", "kilometres"):
            found[vehicle].append(RecordedReading(Reading(day, Decimal(kilometres), f"reading {key}")))
        return found

    def _read_facts(self, vehicles: list[int]) -> dict[int, list[StandingFact]]:
        found: dict[int, list[StandingFact]] = defaultdict(list)
        for row in VehicleFact.objects.filter(vehicle__in=vehicles).order_by("vehicle_id", "day", "pk"):
            found[row.vehicle_id].append(describe_fact(row, self.zone_rows, self.withheld))
        return found

    def _read_owners(self, vehicles: list[int]) -> dict[int, list[OwnerRecord]]:
        """Return the owners of vehicles that changed hands; with one owner there is nothing to judge."""
        changed = set(
            Ownership.objects.filter(vehicle__in=vehicles, until_day__isnull=False).values_list("vehicle_id", flat=True)
        )
        found: dict[int, list[OwnerRecord]] = defaultdict(list)
        rows = Ownership.objects.filter(vehicle__in=changed).order_by("vehicle_id", "from_day", "pk")
        for vehicle, key, owner, from_day, told_on in rows.values_list(
            "vehicle_id", "pk", "customer_id", "from_day", "told_on"
        ):
            found[vehicle].append(OwnerRecord(f"ownership {key}", str(owner), from_day, told_on=told_on))
        return found

    def _read_places(self, vehicles: list[int]) -> dict[int, list[PlaceRecord]]:
        found: dict[int, list[PlaceRecord]] = defaultdict(list)
        rows = PlaceOfUse.objects.filter(vehicle__in=vehicles).order_by("pk")
        columns = ("vehicle_id", "pk", "corrosivity", "from_day", "known_on", "recorded_at")
        for vehicle, key, category, from_day, known_on, recorded_at in rows.values_list(*columns):
            found[vehicle].append(describe_place(key, category, from_day, known_on, recorded_at))
        return found


TREATMENT_KINDS = {kind.value: kind for kind in TreatmentKind}
INSPECTION_KINDS = {kind.value: kind for kind in InspectionKind}
