"""What the database already holds about the vehicles of a batch, read in a constant number of queries. Finds the zone
or product that a log means by its name, code or alias; where there is none, says what is near. Fits what the rows
of a batch say about customers into the owners on record, oldest first.
"""

import difflib
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache

from treatments.enums import TreatmentKind
from treatments.log_import.report import BatchOutcome
from treatments.log_import.rules.columns import squeeze
from treatments.log_import.rules.faults import NoteCode
from treatments.log_import.rules.material import KnownProduct, KnownZone
from treatments.log_import.rules.row import LogRow
from treatments.models import Customer, OdometerReading, Ownership, Product, Treatment, TreatmentLine, Vehicle, ZoneArea
from treatments.people.customers import make_customer, make_match_key
from treatments.queries import read_zone_catalogue
from treatments.records.rules.material import MaterialNeed, compute_expected_ml
from treatments.rules.zone_catalogue import find_zone
from treatments.vehicles.fact_queries import read_facts
from treatments.vehicles.rules.coatable import StandingFact
from treatments.vehicles.services import end_places_of_former_owners


class ZoneFinder:
    """Finds zones in the shop's catalogue."""

    def __init__(self, keys: dict[str, int]) -> None:
        self._catalogue = read_zone_catalogue()
        self._zones = {
            zone.code: KnownZone(
                keys[zone.code],
                zone.code,
                zone.name,
                zone.kind,
                frozenset(style.value for style, _ in zone.areas_m2),
                frozenset(propulsion.value for propulsion in zone.withheld_on),
            )
            for zone in self._catalogue
        }
        self.find = lru_cache(maxsize=4096)(self._find)

    def _find(self, text: str) -> KnownZone | str:
        match = find_zone(self._catalogue, text)
        return self._zones[match.zone.code] if match.zone else match.sentence


class ProductFinder:
    """Finds products by name or alias, without regard to case, spaces and punctuation."""

    def __init__(self) -> None:
        self._products: dict[str, KnownProduct] = {}
        self._names: list[str] = []
        for product in Product.objects.order_by("pk"):
            self._names.append(product.name)
            for name in (product.name, *product.aliases):
                self._products.setdefault(squeeze(name), KnownProduct(product.pk, product.name))
        self.find = lru_cache(maxsize=4096)(self._find)

    def _find(self, text: str) -> KnownProduct | str:
        found = self._products.get(squeeze(text))
        if found:
            return found
        near = difflib.get_close_matches(squeeze(text), self._products, n=3, cutoff=0.6)
        if near:
            names = ", ".join(dict.fromkeys(self._products[name].name for name in near))
            return f"No such product. Is it {names}? Correct the name, or add the product first."
        return f"No such product; the shop has: {', '.join(self._names) or 'none'}. Add the product first."


class ExpectedMaterial:
    """Tells the quantity in ml that a zone needs of a product, None where the area is not known."""

    def __init__(self) -> None:
        self._areas = {(area.zone_id, area.body_style): area.area_m2 for area in ZoneArea.objects.all()}
        self._products = {product.pk: product for product in Product.objects.all()}
        self.find = lru_cache(maxsize=4096)(self._find)

    def _find(self, zone: int, style: str, product: int) -> Decimal | None:
        area, sheet = self._areas.get((zone, style)), self._products.get(product)
        if area is None or sheet is None:
            return None
        return compute_expected_ml(
            MaterialNeed(str(zone), area, sheet.target_dry_film_um, sheet.volume_solids_percent, sheet.loss_fraction)
        )


VisitKey = tuple[date, TreatmentKind]
LineKey = tuple[int, int | None, str]


@dataclass(frozen=True, slots=True)
class KnownLine:
    """A line of a visit; the row that told of it, None where it is on record."""

    quantity_ml: Decimal | None
    not_done_reason: str
    row: int | None


@dataclass(frozen=True, slots=True)
class VisitStatement:
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
    statements: dict[str, VisitStatement] = field(default_factory=dict)
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
        visit.statements["odometer"] = VisitStatement(f"{kilometres:.0f} km", kilometres, None)
    return visit


def plain(text: str) -> str:
    """Return a name without regard to case and spacing, for comparing."""
    return " ".join(text.casefold().split())


def plain_contact(text: str) -> str:
    """Return a contact for comparing; of a telephone number only the digits count."""
    return plain(text) if "@" in text else "".join(sign for sign in text if sign.isdigit())


class OwnerWriter:
    """Writes customers and owners of one batch."""

    def __init__(self, records: Records, outcome: BatchOutcome, now: datetime) -> None:
        self._records = records
        self._outcome = outcome
        self._now = now
        # What the log says of the language, by the customer's key.
        self._languages: dict[str, str] = {}

    def write(self, wanted: Wanted) -> None:
        """Record the owners that the new rows tell of."""
        customers = self._find_customers([row for _, rows, _ in wanted for row in rows])
        created: list[Ownership] = []
        changed: list[Ownership] = []
        for vin, rows, _ in wanted:
            owned = self._records.ownerships[vin]
            last_visit = max(day for day, _ in self._records.visits[vin])
            for row in rows:
                customer = customers[make_match_key(row.customer, row.contact)]
                self._place(self._records.vehicles[vin], customer, row, owned, last_visit)
            created += [o for o in owned if o.pk is None]
            changed += [o for o in owned if o.pk is not None]
        # Only customers who came to own something; a row without a contact must not leave a second Una Reed behind.
        new = {o.customer.match_key: o.customer for o in (*created, *changed) if o.customer.pk is None}
        Customer.objects.bulk_create(new.values())
        # The open ownership is closed before its successor is written, since only one may be open.
        Ownership.objects.bulk_update(changed, ["from_day", "until_day", "customer"])
        Ownership.objects.bulk_create(created)
        end_places_of_former_owners(created, now=self._now, actor=None)

    def _find_customers(self, rows: list[LogRow]) -> dict[str, Customer]:
        """Return the customer of each name and contact: the one on record with its spelling, or one not yet saved."""
        by_key: dict[str, LogRow] = {}
        for row in sorted(rows, key=lambda row: row.number):
            key = make_match_key(row.customer, row.contact)
            by_key.setdefault(key, row)
            if row.language:
                self._languages.setdefault(key, row.language)
        customers = {c.match_key: c for c in Customer.objects.filter(match_key__in=by_key)}
        for key, row in by_key.items():
            if key not in customers:
                details = {"email": row.email, "phone": row.phone}
                if key in self._languages:
                    details["language"] = self._languages[key]
                customers[key] = make_customer(name=row.customer, contact=row.contact, now=self._now, **details)
        return customers

    def _place(
        self, vehicle: Vehicle, customer: Customer, row: LogRow, owned: list[Ownership], last_visit: date
    ) -> None:
        """Fit what one visit says about the owner into the owners known so far, oldest first."""
        day = row.day
        if row.language and customer.pk is not None and row.language != customer.language:
            sentence = f"On record the language of {customer.name} is {customer.language}; not changed."
            self._outcome.note(row, NoteCode.LANGUAGE_NOT_CHANGED, "language", row.language, sentence)
        present = next((o for o in owned if o.from_day <= day and (o.until_day is None or day < o.until_day)), None)
        if not owned:
            owned.append(self._own(vehicle, customer, day))
        elif present is None:
            self._place_before(vehicle, customer, row, owned)
        elif plain(present.customer.name) == plain(customer.name):
            self._place_contact(present, customer, row, last_visit)
        elif present.until_day is None and present.from_day < day:
            present.until_day = day
            owned.append(self._own(vehicle, customer, day))
            sentence = f"Owner changed from {present.customer.name} to {customer.name} on {day}."
            self._outcome.note(row, NoteCode.OWNER_CHANGED, "customer", row.customer, sentence)
        else:
            sentence = f"On record the owner that day is {present.customer.name}; not changed."
            self._outcome.note(row, NoteCode.OWNER_NOT_CHANGED, "customer", row.customer, sentence)

    def _own(self, vehicle: Vehicle, customer: Customer, day: date, until: date | None = None) -> Ownership:
        return Ownership(
            vehicle=vehicle,
            customer=customer,
            from_day=day,
            until_day=until,
            told_on=day,
            recorded_at=self._now,
        )

    def _place_before(self, vehicle: Vehicle, customer: Customer, row: LogRow, owned: list[Ownership]) -> None:
        """Fit in a visit from before the first owner on record."""
        first = owned[0]
        if plain(first.customer.name) == plain(customer.name):
            first.from_day = min(first.from_day, row.day)
            return
        owned.insert(0, self._own(vehicle, customer, row.day, first.from_day))
        sentence = f"{customer.name} is now the owner from {row.day}, before {first.customer.name} ({first.from_day})."
        self._outcome.note(row, NoteCode.OWNER_CHANGED, "customer", row.customer, sentence)

    def _place_contact(self, present: Ownership, customer: Customer, row: LogRow, last_visit: date) -> None:
        """Take a contact over from the latest visit, or where none is on record; else say which one stands."""
        theirs, ours = present.customer.contact, customer.contact
        if not ours or plain_contact(theirs) == plain_contact(ours):
            return
        if not theirs or (present.until_day is None and row.day >= last_visit):
            if theirs:
                sentence = f"The contact of {customer.name} on record was {theirs}; from now on it is this one."
                self._outcome.note(row, NoteCode.CONTACT_CHANGED, "contact", row.contact, sentence)
            if customer.pk is None and customer.match_key not in self._languages:
                # The same person with another contact; the log does not say another language.
                customer.language = present.customer.language
            present.customer = customer
            return
        sentence = f"On record the contact of {present.customer.name} is {theirs}; not changed by an older visit."
        self._outcome.note(row, NoteCode.CONTACT_NOT_CHANGED, "contact", row.contact, sentence)
