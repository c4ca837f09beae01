"""Reads one row of a treatment log into a visit's line, or says everything that is wrong with it and what to do.

Nothing is guessed: a row that could mean two things is rejected with both named.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from treatments.rules.log_columns import LogColumns, squeeze
from treatments.rules.log_dates import DateOrder, LogDateError, read_log_date
from treatments.rules.units import Distance, UnitsError, Volume, parse_distance, parse_volume
from treatments.rules.vin import VinMark, VinReport, check_vin, clean_vin
from treatments.rules.words import BodyStyle, TreatmentKind, ZoneKind, say


class FaultCode(StrEnum):
    """What can be wrong with a row; one count of each is printed."""

    CELLS = "cells"
    ENCODING = "encoding"
    FORMULA = "formula"
    MISSING = "missing"
    TOO_LONG = "too_long"
    VIN = "vin"
    VIN_CHECK_DIGIT = "vin_check_digit"
    DATE = "date"
    DATE_AMBIGUOUS = "date_ambiguous"
    DATE_IN_FUTURE = "date_in_future"
    DATE_TOO_OLD = "date_too_old"
    KIND = "kind"
    BODY_STYLE = "body_style"
    ODOMETER = "odometer"
    ZONE_UNKNOWN = "zone_unknown"
    ZONE_NOT_ON_BODY = "zone_not_on_body"
    NEVER_COATED = "never_coated"
    PRODUCT_UNKNOWN = "product_unknown"
    QUANTITY = "quantity"
    QUANTITY_ZERO = "quantity_zero"
    QUANTITY_TOO_LARGE = "quantity_too_large"
    VISIT_DISAGREES = "visit_disagrees"
    LINE_DISAGREES = "line_disagrees"


class NoteCode(StrEnum):
    """What is accepted but worth a look."""

    VIN_NOT_VERIFIED = "vin_not_verified"
    NO_CONTACT = "no_contact"
    NO_ODOMETER = "no_odometer"
    ODOMETER_BACKWARDS = "odometer_backwards"
    NO_LOT = "no_lot"
    LOT_NOT_IN_STOCK = "lot_not_in_stock"
    LOT_EXPIRED = "lot_expired"
    LOT_RECALLED = "lot_recalled"
    NO_FIRST_TREATMENT = "no_first_treatment"
    SECOND_FIRST_TREATMENT = "second_first_treatment"
    OWNER_CHANGED = "owner_changed"
    OWNER_NOT_CHANGED = "owner_not_changed"
    REPEATED = "repeated"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a row: the column, the value, and what to do."""

    code: FaultCode
    column: str
    value: str
    sentence: str
    corrections: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Note:
    """Something about an accepted row that is worth a look."""

    code: NoteCode
    column: str
    value: str
    sentence: str


@dataclass(frozen=True, slots=True)
class KnownZone:
    """A zone of the shop as the row reader needs it; ``styles`` are the body styles that have it."""

    key: int
    code: str
    name: str
    kind: ZoneKind
    styles: frozenset[str]


@dataclass(frozen=True, slots=True)
class KnownProduct:
    key: int
    name: str


@dataclass(frozen=True, slots=True)
class Shop:
    """What a row is read against. The two finders return the thing, or what to say where there is none."""

    today: date
    order: DateOrder | None
    find_zone: Callable[[str], KnownZone | str]
    find_product: Callable[[str], KnownProduct | str]


@dataclass(frozen=True, slots=True)
class LogRow:
    """One accepted row: a visit and the line that it holds."""

    number: int
    vin: str
    vin_mark: VinMark
    plate: str
    vehicle: str
    body_style: str
    customer: str
    contact: str
    email: str
    phone: str
    day: date
    kind: TreatmentKind
    odometer: Distance | None
    zone: KnownZone
    product: KnownProduct | None
    lot: str
    quantity: Volume | None
    not_done_reason: str
    notes: tuple[Note, ...] = ()


# One zone never takes more than this in one visit: a whole underside takes about half. Our own choice.
MOST_MILLILITRES_PER_LINE = Decimal(20_000)
# About fifty times round the earth; beyond it a digit was typed twice. Our own choice.
MOST_KILOMETRES = Decimal(2_000_000)
EARLIEST_DAY = date(1950, 1, 1)
LONGEST = {"customer": 200, "contact": 200, "email": 200, "phone": 40, "plate": 16, "vehicle": 200, "lot": 60}
LONGEST |= {"not_done": 200}

KINDS: Mapping[str, TreatmentKind] = {
    squeeze(words): kind
    for kind, many in {
        TreatmentKind.FIRST_TREATMENT: ("first treatment", "first", "initial", "initial treatment", "new"),
        TreatmentKind.ANNUAL_TOUCH_UP: ("annual touch-up", "touch-up", "annual", "yearly touch-up", "yearly"),
        TreatmentKind.AFTER_REPAIR: ("after repair", "repair", "after a repair"),
    }.items()
    for words in many
}
STYLES: Mapping[str, BodyStyle] = {
    squeeze(words): style
    for style, many in {
        BodyStyle.CAR: ("car", "sedan", "saloon", "coupe"),
        BodyStyle.HATCHBACK: ("hatchback", "hatch"),
        BodyStyle.SUV_OR_WAGON: ("suv or wagon", "suv", "wagon", "estate", "suv_or_wagon", "station wagon"),
        BodyStyle.PICKUP: ("pickup", "pick-up", "pickup truck", "truck"),
        BodyStyle.VAN: ("van", "minivan"),
    }.items()
    for words in many
}
MARKS: Mapping[str, VinMark] = {
    "": VinMark.STANDARD,
    "standard": VinMark.STANDARD,
    "vin": VinMark.STANDARD,
    squeeze(VinMark.BEFORE_1981.value): VinMark.BEFORE_1981,
    "before1981": VinMark.BEFORE_1981,
    squeeze(VinMark.NON_ROAD_SERIAL.value): VinMark.NON_ROAD_SERIAL,
    "nonroad": VinMark.NON_ROAD_SERIAL,
    "serial": VinMark.NON_ROAD_SERIAL,
}
NOTHING = frozenset({"", "-", "--", "—", "none", "n/a", "na", "nil"})
_NUMBER_OR_PHONE = re.compile(r"[+-]?[\d\s().,/-]+")


def is_formula(text: str) -> bool:
    """Say whether a spreadsheet would take the text for a formula; numbers and telephone numbers are not."""
    text = text.lstrip("'\t\r\n ")
    if text[:1] in ("=", "@"):
        return True
    return text[:1] in ("+", "-") and len(text) > 1 and not _NUMBER_OR_PHONE.fullmatch(text)


def make_harmless(text: str) -> str:
    """Return the text so that no spreadsheet takes it for a formula when the rejects file is opened."""
    return f"'{text}" if is_formula(text) and not text.startswith("'") else text


class _Cells:
    """The cells of one row by field, and the faults found so far."""

    def __init__(self, cells: tuple[str, ...], columns: LogColumns) -> None:
        self.cells = cells
        self.columns = columns
        self.faults: list[Fault] = []
        self.notes: list[Note] = []

    def get(self, field: str) -> str:
        place = self.columns.places.get(field)
        return self.cells[place].strip() if place is not None and place < len(self.cells) else ""

    def refuse(self, code: FaultCode, field: str, value: str, sentence: str, corrections: tuple[str, ...] = ()) -> None:
        self.faults.append(Fault(code, self.columns.name(field), value, sentence, corrections))

    def note(self, code: NoteCode, field: str, value: str, sentence: str) -> None:
        self.notes.append(Note(code, self.columns.name(field), value, sentence))

    def is_refused(self, field: str) -> bool:
        return any(fault.column == self.columns.name(field) for fault in self.faults)


def read_log_row(
    number: int, cells: tuple[str, ...], columns: LogColumns, shop: Shop
) -> tuple[LogRow | None, tuple[Fault, ...]]:
    """Return the row as read, or everything that is wrong with it.

    Args:
        number: the row's number in the file; the headings are row 1.
        cells: the row's cells as text.
        columns: where each field stands.
        shop: zones, products and today.
    """
    row = _Cells(cells, columns)
    _check_cells(row)
    vin, mark = _read_vin(row)
    day = _read_day(row, shop)
    kind = _read_kind(row)
    style = _read_style(row)
    odometer = _read_odometer(row)
    zone = _read_zone(row, shop, style)
    product, lot, quantity, not_done = _read_material(row, shop, zone)
    customer = " ".join(row.get("customer").split())
    if not customer and not row.is_refused("customer"):
        row.refuse(FaultCode.MISSING, "customer", "", "Give the customer's name.")
    contact = row.get("contact") or row.get("email") or row.get("phone")
    if not contact:
        row.note(NoteCode.NO_CONTACT, "contact", "", "No e-mail or telephone: this customer can't be reminded.")
    if row.faults or day is None or kind is None or zone is None:
        return None, tuple(row.faults)
    return (
        LogRow(
            number=number,
            vin=vin,
            vin_mark=mark,
            plate=" ".join(row.get("plate").upper().split()),
            vehicle=" ".join(row.get("vehicle").split()),
            body_style=style,
            customer=customer,
            contact=contact,
            email=row.get("email"),
            phone=row.get("phone"),
            day=day,
            kind=kind,
            odometer=odometer,
            zone=zone,
            product=product,
            lot=lot,
            quantity=quantity,
            not_done_reason=not_done,
            notes=tuple(row.notes),
        ),
        (),
    )


def _check_cells(row: _Cells) -> None:
    headings = row.columns.headings
    extra = [cell for cell in row.cells[len(headings) :] if cell.strip()]
    if extra:
        row.refuse(
            FaultCode.CELLS,
            "",
            " | ".join(extra),
            f"The row has {len(row.cells)} cells, the headings only {len(headings)}: "
            "put a value that holds the separator in double quotes.",
        )
    for field in row.columns.places:
        text = row.get(field)
        if is_formula(text):
            row.refuse(FaultCode.FORMULA, field, text, "A formula, not a value: write the value itself.")
        if any("\udc80" <= sign <= "\udcff" or sign in "\x00\ufffd" for sign in text):
            row.refuse(FaultCode.ENCODING, field, text, "Not UTF-8 text: save the file as UTF-8, or retype it.")
        if len(text) > LONGEST.get(field, 10_000):
            sentence = f"{len(text)} characters; shorten it to {LONGEST.get(field, 10_000)}."
            row.refuse(FaultCode.TOO_LONG, field, f"{text[:40]}…", sentence)


def _read_vin(row: _Cells) -> tuple[str, VinMark]:
    text = row.get("vin")
    mark = MARKS.get(squeeze(row.get("vin_mark")))
    if mark is None:
        row.refuse(
            FaultCode.VIN,
            "vin_mark",
            row.get("vin_mark"),
            "Write pre-1981 or non-road serial, or leave it empty for a standard VIN.",
        )
        mark = VinMark.STANDARD
    if row.is_refused("vin"):
        return "", mark
    if not text:
        row.refuse(FaultCode.MISSING, "vin", "", "Give the vehicle's VIN.")
        return "", mark
    vin = clean_vin(text)
    report = check_vin(vin, marked_as=mark)
    if not report.acceptable:
        _refuse_vin(row, text, report)
    for warning in report.warnings:
        row.note(NoteCode.VIN_NOT_VERIFIED, "vin", text, warning)
    return vin, mark


MOST_CORRECTIONS_SHOWN = 5


def _refuse_vin(row: _Cells, text: str, report: VinReport) -> None:
    sentences = " ".join(problem.sentence for problem in report.problems)
    only_digit = all(problem.code == "check_digit" for problem in report.problems)
    offered = [correction.vin for correction in report.corrections]
    if offered:
        shown = ", ".join(f"{c.vin} ({c.sentence})" for c in report.corrections[:MOST_CORRECTIONS_SHOWN])
        more = len(offered) - MOST_CORRECTIONS_SHOWN
        sentences += f" These would pass: {shown}" + (f", and {more} more." if more > 0 else ".")
    sentences += " Compare with the vehicle or its papers."
    code = FaultCode.VIN_CHECK_DIGIT if only_digit else FaultCode.VIN
    row.refuse(code, "vin", text, sentences, tuple(offered))


def _read_day(row: _Cells, shop: Shop) -> date | None:
    text = row.get("date")
    if row.is_refused("date"):
        return None
    if not text:
        row.refuse(FaultCode.MISSING, "date", "", "Give the date of the visit.")
        return None
    try:
        day = read_log_date(text, shop.order)
    except LogDateError as error:
        code = FaultCode.DATE_AMBIGUOUS if error.ambiguous else FaultCode.DATE
        row.refuse(code, "date", text, error.sentence)
        return None
    if day > shop.today:
        sentence = f"{day} is in the future (today is {shop.today}): correct the date."
        row.refuse(FaultCode.DATE_IN_FUTURE, "date", text, sentence)
    elif day < EARLIEST_DAY:
        row.refuse(FaultCode.DATE_TOO_OLD, "date", text, f"{day} is before {EARLIEST_DAY.year}: correct the year.")
    return day


def _read_kind(row: _Cells) -> TreatmentKind | None:
    text = row.get("kind")
    kind = KINDS.get(squeeze(text))
    if kind is None and not row.is_refused("kind"):
        allowed = ", ".join(say(kind) for kind in TreatmentKind)
        code = FaultCode.KIND if text else FaultCode.MISSING
        row.refuse(code, "kind", text, f"Write one of: {allowed}.")
    return kind


def _read_style(row: _Cells) -> str:
    text = row.get("body_style")
    if not text or row.is_refused("body_style"):
        return ""
    style = STYLES.get(squeeze(text))
    if style is None:
        allowed = ", ".join(say(style) for style in BodyStyle)
        row.refuse(FaultCode.BODY_STYLE, "body_style", text, f"Write one of: {allowed}; or leave it empty.")
        return ""
    return style.value


def _read_odometer(row: _Cells) -> Distance | None:
    text = row.get("odometer")
    if row.is_refused("odometer"):
        return None
    if text.casefold() in NOTHING:
        row.note(NoteCode.NO_ODOMETER, "odometer", text, "No odometer reading: distance limits can't be checked.")
        return None
    unit = row.get("odometer_unit") or row.columns.units.get("odometer")
    try:
        distance = parse_distance(text, unit)
    except UnitsError as error:
        row.refuse(FaultCode.ODOMETER, "odometer", text, error.sentence)
        return None
    if distance.amount < 0 or distance.kilometres > MOST_KILOMETRES:
        row.refuse(
            FaultCode.ODOMETER,
            "odometer",
            text,
            f"Not between 0 and {MOST_KILOMETRES} km: correct the reading.",
        )
        return None
    return distance


def _read_zone(row: _Cells, shop: Shop, style: str) -> KnownZone | None:
    text = row.get("zone")
    if row.is_refused("zone"):
        return None
    if not text:
        row.refuse(FaultCode.MISSING, "zone", "", "Name the zone that was treated.")
        return None
    zone = shop.find_zone(text)
    if isinstance(zone, str):
        row.refuse(FaultCode.ZONE_UNKNOWN, "zone", text, zone)
        return None
    if style and zone.kind is not ZoneKind.NEVER_COATED and zone.styles and style not in zone.styles:
        row.refuse(FaultCode.ZONE_NOT_ON_BODY, "zone", text, say_zone_not_on_body(zone, style))
    return zone


def say_zone_not_on_body(zone: KnownZone, style: str) -> str:
    """Return what to do about a zone that a body style doesn't have."""
    return f"A {say(style)} has no {zone.name}: correct the zone or the body style."


def _read_material(
    row: _Cells, shop: Shop, zone: KnownZone | None
) -> tuple[KnownProduct | None, str, Volume | None, str]:
    text, not_done = row.get("product"), row.get("not_done")
    quantity_text = row.get("quantity")
    lot = "" if row.get("lot").casefold() in NOTHING else row.get("lot")
    nothing_applied = text.casefold() in NOTHING and quantity_text.casefold() in (*NOTHING, "0")
    if not_done and nothing_applied:
        return None, "", None, not_done
    if not_done and text.casefold() not in NOTHING:
        row.refuse(
            FaultCode.QUANTITY,
            "not_done",
            not_done,
            "A product is given too: keep the product or the reason.",
        )
    if zone is not None and zone.kind is ZoneKind.NEVER_COATED:
        row.refuse(
            FaultCode.NEVER_COATED,
            "zone",
            row.get("zone"),
            f"{zone.name} is never coated: remove the row, or name the zone that was treated. "
            "If it was coated, tell whoever is responsible for the vehicle's safety.",
        )
    product = None
    if text.casefold() in NOTHING:
        if not row.is_refused("product"):
            row.refuse(
                FaultCode.MISSING,
                "product",
                text,
                "Give the product, or say in a column 'not done' why none.",
            )
    elif not row.is_refused("product"):
        found = shop.find_product(text)
        if isinstance(found, str):
            row.refuse(FaultCode.PRODUCT_UNKNOWN, "product", text, found)
        else:
            product = found
    if not lot and product:
        row.note(NoteCode.NO_LOT, "lot", "", "No lot: a recall of a lot can't find this vehicle.")
    return product, lot, _read_quantity(row, quantity_text), ""


def _read_quantity(row: _Cells, text: str) -> Volume | None:
    if row.is_refused("quantity"):
        return None
    if text.casefold() in NOTHING:
        row.refuse(FaultCode.MISSING, "quantity", text, "Give the quantity that was applied, with its unit.")
        return None
    unit = row.get("quantity_unit") or row.columns.units.get("quantity")
    try:
        quantity = parse_volume(text, unit)
    except UnitsError as error:
        row.refuse(FaultCode.QUANTITY, "quantity", text, error.sentence)
        return None
    shown = f"{text} {unit}" if unit else text
    if quantity.millilitres == 0:
        row.refuse(
            FaultCode.QUANTITY_ZERO,
            "quantity",
            shown,
            "Nothing was applied: give the quantity, or leave product and quantity empty and say in a column "
            "'not done' why.",
        )
    elif quantity.millilitres < 0:
        row.refuse(FaultCode.QUANTITY, "quantity", shown, "Less than nothing: correct the quantity.")
    elif quantity.millilitres > MOST_MILLILITRES_PER_LINE:
        row.refuse(
            FaultCode.QUANTITY_TOO_LARGE,
            "quantity",
            shown,
            f"{quantity.millilitres / 1000:.1f} litres on one zone; more than {MOST_MILLILITRES_PER_LINE / 1000:.0f} "
            "litres can't be: correct the quantity or its unit.",
        )
    return quantity
