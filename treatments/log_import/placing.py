"""Decides of each row whether it is new, already known, or contradicts what the record or an earlier row says. Adds
the new vehicles of a batch, fills what is not known of the old ones, and says where a log differs.
"""

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from decimal import Decimal

from treatments.enums import FactKind, FactSource, Propulsion, label_in_english
from treatments.event_log import Happening, describe
from treatments.explanations import MESSAGES
from treatments.log_import.records import (
    KnownLine,
    Records,
    Visit,
    VisitKey,
    VisitStatement,
    Wanted,
    key_line,
    plain_contact,
)
from treatments.log_import.report import BatchOutcome
from treatments.log_import.rules.columns import squeeze
from treatments.log_import.rules.faults import Fault, FaultCode, NoteCode
from treatments.log_import.rules.material import describe_zone_not_on_body
from treatments.log_import.rules.row import LogRow
from treatments.models import User, Vehicle, VehicleFact
from treatments.rules.explanation import render_in_english
from treatments.vehicles.facts import make_fact_event
from treatments.vehicles.rules.coatable import explain_why_out, find_propulsion, list_standing
from treatments.vehicles.rules.vin import VinMark, doubt_model_year_of_vin, render_model_year


def record_vehicles(
    wanted: Wanted, records: Records, outcome: BatchOutcome, now: datetime, actor: User | None
) -> list[Happening]:
    """Write the vehicles; return the events of the new ones.

    Args:
        wanted: each vehicle with its new rows by day.
        records: what is on record; the new vehicles are added to it.
        outcome: where they are counted.
        now: the moment of recording.
        actor: who imports.
    """
    new = []
    for vin, rows, _ in wanted:
        known = records.vehicles.get(vin)
        vehicle = known or Vehicle(vin=vin, vin_mark=rows[-1].vin_mark, created_at=now)
        filled = _fill(vehicle, rows)
        if known is None:
            new.append(vehicle)
        elif filled:
            known.save(update_fields=filled)
    Vehicle.objects.bulk_create(new)
    records.vehicles.update({vehicle.vin: vehicle for vehicle in new})
    outcome.vehicles_added += len(new)
    added = [Happening("vehicle.added", "vehicle", str(v.pk), after=describe(v, "vin")) for v in new]
    return added + _record_propulsions(wanted, records, now, actor)


def _record_propulsions(wanted: Wanted, records: Records, now: datetime, actor: User | None) -> list[Happening]:
    """Put what drives a vehicle on record where no fact says so yet, from the day of its first row on."""
    facts = []
    for vin, rows, _ in wanted:
        told = next((row.propulsion for row in rows if row.propulsion), "")
        if not told or any(fact.propulsion for fact in records.facts.get(vin, ())):
            continue
        facts.append(
            VehicleFact(
                vehicle=records.vehicles[vin],
                kind=FactKind.PROPULSION,
                propulsion=told,
                day=rows[0].day,
                source=FactSource.SHOP_LOG,
                recorded_at=now,
                recorded_by=actor,
            )
        )
    VehicleFact.objects.bulk_create(facts)
    return [make_fact_event(fact) for fact in facts]


def _fill(vehicle: Vehicle, rows: list[LogRow]) -> list[str]:
    """Fill what is empty: the last plate and description, the first body style; return the names of the fields."""
    found = {
        "plate": _last_given(row.plate for row in rows),
        "description": _last_given(row.vehicle for row in rows),
        # The body style by which the zones of these rows were judged.
        "body_style": next((row.body_style for row in rows if row.body_style), ""),
    }
    filled = [name for name, text in found.items() if text and not getattr(vehicle, name)]
    for name in filled:
        setattr(vehicle, name, found[name])
    if vehicle.model_year is None and vehicle.vin_mark == VinMark.STANDARD:
        vehicle.model_year = render_model_year(vehicle.vin, vehicle.body_style, rows[0].day)
        filled += ["model_year"] if vehicle.model_year is not None else []
    return filled


def _last_given(texts: Iterable[str]) -> str:
    given = [text for text in texts if text]
    return given[-1] if given else ""


def note_differences(vehicle: Vehicle, rows: list[LogRow], outcome: BatchOutcome) -> None:
    """Note once for each value where a log says something else of the vehicle than now stands on record."""
    noted: set[tuple[str, str]] = set()
    if vehicle.vin_mark == VinMark.STANDARD:
        first = min(rows, key=lambda row: row.day)
        day = vehicle.in_service_on or first.day
        is_latest = vehicle.in_service_on is None
        if doubt := doubt_model_year_of_vin(vehicle.vin, vehicle.body_style, day, was_in_service=is_latest):
            outcome.note(first, NoteCode.VIN_MODEL_YEAR, "vin", vehicle.vin, render_in_english([doubt], MESSAGES))
    for row in rows:
        for name, ours, theirs in (
            ("plate", row.plate, vehicle.plate),
            ("vehicle", row.vehicle, vehicle.description),
            ("body_style", label_in_english(row.body_style), label_in_english(vehicle.body_style)),
        ):
            key = name, squeeze(ours)
            if not ours or squeeze(ours) == squeeze(theirs) or key in noted:
                continue
            noted.add(key)
            sentence = f"On record the vehicle has {theirs}; not changed. Correct the record if the log is right."
            outcome.note(row, NoteCode.VEHICLE_DIFFERS, name, ours, sentence)


FindExpected = Callable[[int, str, int], Decimal | None]
# Beyond this the amount or its unit is probably wrong; less than that may be a thick or a thin coat. Our own choice.
FAR_OFF = 10
# Two readings nearer than this are one, entered in km and in miles.
SAME_KILOMETRES = Decimal("0.001")


class Placer:
    """Places the rows of one vehicle, in the order of their days.

    Attributes:
        placed: the rows that were accepted or are already known.
    """

    def __init__(
        self, vin: str, rows: list[LogRow], records: Records, outcome: BatchOutcome, find_expected: FindExpected
    ) -> None:
        vehicle = records.vehicles.get(vin)
        self._visits: dict[VisitKey, Visit] = records.visits[vin]
        self._outcome = outcome
        self._find_expected = find_expected
        self.placed: list[LogRow] = []
        # A vehicle has one body style for life: the one on record, else the first that the log gives.
        self._style, self._style_from = _find_style(vehicle, rows)
        self._facts = records.facts.get(vin, ())
        self._propulsion_told = next((row.propulsion for row in rows if row.propulsion), "")

    def place(self, row: LogRow) -> None:
        """Accept the row, count it as known, or reject it with everything that it contradicts."""
        visit = self._visits.get((row.day, row.kind)) or Visit(None)
        key = key_line(row.zone.key, row.product.key if row.product else None, row.lot)
        known = visit.lines.get(key)
        faults = [*self._find_open_draft(row, visit), *self._find_disagreements(row, visit)]
        if known is not None:
            faults += self._find_line_fault(row, known)
        else:
            faults += self._find_zone_faults(row, visit)
        if faults:
            self._outcome.reject(row, faults)
            return
        self.placed.append(row)
        for name, told in _tell(row):
            visit.statements.setdefault(name, told)
        if known is not None:
            self._outcome.known += 1
            if known.row is not None:
                sentence = f"Repeats row {known.row}; counted as already known."
                self._outcome.note(row, NoteCode.REPEATED, "", "", sentence)
            return
        visit.lines[key] = line = _describe(row)
        visit.zones.setdefault(row.zone.key, line)
        visit.new_rows.append(row)
        self._visits[row.day, row.kind] = visit  # only now: a visit all of whose rows are rejected never was
        self._outcome.accepted += 1
        self._outcome.notes += [(row.number, note) for note in row.notes]
        self._note_far_off(row)

    def _find_open_draft(self, row: LogRow, visit: Visit) -> Iterator[Fault]:
        """Yield why nothing is added to a visit that stands as a draft: that would sign it off unseen."""
        draft = visit.on_record
        if draft is not None and draft.signed_off_at is None:
            sentence = (
                f"This visit stands as a draft, treatment {draft.pk}: sign it off or discard it, then import this row "
                "again."
            )
            yield self._outcome.describe(FaultCode.VISIT_DISAGREES, "kind", label_in_english(row.kind), sentence)

    def _find_disagreements(self, row: LogRow, visit: Visit) -> Iterator[Fault]:
        """Yield what the row says of its visit otherwise than an earlier row or the record."""
        for name, ours in _tell(row):
            theirs = visit.statements.get(name)
            if theirs is None or _is_same(ours, theirs):
                continue
            sentence = _describe_both(row, theirs.row, f"says {theirs.words}", f"says {ours.words}")
            yield self._outcome.describe(FaultCode.VISIT_DISAGREES, name, ours.words, sentence)

    def _find_zone_faults(self, row: LogRow, visit: Visit) -> Iterator[Fault]:
        """Yield why a new line can't be: no such zone on this vehicle, or done and not done in one visit."""
        if self._style and row.zone.styles and self._style not in row.zone.styles:
            sentence = f"{self._style_from} {describe_zone_not_on_body(row.zone, self._style)}"
            yield self._outcome.describe(FaultCode.ZONE_NOT_ON_BODY, "zone", row.zone.name, sentence)
        if row.product is not None and (why := self._find_why_out(row)):
            sentence = f"{row.zone.name} is not coated on this vehicle: {why}. Correct the row, or the vehicle's facts."
            yield self._outcome.describe(FaultCode.ZONE_OUT_OF_THE_WORK, "zone", row.zone.name, sentence)
        other, ours = visit.zones.get(row.zone.key), _describe(row)
        if other is not None and bool(other.not_done_reason) != bool(ours.not_done_reason):
            name = row.zone.name
            sentence = _describe_both(row, other.row, f"has {name} {_name_line(other)}", f"has it {_name_line(ours)}")
            yield self._outcome.describe(FaultCode.VISIT_DISAGREES, "zone", name, sentence)

    def _find_why_out(self, row: LogRow) -> str:
        """Return why nothing can have been put on the zone, '' where it may have been.

        An unknown propulsion refuses nothing here: the log tells of work that is done.
        """
        for fact in list_standing(self._facts, row.day):
            if fact.propulsion is None and row.zone.code in fact.zones:
                return render_in_english((explain_why_out(fact),), MESSAGES)
        on_record = find_propulsion(self._facts, row.day)
        propulsion = self._propulsion_told if on_record is Propulsion.UNKNOWN else on_record
        return f"propulsion {label_in_english(propulsion)}" if propulsion in row.zone.withheld_on else ""

    def _find_line_fault(self, row: LogRow, known: KnownLine) -> Iterator[Fault]:
        """Yield where the same zone, product and lot is told of otherwise."""
        ours = _describe(row)
        if squeeze(known.not_done_reason) != squeeze(ours.not_done_reason):
            sentence = _describe_both(row, known.row, f"has the zone {_name_line(known)}", f"has it {_name_line(ours)}")
            yield self._outcome.describe(FaultCode.LINE_DISAGREES, "not_done", ours.not_done_reason, sentence)
        elif known.quantity_ml != ours.quantity_ml:
            where = f"Row {known.row}" if known.row is not None else "The record"
            shown = f"{row.quantity.amount} {label_in_english(row.quantity.unit)}" if row.quantity else "nothing"
            told = "no quantity of its own" if known.quantity_ml is None else f"{known.quantity_ml:.0f} ml"
            sentence = (
                f"{where} has this zone, product and lot on that visit with {told}. If it "
                "was a second coat, add the two up in one row; if it is a correction, amend the treatment."
            )
            yield self._outcome.describe(FaultCode.LINE_DISAGREES, "quantity", shown, sentence)

    def _note_far_off(self, row: LogRow) -> None:
        style = self._style or row.body_style
        if row.product is None or row.quantity is None or not style:
            return
        expected = self._find_expected(row.zone.key, style, row.product.key)
        if expected is None:
            return
        applied = row.quantity.millilitres
        if expected / FAR_OFF <= applied <= expected * FAR_OFF:
            return
        far = f"more than {FAR_OFF} times" if applied > expected else "less than a tenth of"
        sentence = (
            f"{applied:.0f} ml is {far} the {expected:.0f} ml expected of {row.product.name} on this zone; compare "
            "quantity and unit with the job sheet."
        )
        shown = f"{row.quantity.amount} {label_in_english(row.quantity.unit)}"
        self._outcome.note(row, NoteCode.QUANTITY_FAR_OFF, "quantity", shown, sentence)


def _find_style(vehicle: Vehicle | None, rows: Iterable[LogRow]) -> tuple[str, str]:
    """Return the body style that stands, and a sentence that says where from."""
    if vehicle and vehicle.body_style:
        return vehicle.body_style, f"On record this is a {label_in_english(vehicle.body_style)}."
    first = next((row for row in rows if row.body_style), None)
    if first is None:
        return "", ""
    return first.body_style, f"Row {first.number} says that this is a {label_in_english(first.body_style)}."


def _tell(row: LogRow) -> Iterator[tuple[str, VisitStatement]]:
    """Yield what a row says of its whole visit."""
    texts = {
        "customer": (row.customer, row.customer.casefold()),
        "contact": (row.contact, plain_contact(row.contact)),
        "language": (row.language, row.language),
        "body_style": (label_in_english(row.body_style), row.body_style),
        "propulsion": (label_in_english(row.propulsion), row.propulsion),
        "plate": (row.plate, squeeze(row.plate)),
        "vehicle": (row.vehicle, squeeze(row.vehicle)),
    }
    for name, (words, compared) in texts.items():
        if compared:
            yield name, VisitStatement(words, compared, row.number)
    if row.odometer is not None:
        words = f"{row.odometer.amount} {row.odometer.unit}"
        yield "odometer", VisitStatement(words, row.odometer.kilometres, row.number)


def _is_same(one: VisitStatement, other: VisitStatement) -> bool:
    if isinstance(one.compared, Decimal) and isinstance(other.compared, Decimal):
        return abs(one.compared - other.compared) < SAME_KILOMETRES
    return one.compared == other.compared


def _describe(row: LogRow) -> KnownLine:
    quantity_ml = row.quantity.millilitres.quantize(Decimal("0.0001")) if row.quantity else None
    return KnownLine(quantity_ml, row.not_done_reason, row.number)


def _name_line(line: KnownLine) -> str:
    return f"not done ({line.not_done_reason})" if line.not_done_reason else "done"


def _describe_both(row: LogRow, other: int | None, theirs: str, ours: str) -> str:
    if other is None:
        return (
            f"The record of this visit {theirs}, row {row.number} {ours}: correct the row; if the record is wrong, "
            "amend the treatment there."
        )
    return (
        f"Rows {other} and {row.number} are one visit; row {other} {theirs}, row {row.number} {ours}: correct this "
        f"row. If row {other} is the wrong one, amend what it put on record."
    )
