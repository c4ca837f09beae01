"""Records a batch of vehicles from a log in one transaction, each vehicle whole, in a constant number of queries.

Which rows are new is decided in placing.py; vehicles and owners are written by modules of their own.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from treatments.enums import TreatmentKind, label_in_english
from treatments.event_log import Happening, record_events
from treatments.explanations import MESSAGES
from treatments.log_import.placing import FindExpected, Placer, note_differences, record_vehicles
from treatments.log_import.records import OwnerWriter, Records, Visit, VisitKey, Wanted, load_records
from treatments.log_import.report import BatchOutcome
from treatments.log_import.rules.columns import LogColumns
from treatments.log_import.rules.faults import NoteCode
from treatments.log_import.rules.row import LogRow
from treatments.log_import.staging import insert_lines
from treatments.models import Lot, MaterialTotal, OdometerReading, Site, Treatment, TreatmentLine, User, Vehicle
from treatments.records.rules.odometer import Reading, flag_backwards
from treatments.records.services import describe_treatment_event, make_amendment
from treatments.rules.explanation import render_in_english

# As many rows as fit into the sentence that says why a treatment was amended.
MOST_ROWS_NAMED = 20


class BatchWriter:
    """Records batches of vehicles; one for a whole import, so that a new lot is noted once."""

    def __init__(
        self,
        *,
        site: Site,
        columns: LogColumns,
        source: str,
        now: datetime,
        actor: User | None,
        find_expected: FindExpected,
    ) -> None:
        self.site = site
        self.columns = columns
        self.source = source[:200]
        self.now = now
        self.actor = actor
        self.find_expected = find_expected
        self._lots_noted: set[tuple[int, str]] = set()

    def write(self, groups: Sequence[tuple[str, list[LogRow]]]) -> BatchOutcome:
        """Record the vehicles, in the caller's transaction."""
        outcome = BatchOutcome(self.columns)
        records = load_records([vin for vin, _ in groups])
        wanted: Wanted = []
        placed: dict[str, list[LogRow]] = {}
        for vin, rows in groups:
            placer = Placer(vin, rows, records, outcome, self.find_expected)
            for row in rows:
                placer.place(row)
            placed[vin] = placer.placed
            # A visit whose day an amendment moved stands under both days, but is one visit.
            one_each = {id(visit): visit for visit in records.visits[vin].values()}
            touched = [visit for visit in one_each.values() if visit.new_rows]
            if touched:
                wanted.append((vin, sorted((r for v in touched for r in v.new_rows), key=_by_day), touched))
        self._record(wanted, records, outcome)
        for vin, rows in placed.items():
            if rows:
                note_differences(records.vehicles[vin], rows, outcome)
        return outcome

    def _record(self, wanted: Wanted, records: Records, outcome: BatchOutcome) -> None:
        happenings: list[Happening] = []
        happenings += record_vehicles(wanted, records, outcome, self.now, self.actor)
        OwnerWriter(records, outcome, self.now).write(wanted)
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
            happenings.append(describe_treatment_event(treatment, len(kept) + len(added)))
            outcome.treatments_amended += old is not None
            outcome.treatments_added += old is None
        insert_lines(lines)
        newer = {old.pk: treatment for treatment, old, _ in treatments if old}
        totals = list(MaterialTotal.objects.filter(treatment__in=old_keys).order_by("pk")) if old_keys else []
        for total in totals:
            total.pk = None
            total._state.adding = True
            total.treatment = newer[total.treatment_id]
        MaterialTotal.objects.bulk_create(totals)
        happenings += self._warn_of_other_readings(readings, [treatment for treatment, _, _ in treatments])
        record_events(happenings, actor=self.actor, now=self.now)

    def _record_readings(
        self,
        wanted: Wanted,
        records: Records,
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
                    told = render_in_english([backwards.explanation], MESSAGES)
                    sentence = f"{told} Kept and flagged."
                    outcome.note(flagged, NoteCode.ODOMETER_BACKWARDS, "odometer", shown, sentence)
        OdometerReading.objects.bulk_create(new.values())
        return found

    def _warn_of_other_readings(
        self,
        readings: dict[tuple[int, date, Decimal], OdometerReading],
        treatments: Sequence[Treatment],
    ) -> list[Happening]:
        """Return the events for readings that stand beside that of their visit, where its rows say several."""
        given = {treatment.reading_id for treatment in treatments}
        others: dict[int, list[int]] = defaultdict(list)
        for reading in readings.values():
            if reading.pk not in given and reading.recorded_at == self.now and reading.source == self.source[:120]:
                others[reading.vehicle_id].append(reading.pk)
        return [
            Happening("vehicle.readings_imported", "vehicle", str(vehicle), after={"readings": keys})
            for vehicle, keys in others.items()
        ]

    def _record_lots(self, wanted: Wanted, outcome: BatchOutcome) -> dict[tuple[int, str], Lot]:
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
                    outcome.note(row, NoteCode.LOT_NOT_IN_STOCK, "lot", row.lot, sentence)
                continue
            if lot.expires_on and lot.expires_on < row.day:
                sentence = f"The lot had expired on {lot.expires_on} when it was applied on {row.day}."
                outcome.note(row, NoteCode.LOT_EXPIRED, "lot", row.lot, sentence)
            if lot.recalled_on:
                sentence = f"The lot was recalled on {lot.recalled_on}: {lot.recall_reason}."
                outcome.note(row, NoteCode.LOT_RECALLED, "lot", row.lot, sentence)
        Lot.objects.bulk_create(new.values())
        return lots | new

    def _note_order_of_visits(self, all_visits: dict[VisitKey, Visit], new: list[Visit], outcome: BatchOutcome) -> None:
        firsts = sorted(day for day, kind in all_visits if kind is TreatmentKind.FIRST_TREATMENT)
        for visit in new:
            row = visit.new_rows[0]
            if visit.on_record is not None:
                continue
            if row.kind is TreatmentKind.FIRST_TREATMENT:
                if row.day != firsts[0]:
                    sentence = f"Another first treatment is dated {firsts[0]}; cover is counted from that."
                    outcome.note(row, NoteCode.SECOND_FIRST_TREATMENT, "kind", label_in_english(row.kind), sentence)
            elif not firsts or row.day < firsts[0]:
                sentence = "No first treatment is on record before this visit, so no cover is counted from it."
                outcome.note(row, NoteCode.NO_FIRST_TREATMENT, "kind", label_in_english(row.kind), sentence)
            other = _find_other_kind(visit, all_visits)
            if other:
                sentence = f"{other} of the same day; both are kept. If it was one visit, give its rows one kind."
                outcome.note(row, NoteCode.TWO_KINDS_ON_ONE_DAY, "kind", label_in_english(row.kind), sentence)

    def _make_treatment(
        self,
        vehicle: Vehicle,
        visit: Visit,
        readings: dict[tuple[int, date, Decimal], OdometerReading],
    ) -> Treatment:
        if visit.on_record is not None:
            reason = f"Lines added from the log {self.source}, {_name_rows(visit.new_rows)}"[:300]
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


def _find_other_kind(visit: Visit, all_visits: dict[VisitKey, Visit]) -> str:
    """Return what there is of another kind on the day of a new visit, on record or in an earlier row."""
    row = visit.new_rows[0]
    for (day, kind), other in all_visits.items():
        if kind is row.kind:
            continue
        if other.on_record is not None:
            if other.on_record.done_on == row.day:
                return f"The record has a visit of another kind ({label_in_english(kind)})"
        elif day == row.day and other.new_rows[0].number < row.number:
            return f"Row {other.new_rows[0].number} tells of a visit of another kind ({label_in_english(kind)})"
    return ""


def _kilometres(row: LogRow) -> Decimal:
    """Return the row's odometer in kilometres; only called for rows that have one."""
    assert row.odometer is not None
    return row.odometer.kilometres


def _name_rows(rows: Sequence[LogRow]) -> str:
    """Return "row 2", "rows 2, 5" or the first of many and how many more there are."""
    listed = ", ".join(str(row.number) for row in rows[:MOST_ROWS_NAMED])
    more = len(rows) - MOST_ROWS_NAMED
    return f"row{'s' if len(rows) > 1 else ''} {listed}" + (f" and {more} more" if more > 0 else "")


def _by_day(row: LogRow) -> tuple[date, int]:
    return row.day, row.number
