"""Records a batch of vehicles from a log in one transaction, each vehicle whole, in a constant number of queries.

Rows that are already on record are told apart from new ones; rows that contradict the record are rejected.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from treatments.event_log import Happening, describe, record_events
from treatments.models import (
    Customer,
    Lot,
    OdometerReading,
    Ownership,
    Site,
    Treatment,
    TreatmentLine,
    User,
    Vehicle,
)
from treatments.rules.log_columns import LogColumns
from treatments.rules.log_row import Fault, FaultCode, LogRow, Note, NoteCode, say_zone_not_on_body
from treatments.rules.odometer import Reading, flag_backwards
from treatments.rules.vin import VinMark, read_model_year
from treatments.rules.words import TreatmentKind, say
from treatments.services import make_amendment, make_customer, make_match_key, tell_of_treatment

VisitKey = tuple[date, TreatmentKind]
LineKey = tuple[int, int | None, str]


@dataclass(slots=True)
class BatchOutcome:
    """What became of the rows of a batch."""

    accepted: int = 0
    known: int = 0
    vehicles_added: int = 0
    treatments_added: int = 0
    treatments_amended: int = 0
    rejects: list[tuple[int, Fault]] = field(default_factory=list)
    notes: list[tuple[int, Note]] = field(default_factory=list)


@dataclass(slots=True)
class _Visit:
    """A visit on record or to be recorded, and the lines that this import adds to it."""

    on_record: Treatment | None
    lines: dict[LineKey, tuple[Decimal | None, int | None]] = field(default_factory=dict)
    first_row: LogRow | None = None
    new_rows: list[LogRow] = field(default_factory=list)


@dataclass(slots=True)
class _Records:
    """What the database already holds about the vehicles of a batch."""

    vehicles: dict[str, Vehicle]
    ownerships: dict[str, list[Ownership]]
    readings: dict[str, list[OdometerReading]]
    visits: dict[str, dict[VisitKey, _Visit]]


def _key_line(zone: int, product: int | None, lot: str) -> LineKey:
    return zone, product, lot.casefold()


def _load(vins: Sequence[str]) -> _Records:
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
    treatments = {
        treatment.pk: treatment
        for treatment in Treatment.objects.filter(vehicle__in=vin_of).select_related("reading").order_by("pk")
    }
    newer = {t.amends_id: t.pk for t in treatments.values() if t.amends_id}
    by_standing: dict[int, _Visit] = {}
    visits: dict[str, dict[VisitKey, _Visit]] = defaultdict(dict)
    standing_of: dict[int, int] = {}
    for treatment in treatments.values():
        standing = treatment.pk
        while standing in newer:
            standing = newer[standing]
        standing_of[treatment.pk] = standing
        visit = by_standing.setdefault(standing, _Visit(treatments[standing]))
        key = treatment.done_on, TreatmentKind(treatment.kind)
        visits[vin_of[treatment.vehicle_id]].setdefault(key, visit)
    # A line that any version of the visit had is known: an amendment that took it out was a person's decision.
    for line in TreatmentLine.objects.filter(treatment__in=standing_of).select_related("lot").order_by("pk"):
        key_ = _key_line(line.zone_id, line.product_id, line.lot.number if line.lot else "")
        by_standing[standing_of[line.treatment_id]].lines[key_] = (line.quantity_ml, None)
    return _Records(vehicles, ownerships, readings, visits)


class BatchWriter:
    """Records batches of vehicles; one for a whole import, so that a new lot is noted once."""

    def __init__(self, *, site: Site, columns: LogColumns, source: str, now: datetime, actor: User | None) -> None:
        self.site = site
        self.columns = columns
        self.source = source[:200]
        self.now = now
        self.actor = actor
        self._lots_noted: set[tuple[int, str]] = set()

    def write(self, groups: Sequence[tuple[str, list[LogRow]]]) -> BatchOutcome:
        """Record the vehicles, in the caller's transaction."""
        outcome = BatchOutcome()
        records = _load([vin for vin, _ in groups])
        wanted: list[tuple[str, list[LogRow], list[_Visit]]] = []
        for vin, rows in groups:
            visits = records.visits[vin]
            for row in rows:
                self._place(row, records.vehicles.get(vin), visits, outcome)
            # A visit whose day an amendment moved stands under both days, but is one visit.
            one_each = {id(visit): visit for visit in visits.values()}
            touched = [visit for visit in one_each.values() if visit.new_rows]
            if touched:
                wanted.append((vin, sorted((r for v in touched for r in v.new_rows), key=_by_day), touched))
        self._record(wanted, records, outcome)
        return outcome

    def _place(
        self, row: LogRow, vehicle: Vehicle | None, visits: dict[VisitKey, _Visit], outcome: BatchOutcome
    ) -> None:
        """Decide whether a row is new, already known, or contradicts what is there."""
        style = vehicle.body_style if vehicle else ""
        if style and not row.body_style and row.zone.styles and style not in row.zone.styles:
            sentence = say_zone_not_on_body(row.zone, style)
            self._reject(outcome, row, FaultCode.ZONE_NOT_ON_BODY, "zone", row.zone.name, sentence)
            return
        visit = visits.setdefault((row.day, row.kind), _Visit(None))
        if not visit.on_record and visit.first_row is None:
            visit.first_row = row
        disagreement = self._find_disagreement(row, visit)
        if disagreement:
            self._reject(outcome, row, FaultCode.VISIT_DISAGREES, *disagreement)
            return
        key = _key_line(row.zone.key, row.product.key if row.product else None, row.lot)
        quantity_ml = row.quantity.millilitres.quantize(Decimal("0.0001")) if row.quantity else None
        if key not in visit.lines:
            visit.lines[key] = (quantity_ml, row.number)
            visit.new_rows.append(row)
            outcome.accepted += 1
            outcome.notes += [(row.number, note) for note in row.notes]
            return
        known_ml, known_row = visit.lines[key]
        if known_ml == quantity_ml:
            outcome.known += 1
            if known_row is not None:
                note = Note(NoteCode.REPEATED, "", "", f"Repeats row {known_row}; counted as already known.")
                outcome.notes.append((row.number, note))
            return
        where = f"Row {known_row}" if known_row is not None else "The record"
        shown = f"{row.quantity.amount} {say(row.quantity.unit)}" if row.quantity else "nothing"
        sentence = (
            f"{where} has this zone, product and lot on that visit with {known_ml or 0:.0f} ml. If it was a second "
            "coat, add the two up in one row; if it is a correction, amend the treatment."
        )
        self._reject(outcome, row, FaultCode.LINE_DISAGREES, "quantity", shown, sentence)

    def _find_disagreement(self, row: LogRow, visit: _Visit) -> tuple[str, str, str] | None:
        """Return column, value and sentence where the row's visit is told of otherwise elsewhere."""
        theirs: Decimal | None
        if visit.first_row is not None:
            first = visit.first_row
            if first is row:
                return None
            if not _is_same_person(first.customer, first.contact, row.customer, row.contact):
                return (
                    "customer",
                    row.customer,
                    f"Row {first.number} of the same visit says {first.customer}: correct one of them.",
                )
            theirs = first.odometer.kilometres if first.odometer else None
            where = f"Row {first.number} of the same visit"
        else:
            assert visit.on_record is not None
            theirs = visit.on_record.reading.kilometres if visit.on_record.reading else None
            where = "The record of this visit"
        if row.odometer is None or theirs is None:
            return None
        if abs(row.odometer.kilometres - theirs) < Decimal("0.001"):
            return None
        shown = f"{row.odometer.amount} {row.odometer.unit}"
        return "odometer", shown, f"{where} says {theirs:.0f} km: correct one of them."

    def _reject(
        self, outcome: BatchOutcome, row: LogRow, code: FaultCode, column: str, value: str, sentence: str
    ) -> None:
        outcome.rejects.append((row.number, Fault(code, self.columns.name(column), value, sentence)))

    def _note(self, outcome: BatchOutcome, row: LogRow, code: NoteCode, column: str, value: str, sentence: str) -> None:
        outcome.notes.append((row.number, Note(code, self.columns.name(column), value, sentence)))

    def _record(
        self,
        wanted: list[tuple[str, list[LogRow], list[_Visit]]],
        records: _Records,
        outcome: BatchOutcome,
    ) -> None:
        happenings: list[Happening] = []
        happenings += self._record_vehicles(wanted, records, outcome)
        self._record_owners(wanted, records, outcome)
        readings = self._record_readings(wanted, records, outcome)
        lots = self._record_lots(wanted, outcome)
        treatments: list[tuple[Treatment, Treatment | None, list[LogRow]]] = []
        for vin, _, visits in wanted:
            vehicle = records.vehicles[vin]
            self._note_order_of_visits(records.visits[vin], visits, outcome)
            for visit in visits:
                treatments.append((self._make_treatment(vehicle, visit, readings), visit.on_record, visit.new_rows))
        Treatment.objects.bulk_create([treatment for treatment, _, _ in treatments])
        copied = defaultdict(list)
        old_keys = [old.pk for _, old, _ in treatments if old]
        for line in TreatmentLine.objects.filter(treatment__in=old_keys).order_by("pk"):
            copied[line.treatment_id].append(line)
        lines: list[TreatmentLine] = []
        for treatment, old, rows in treatments:
            kept = copied[old.pk] if old else []
            for line in kept:
                line.pk = None
                line._state.adding = True
                line.treatment = treatment
            added = [self._make_line(treatment, row, lots) for row in rows]
            lines += [*kept, *added]
            happenings.append(tell_of_treatment(treatment, len(kept) + len(added)))
            outcome.treatments_amended += old is not None
            outcome.treatments_added += old is None
        TreatmentLine.objects.bulk_create(lines, batch_size=2000)
        record_events(happenings, actor=self.actor, now=self.now)

    def _record_vehicles(
        self,
        wanted: list[tuple[str, list[LogRow], list[_Visit]]],
        records: _Records,
        outcome: BatchOutcome,
    ) -> list[Happening]:
        new = []
        for vin, rows, _ in wanted:
            known = records.vehicles.get(vin)
            latest = rows[-1]
            if known is None:
                years = read_model_year(vin).years if latest.vin_mark is VinMark.STANDARD else ()
                new.append(
                    Vehicle(
                        vin=vin,
                        vin_mark=latest.vin_mark,
                        plate=_last_given(row.plate for row in rows),
                        description=_last_given(row.vehicle for row in rows),
                        body_style=_last_given(row.body_style for row in rows),
                        model_year=years[0] if len(years) == 1 else None,
                        created_at=self.now,
                    )
                )
                continue
            found = {
                "plate": _last_given(row.plate for row in rows),
                "description": _last_given(row.vehicle for row in rows),
                "body_style": _last_given(row.body_style for row in rows),
            }
            filled = {name: text for name, text in found.items() if text and not getattr(known, name)}
            if filled:
                for name, text in filled.items():
                    setattr(known, name, text)
                known.save(update_fields=list(filled))
        Vehicle.objects.bulk_create(new)
        records.vehicles.update({vehicle.vin: vehicle for vehicle in new})
        outcome.vehicles_added += len(new)
        return [
            Happening("vehicle.added", "vehicle", str(v.pk), after=describe(v, "vin", "plate", "description"))
            for v in new
        ]

    def _record_owners(
        self,
        wanted: list[tuple[str, list[LogRow], list[_Visit]]],
        records: _Records,
        outcome: BatchOutcome,
    ) -> None:
        customers = self._find_customers([row for _, rows, _ in wanted for row in rows])
        created: list[Ownership] = []
        changed: list[Ownership] = []
        for vin, rows, _ in wanted:
            owned = records.ownerships[vin]
            for row in rows:
                customer = customers[make_match_key(row.customer, row.contact)]
                self._place_owner(records.vehicles[vin], customer, row, owned, outcome)
            created += [o for o in owned if o.pk is None]
            changed += [o for o in owned if o.pk is not None]
        # The open ownership is closed before its successor is written, since only one may be open.
        Ownership.objects.bulk_update(changed, ["from_day", "until_day", "customer"])
        Ownership.objects.bulk_create(created)

    def _find_customers(self, rows: list[LogRow]) -> dict[str, Customer]:
        by_key = {make_match_key(row.customer, row.contact): row for row in rows}
        customers = {c.match_key: c for c in Customer.objects.filter(match_key__in=by_key)}
        new = [
            make_customer(
                name=row.customer, contact=row.contact, now=self.now, email=_email(row.email), phone=row.phone
            )
            for key, row in by_key.items()
            if key not in customers
        ]
        Customer.objects.bulk_create(new)
        return customers | {customer.match_key: customer for customer in new}

    def _place_owner(
        self,
        vehicle: Vehicle,
        customer: Customer,
        row: LogRow,
        owned: list[Ownership],
        outcome: BatchOutcome,
    ) -> None:
        """Fit what one visit says about the owner into the owners known so far, oldest first."""
        day = row.day
        at_day = [o for o in owned if o.from_day <= day and (o.until_day is None or day < o.until_day)]
        if not owned:
            owned.append(Ownership(vehicle=vehicle, customer=customer, from_day=day, told_on=day, recorded_at=self.now))
        elif not at_day:
            first = owned[0]
            if _is_same_customer(first.customer, customer):
                first.from_day = min(first.from_day, day)
            else:
                before = Ownership(
                    vehicle=vehicle,
                    customer=customer,
                    from_day=day,
                    until_day=first.from_day,
                    told_on=day,
                    recorded_at=self.now,
                )
                owned.insert(0, before)
        elif _is_same_customer(at_day[0].customer, customer):
            if at_day[0].until_day is None and at_day[0].customer.match_key != customer.match_key:
                at_day[0].customer = customer  # the same person with a newer contact or spelling
        elif at_day[0].until_day is None and at_day[0].from_day < day:
            at_day[0].until_day = day
            owned.append(Ownership(vehicle=vehicle, customer=customer, from_day=day, told_on=day, recorded_at=self.now))
            sentence = f"Owner changed from {at_day[0].customer.name} to {customer.name} on {day}."
            self._note(outcome, row, NoteCode.OWNER_CHANGED, "customer", row.customer, sentence)
        else:
            sentence = f"On record the owner that day is {at_day[0].customer.name}; not changed."
            self._note(outcome, row, NoteCode.OWNER_NOT_CHANGED, "customer", row.customer, sentence)

    def _record_readings(
        self,
        wanted: list[tuple[str, list[LogRow], list[_Visit]]],
        records: _Records,
        outcome: BatchOutcome,
    ) -> dict[tuple[int, date, Decimal], OdometerReading]:
        new: dict[tuple[int, date, Decimal], OdometerReading] = {}
        found: dict[tuple[int, date, Decimal], OdometerReading] = {}
        for vin, rows, _ in wanted:
            vehicle = records.vehicles[vin]
            known = records.readings[vin]
            found |= {(vehicle.pk, r.day, r.kilometres): r for r in known}
            first_rows: dict[str, LogRow] = {}
            for row in rows:
                if row.odometer is None:
                    continue
                kilometres = row.odometer.kilometres.quantize(Decimal("0.000001"))
                key = vehicle.pk, row.day, kilometres
                if key not in found:
                    found[key] = new[key] = OdometerReading(
                        vehicle=vehicle,
                        day=row.day,
                        amount=row.odometer.amount,
                        unit=row.odometer.unit,
                        kilometres=kilometres,
                        source=self.source[:120],
                        recorded_at=self.now,
                    )
                    first_rows[f"row {row.number}"] = row
            readings = [Reading(r.day, r.kilometres, f"reading {r.pk}") for r in known]
            readings += [Reading(r.day, _kilometres(r), name) for name, r in first_rows.items()]
            for backwards in flag_backwards(readings):
                flagged = first_rows.get(backwards.reading.record)
                if flagged is not None and flagged.odometer is not None:
                    shown = f"{flagged.odometer.amount} {flagged.odometer.unit}"
                    sentence = f"{backwards.sentence} Kept and flagged."
                    self._note(outcome, flagged, NoteCode.ODOMETER_BACKWARDS, "odometer", shown, sentence)
        OdometerReading.objects.bulk_create(new.values())
        return found

    def _record_lots(
        self, wanted: list[tuple[str, list[LogRow], list[_Visit]]], outcome: BatchOutcome
    ) -> dict[tuple[int, str], Lot]:
        rows = [row for _, rows, _ in wanted for row in rows if row.lot and row.product]
        products = {row.product.key for row in rows if row.product}
        lots = {(lot.product_id, lot.number.casefold()): lot for lot in Lot.objects.filter(product__in=products)}
        new: dict[tuple[int, str], Lot] = {}
        for row in rows:
            assert row.product is not None
            key = row.product.key, row.lot.casefold()
            lot = lots.get(key)
            if lot is None:
                if key not in new:
                    new[key] = Lot(product_id=row.product.key, number=row.lot)
                if key not in self._lots_noted:
                    self._lots_noted.add(key)
                    sentence = f"Lot {row.lot} of {row.product.name} was not in stock; added without an expiry."
                    self._note(outcome, row, NoteCode.LOT_NOT_IN_STOCK, "lot", row.lot, sentence)
                continue
            if lot.expires_on and lot.expires_on < row.day:
                sentence = f"The lot had expired on {lot.expires_on} when it was applied on {row.day}."
                self._note(outcome, row, NoteCode.LOT_EXPIRED, "lot", row.lot, sentence)
            if lot.recalled_on:
                sentence = f"The lot was recalled on {lot.recalled_on}: {lot.recall_reason}."
                self._note(outcome, row, NoteCode.LOT_RECALLED, "lot", row.lot, sentence)
        Lot.objects.bulk_create(new.values())
        return lots | new

    def _note_order_of_visits(
        self, all_visits: dict[VisitKey, _Visit], new: list[_Visit], outcome: BatchOutcome
    ) -> None:
        firsts = sorted(day for day, kind in all_visits if kind is TreatmentKind.FIRST_TREATMENT)
        for visit in new:
            row = visit.new_rows[0]
            if visit.on_record is not None:
                continue
            if row.kind is TreatmentKind.FIRST_TREATMENT:
                if row.day != firsts[0]:
                    sentence = f"Another first treatment is dated {firsts[0]}; cover is counted from that."
                    self._note(outcome, row, NoteCode.SECOND_FIRST_TREATMENT, "kind", say(row.kind), sentence)
            elif not firsts or row.day < firsts[0]:
                sentence = "No first treatment is on record before this visit, so no cover is counted from it."
                self._note(outcome, row, NoteCode.NO_FIRST_TREATMENT, "kind", say(row.kind), sentence)

    def _make_treatment(
        self,
        vehicle: Vehicle,
        visit: _Visit,
        readings: dict[tuple[int, date, Decimal], OdometerReading],
    ) -> Treatment:
        if visit.on_record is not None:
            rows = ", ".join(str(row.number) for row in visit.new_rows[:20])
            reason = f"Lines added from the log {self.source}, rows {rows}"[:300]
            return make_amendment(visit.on_record, reason=reason, now=self.now, actor=self.actor)
        row = visit.new_rows[0]
        odometer = next((r.odometer for r in visit.new_rows if r.odometer), None)
        reading = readings[vehicle.pk, row.day, odometer.kilometres.quantize(Decimal("0.000001"))] if odometer else None
        return Treatment(
            vehicle=vehicle,
            site=self.site,
            done_on=row.day,
            kind=row.kind,
            reading=reading,
            source=self.source,
            recorded_at=self.now,
            signed_off_at=self.now,
            signed_off_by=self.actor,
        )

    def _make_line(self, treatment: Treatment, row: LogRow, lots: dict[tuple[int, str], Lot]) -> TreatmentLine:
        quantity = row.quantity
        product = row.product
        return TreatmentLine(
            treatment=treatment,
            zone_id=row.zone.key,
            product_id=product.key if product else None,
            lot=lots[product.key, row.lot.casefold()] if product and row.lot else None,
            quantity_amount=quantity.amount if quantity else None,
            quantity_unit=quantity.unit if quantity else "",
            quantity_ml=quantity.millilitres.quantize(Decimal("0.0001")) if quantity else None,
            not_done_reason=row.not_done_reason,
        )


def _kilometres(row: LogRow) -> Decimal:
    """Return the row's odometer in kilometres; only called for rows that have one."""
    assert row.odometer is not None
    return row.odometer.kilometres


def _by_day(row: LogRow) -> tuple[date, int]:
    return row.day, row.number


def _last_given(texts: Iterable[str]) -> str:
    given = [text for text in texts if text]
    return given[-1] if given else ""


def _email(text: str) -> str:
    return text if "@" in text else ""


def _is_same_person(name: str, contact: str, other_name: str, other_contact: str) -> bool:
    same_name = name.casefold() == other_name.casefold()
    return same_name or (contact != "" and contact.casefold() == other_contact.casefold())


def _is_same_customer(one: Customer, other: Customer) -> bool:
    return one.match_key == other.match_key or _is_same_person(one.name, one.contact, other.name, other.contact)
