"""Reads one row of a treatment log into a visit's line, or says everything that is wrong with it and what to do.

Nothing is guessed: a row that could mean two things is rejected with both named.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache

from treatments.enums import BodyStyle, TreatmentKind, label_in_english
from treatments.explanations import MESSAGES
from treatments.log_import.rules.cells import (
    KINDS,
    LANGUAGES,
    MARKS,
    NOTHING,
    PROPULSIONS,
    STYLES,
    TOTALS,
    Cells,
    find_contact_fault,
    find_email_fault,
    find_phone_fault,
    join_lines,
)
from treatments.log_import.rules.columns import LogColumns, squeeze
from treatments.log_import.rules.dates import (
    DateOrder,
    LogDateError,
    LogHabits,
    prove_date_order,
    read_distance,
    read_log_date,
)
from treatments.log_import.rules.faults import Fault, FaultCode, Note, NoteCode
from treatments.log_import.rules.material import KnownProduct, KnownZone, read_material, read_zone
from treatments.records.rules.odometer import find_limit_fault
from treatments.rules.explanation import render_in_english
from treatments.rules.units import AmbiguousNumberError, DecimalSign, Distance, UnitsError, Volume
from treatments.vehicles.rules.vin import VinAdvice, VinMark, advise_on_vin


@dataclass(frozen=True, slots=True)
class Shop:
    """What a row is read against. The two finders return the thing, or what to say where there is none.

    Attributes:
        order: the order of day and month as it was said, None where it was not.
        decimal: the decimal sign as it was said, None where it was not.
        habits: what the log proves about its own dates and numbers, up to the row that is read.
        proven: the decimal sign that the whole log proves, known once all of it was read.
    """

    today: date
    order: DateOrder | None
    find_zone: Callable[[str], KnownZone | str]
    find_product: Callable[[str], KnownProduct | str]
    decimal: DecimalSign | None = None
    habits: LogHabits = field(default_factory=LogHabits)
    proven: DecimalSign | None = None


@dataclass(frozen=True, slots=True)
class LogRow:
    """One accepted row: a visit and the line that it holds."""

    number: int
    vin: str
    vin_mark: VinMark
    plate: str
    vehicle: str
    body_style: str
    propulsion: str
    customer: str
    contact: str
    email: str
    phone: str
    language: str
    day: date
    kind: TreatmentKind
    odometer: Distance | None
    zone: KnownZone
    product: KnownProduct | None
    lot: str
    quantity: Volume | None
    not_done_reason: str
    notes: tuple[Note, ...] = ()


UNKNOWN = NOTHING | {"unknown", "?"}
EARLIEST_DAY = date(1950, 1, 1)


def read_log_row(
    number: int, cells: tuple[str, ...], columns: LogColumns, shop: Shop, typed: frozenset[int] = frozenset()
) -> tuple[LogRow | None, tuple[Fault, ...]]:
    """Return the row as read, or everything that is wrong with it.

    Args:
        number: the row's number in the file; the headings are row 1.
        cells: the row's cells as text.
        columns: where each field stands.
        shop: zones, products and today.
        typed: the places of the cells that a workbook keeps as numbers.
    """
    row = Cells(cells, columns, typed)
    if is_no_visit(row):
        return None, tuple(row.faults)
    row.check()
    vin, mark = _read_vin(row)
    day = _read_day(row, shop, number)
    kind = _read_kind(row)
    style = _read_style(row)
    propulsion = _read_propulsion(row)
    odometer = _read_odometer(row, shop)
    zone = read_zone(row, shop.find_zone, style)
    material = read_material(row, shop.find_product, zone, shop.decimal, shop.proven)
    customer = join_lines(row.get("customer"))
    if not customer and not row.is_refused("customer"):
        row.refuse(FaultCode.MISSING, "customer", "", "Give the customer's name.")
    contact, email, phone = _read_contacts(row)
    language = _read_language(row)
    if row.faults or day is None or kind is None or zone is None:
        return None, tuple(row.faults)
    return (
        LogRow(
            number=number,
            vin=vin,
            vin_mark=mark,
            plate=join_lines(row.get("plate").upper()),
            vehicle=join_lines(row.get("vehicle")),
            body_style=style,
            propulsion=propulsion,
            customer=customer,
            contact=contact,
            email=email,
            phone=phone,
            language=language,
            day=day,
            kind=kind,
            odometer=odometer,
            zone=zone,
            product=material.product,
            lot=material.lot,
            quantity=material.quantity,
            not_done_reason=material.not_done_reason,
            notes=tuple(row.notes),
        ),
        (),
    )


def is_no_visit(row: Cells) -> bool:
    """Refuse a row that repeats the headings or adds others up, with one fault; say whether it did."""
    given = {name: squeeze(row.get(name)) for name in row.columns.places if row.get(name)}
    if given and all(text == squeeze(row.columns.name(name)) for name, text in given.items()):
        row.refuse(FaultCode.HEADINGS_REPEATED, "", "", "This row repeats the headings: delete it.")
    elif "vin" not in given and "zone" not in given:
        sums = [cell.strip() for cell in row.cells if squeeze(cell) in TOTALS]
        if sums:
            row.refuse(FaultCode.TOTALS, "", sums[0], "This row adds others up and is no visit: delete it.")
    return bool(row.faults)


def _read_contacts(row: Cells) -> tuple[str, str, str]:
    """Return contact, e-mail and telephone; the contact is one of the other two where it has no column."""
    read = {}
    for name, find_fault in (
        ("contact", find_contact_fault),
        ("email", find_email_fault),
        ("phone", find_phone_fault),
    ):
        text = row.get(name)
        read[name] = "" if text.casefold() in NOTHING else text
        if read[name] and not row.is_refused(name) and (sentence := find_fault(text)):
            row.refuse(FaultCode.CONTACT, name, text, sentence)
    contact = read["contact"] or read["email"] or read["phone"]
    if not contact:
        row.note(NoteCode.NO_CONTACT, "contact", "", "No e-mail or telephone: this customer can't be reminded.")
    return contact, read["email"], read["phone"]


def _read_language(row: Cells) -> str:
    """Return the code of the language that the customer is written to in, '' where the log does not say."""
    text = row.get("language")
    if text.casefold() in UNKNOWN or row.is_refused("language"):
        return ""
    code = LANGUAGES.get(squeeze(text))
    if code is None:
        row.refuse(FaultCode.LANGUAGE, "language", text, "Write one of: en, English, fr, French; or leave it empty.")
        return ""
    return code


def _read_vin(row: Cells) -> tuple[str, VinMark]:
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
    # Which corrections are on record is looked up where the fault or the doubt is written down.
    advice = _advise(text, mark)
    if not advice.acceptable:
        code = FaultCode.VIN_CHECK_DIGIT if advice.codes == {"vin.check_digit"} else FaultCode.VIN
        sentence = render_in_english(advice.explanations, MESSAGES)
        row.refuse(code, "vin", text, sentence, tuple(correction.vin for correction in advice.corrections))
    elif advice.doubts:
        row.note(NoteCode.VIN_NOT_VERIFIED, "vin", text, render_in_english(advice.explanations, MESSAGES))
    return advice.vin, mark


# A vehicle has many rows in a log.
@lru_cache(maxsize=1_000)
def _advise(text: str, mark: VinMark) -> VinAdvice:
    return advise_on_vin(text, marked_as=mark)


def _read_day(row: Cells, shop: Shop, number: int) -> date | None:
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
    _check_order(row, text, shop, number)
    if day > shop.today:
        sentence = f"{day} is in the future (today is {shop.today}): correct the date."
        row.refuse(FaultCode.DATE_IN_FUTURE, "date", text, sentence)
    elif day < EARLIEST_DAY:
        row.refuse(FaultCode.DATE_TOO_OLD, "date", text, f"{day} is before {EARLIEST_DAY.year}: correct the year.")
    return day


def _check_order(row: Cells, text: str, shop: Shop, number: int) -> None:
    """Refuse a date that proves another order of day and month than a row before it."""
    habits = shop.habits
    if shop.order is not None or habits.order is None or habits.order_row == number:
        return
    order = prove_date_order(text)
    if order is None or order is habits.order:
        return
    names = {DateOrder.DAY_FIRST: "day first", DateOrder.MONTH_FIRST: "month first"}
    sentence = (
        f"This is {names[order]}, but row {habits.order_row} has '{habits.order_text}', which is "
        f"{names[habits.order]}: one of the two is wrong. Write both as YYYY-MM-DD, or say the order of the log "
        "with --dates dmy or --dates mdy."
    )
    row.refuse(FaultCode.DATE_ORDERS, "date", text, sentence)


def _read_kind(row: Cells) -> TreatmentKind | None:
    text = row.get("kind")
    kind = KINDS.get(squeeze(text))
    if kind is None and not row.is_refused("kind"):
        allowed = ", ".join(label_in_english(kind) for kind in TreatmentKind)
        code = FaultCode.KIND if text else FaultCode.MISSING
        row.refuse(code, "kind", text, f"Write one of: {allowed}.")
    return kind


def _read_style(row: Cells) -> str:
    text = row.get("body_style")
    if not text or row.is_refused("body_style"):
        return ""
    style = STYLES.get(squeeze(text))
    if style is None:
        allowed = ", ".join(label_in_english(style) for style in BodyStyle)
        row.refuse(FaultCode.BODY_STYLE, "body_style", text, f"Write one of: {allowed}; or leave it empty.")
        return ""
    return style.value


def _read_propulsion(row: Cells) -> str:
    text = row.get("propulsion")
    if text.casefold() in UNKNOWN or row.is_refused("propulsion"):
        return ""
    propulsion = PROPULSIONS.get(squeeze(text))
    if propulsion is None:
        allowed = ", ".join(label_in_english(word) for word in dict.fromkeys(PROPULSIONS.values()))
        row.refuse(FaultCode.PROPULSION, "propulsion", text, f"Write one of: {allowed}; or leave it empty.")
        return ""
    return propulsion.value


def _read_odometer(row: Cells, shop: Shop) -> Distance | None:
    text = row.get("odometer")
    if row.is_refused("odometer"):
        return None
    if text.casefold() in NOTHING:
        row.note(NoteCode.NO_ODOMETER, "odometer", text, "No odometer reading: distance limits can't be checked.")
        return None
    unit = row.get("odometer_unit") or row.columns.units.get("odometer")
    # A workbook's own number is written out with a point, whatever the log's habit.
    said = DecimalSign.POINT if row.is_typed_number("odometer") else shop.decimal
    try:
        distance = read_distance(text, unit, said, shop.proven)
    except AmbiguousNumberError as error:
        row.refuse(FaultCode.NUMBER_AMBIGUOUS, "odometer", text, error.sentence)
        return None
    except UnitsError as error:
        row.refuse(FaultCode.ODOMETER, "odometer", text, error.sentence)
        return None
    if fault := find_limit_fault(distance.kilometres):
        row.refuse(FaultCode.ODOMETER, "odometer", text, render_in_english([fault], MESSAGES))
        return None
    return distance
