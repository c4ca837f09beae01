"""Reads what a row says was done: zone, product, lot and quantity, or why the zone was not done.

Nothing is guessed: what could mean two things is refused with both named.
"""

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from treatments.enums import ZoneKind, label_in_english
from treatments.log_import.rules.cells import NOTHING, Cells, join_lines
from treatments.log_import.rules.dates import read_volume
from treatments.log_import.rules.faults import FaultCode, NoteCode
from treatments.rules.units import AmbiguousNumberError, DecimalSign, UnitsError, Volume

# One zone never takes more than this in one visit: a whole underside takes about half. Our own choice.
MOST_MILLILITRES_PER_LINE = Decimal(20_000)
# Less is a drop, which nobody measures; a digit or the unit is wrong. Our own choice.
FEWEST_MILLILITRES_PER_LINE = Decimal(1)
# As finely as the record keeps an amount in its own unit.
FINEST_AMOUNT = Decimal("0.001")

_FRACTION = re.compile(r"(?:(\d+)[ -]?)?(?:([¼-¾⅐-⅞])|(?<!\d)(\d{1,3})\s*[/⁄]\s*(\d{1,3}))")
_PINTS = re.compile(r"(?<![a-z])(?:us |imp(?:erial)? )?(?:pts?|pints?)\b", re.IGNORECASE)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}(?: .*)?")


@dataclass(frozen=True, slots=True)
class KnownZone:
    """A zone of the shop as the row reader needs it.

    Attributes:
        styles: the body styles that have it.
        withheld_on: the propulsions of vehicles on which it is not coated.
    """

    key: int
    code: str
    name: str
    kind: ZoneKind
    styles: frozenset[str]
    withheld_on: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class KnownProduct:
    key: int
    name: str


@dataclass(frozen=True, slots=True)
class Material:
    """What went on the zone; without a product the reason why nothing did."""

    product: KnownProduct | None = None
    lot: str = ""
    quantity: Volume | None = None
    not_done_reason: str = ""


def read_zone(row: Cells, find_zone: Callable[[str], KnownZone | str], style: str) -> KnownZone | None:
    """Return the zone, None where it is refused."""
    text = row.get("zone")
    if row.is_refused("zone"):
        return None
    if not text:
        row.refuse(FaultCode.MISSING, "zone", "", "Name the zone that was treated.")
        return None
    zone = find_zone(text)
    if isinstance(zone, str):
        row.refuse(FaultCode.ZONE_UNKNOWN, "zone", text, zone)
        return None
    if style and zone.kind is not ZoneKind.NEVER_COATED and zone.styles and style not in zone.styles:
        row.refuse(FaultCode.ZONE_NOT_ON_BODY, "zone", text, describe_zone_not_on_body(zone, style))
    return zone


def describe_zone_not_on_body(zone: KnownZone, style: str) -> str:
    """Return what to do about a zone that a body style doesn't have."""
    return f"A {label_in_english(style)} has no {zone.name}: correct the zone or the body style."


def read_material(
    row: Cells,
    find_product: Callable[[str], KnownProduct | str],
    zone: KnownZone | None,
    said: DecimalSign | None,
    proven: DecimalSign | None,
) -> Material:
    """Return what was applied or why nothing was; what is wrong is refused on the row.

    Args:
        row: the cells.
        find_product: returns the product, or what to say where there is none.
        zone: the zone, None where it could not be read.
        said: the decimal sign that the log was said to use.
        proven: the decimal sign that the log proves.
    """
    text, not_done = row.get("product"), join_lines(row.get("not_done"))
    quantity_text = row.get("quantity")
    lot = "" if row.get("lot").casefold() in NOTHING else row.get("lot")
    nothing_applied = text.casefold() in NOTHING and quantity_text.casefold() in (*NOTHING, "0")
    if not_done and nothing_applied:
        return Material(not_done_reason=not_done)
    if not_done and text.casefold() not in NOTHING:
        row.refuse(FaultCode.QUANTITY, "not_done", not_done, "A product is given too: keep the product or the reason.")
    if zone is not None and zone.kind is ZoneKind.NEVER_COATED:
        row.refuse(
            FaultCode.NEVER_COATED,
            "zone",
            row.get("zone"),
            f"This part must never be coated ({zone.name}): remove the row, or name the zone that was treated. "
            "If it was coated, tell whoever is responsible for the vehicle's safety.",
        )
    product = None
    if text.casefold() in NOTHING:
        if not row.is_refused("product"):
            row.refuse(FaultCode.MISSING, "product", text, "Give the product, or say in a column 'not done' why none.")
    elif not row.is_refused("product"):
        found = find_product(text)
        if isinstance(found, str):
            row.refuse(FaultCode.PRODUCT_UNKNOWN, "product", text, found)
        else:
            product = found
    if not lot and product:
        row.note(NoteCode.NO_LOT, "lot", "", "No lot: a recall of a lot can't find this vehicle.")
    return Material(product, lot, _read_quantity(row, quantity_text, said, proven))


def _read_quantity(row: Cells, text: str, said: DecimalSign | None, proven: DecimalSign | None) -> Volume | None:
    if row.is_refused("quantity"):
        return None
    if text.casefold() in NOTHING:
        row.refuse(FaultCode.MISSING, "quantity", text, "Give the quantity that was applied, with its unit.")
        return None
    unit = row.get("quantity_unit") or row.columns.units.get("quantity")
    if row.is_typed_number("quantity"):
        said = DecimalSign.POINT  # a workbook's own number is written out with a point, whatever the log's habit
    if sentence := _find_kitchen_measure(text, unit or ""):
        row.refuse(FaultCode.QUANTITY, "quantity", text, sentence)
        return None
    try:
        quantity = read_volume(text, unit, said, proven)
    except AmbiguousNumberError as error:
        row.refuse(FaultCode.NUMBER_AMBIGUOUS, "quantity", text, error.sentence)
        return None
    except UnitsError as error:
        row.refuse(FaultCode.QUANTITY, "quantity", text, error.sentence)
        return None
    _check_quantity(row, quantity, f"{text} {unit}" if unit else text)
    return quantity


def _find_kitchen_measure(text: str, unit: str) -> str:
    """Return what to write instead of a fraction, of pints, or of what a spreadsheet made of a fraction."""
    if _PINTS.search(text) or _PINTS.search(unit):
        return "Pints are of two sizes: write qt (a US pint is 0.5 qt) or ml (an imperial pint is 568 ml)."
    if _DATE.fullmatch(text):
        return "A date: the spreadsheet took a fraction such as 1/2 for one. Write the quantity as 0.5."
    if match := _FRACTION.match(text):
        whole, sign, above, below = match.groups()
        if below and not int(below):
            return "A fraction of nothing: write the quantity as a decimal number, such as 0.5."
        part = Decimal(str(unicodedata.numeric(sign))) if sign else Decimal(above) / Decimal(below)
        number = (Decimal(whole or 0) + part).quantize(FINEST_AMOUNT)
        return f"A fraction: write it as {number.normalize():f}, followed by the unit."
    return ""


def _check_quantity(row: Cells, quantity: Volume, shown: str) -> None:
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
    elif quantity.millilitres < FEWEST_MILLILITRES_PER_LINE:
        row.refuse(
            FaultCode.QUANTITY_TOO_SMALL,
            "quantity",
            shown,
            f"Less than {FEWEST_MILLILITRES_PER_LINE} ml on a zone: correct the quantity or its unit.",
        )
    elif quantity.amount < FINEST_AMOUNT:
        sentence = f"Less than {FINEST_AMOUNT} of its unit, finer than the record keeps: give it in ml."
        row.refuse(FaultCode.QUANTITY_TOO_SMALL, "quantity", shown, sentence)
    elif quantity.millilitres > MOST_MILLILITRES_PER_LINE:
        row.refuse(
            FaultCode.QUANTITY_TOO_LARGE,
            "quantity",
            shown,
            f"{quantity.millilitres / 1000:.1f} litres on one zone; more than {MOST_MILLILITRES_PER_LINE / 1000:.0f} "
            "litres can't be: correct the quantity or its unit.",
        )
