"""Volumes, distances and other quantities with their units: exact conversions, and reading what people write.

Conversions are exact, from NIST Special Publication 811, Appendix B. Nothing is guessed: a quantity without a unit
or a number that could mean two things is an error.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import TypeVar

Unit = TypeVar("Unit", bound=StrEnum)


class UnitsError(ValueError):
    """A quantity that can't be read; ``sentence`` says why and what to write."""

    def __init__(self, value: str, sentence: str) -> None:
        super().__init__(f"'{value}': {sentence}")
        self.value = value
        self.sentence = sentence


class VolumeUnit(StrEnum):
    US_QUART = "us_quart"
    LITRE = "litre"
    US_GALLON = "us_gallon"
    MILLILITRE = "millilitre"


class DistanceUnit(StrEnum):
    KILOMETRE = "km"
    MILE = "mi"


# NIST SP 811: the US gallon is 231 cubic inches, the quart a quarter of it; an inch is 25.4 mm exactly.
MILLILITRES_PER: dict[VolumeUnit, Decimal] = {
    VolumeUnit.US_QUART: Decimal("946.352946"),
    VolumeUnit.LITRE: Decimal(1000),
    VolumeUnit.US_GALLON: Decimal("3785.411784"),
    VolumeUnit.MILLILITRE: Decimal(1),
}
# NIST SP 811: the international mile is 1609.344 m exactly.
KILOMETRES_PER: dict[DistanceUnit, Decimal] = {
    DistanceUnit.KILOMETRE: Decimal(1),
    DistanceUnit.MILE: Decimal("1.609344"),
}
# One pound-force (4.448 221 615 260 5 N exactly) on one square inch (645.16 mm2 exactly), in kPa.
POUND_FORCE_N = Decimal("4.4482216152605")
SQUARE_INCH_MM2 = Decimal("645.16")
KILOPASCALS_PER_PSI = POUND_FORCE_N / SQUARE_INCH_MM2 * 1000
MICROMETRES_PER_MIL = Decimal("25.4")
SQUARE_METRES_PER_SQUARE_FOOT = Decimal("0.09290304")


@dataclass(frozen=True, slots=True)
class Volume:
    """A volume as entered."""

    amount: Decimal
    unit: VolumeUnit

    @property
    def millilitres(self) -> Decimal:
        """The same volume in millilitres, exact."""
        return self.amount * MILLILITRES_PER[self.unit]


@dataclass(frozen=True, slots=True)
class Distance:
    """A distance as entered."""

    amount: Decimal
    unit: DistanceUnit

    @property
    def kilometres(self) -> Decimal:
        """The same distance in kilometres, exact."""
        return self.amount * KILOMETRES_PER[self.unit]


def convert_psi_to_kpa(psi: Decimal) -> Decimal:
    """Return a pressure in kilopascals for one in pound-force per square inch."""
    return psi * KILOPASCALS_PER_PSI


def convert_kpa_to_psi(kpa: Decimal) -> Decimal:
    """Return a pressure in pound-force per square inch for one in kilopascals."""
    return kpa / KILOPASCALS_PER_PSI


def convert_mil_to_um(mil: Decimal) -> Decimal:
    """Return a film thickness in micrometres for one in thousandths of an inch."""
    return mil * MICROMETRES_PER_MIL


def convert_square_feet_to_m2(square_feet: Decimal) -> Decimal:
    """Return an area in square metres for one in square feet."""
    return square_feet * SQUARE_METRES_PER_SQUARE_FOOT


def convert_fahrenheit_to_celsius(fahrenheit: Decimal) -> Decimal:
    """Return a temperature in degrees Celsius for one in degrees Fahrenheit."""
    return (fahrenheit - 32) * 5 / 9


def format_plain_number(amount: Decimal) -> str:
    """Return a number as people write it: no digits that say nothing, thousands apart (129,023 or 0.2)."""
    plain = f"{amount:,f}"
    return plain.rstrip("0").rstrip(".") if "." in plain else plain


class DecimalSign(StrEnum):
    """Which sign a log writes before the fraction of a number; the other one then groups thousands."""

    POINT = "point"
    COMMA = "comma"


class AmbiguousNumberError(UnitsError):
    """A number that could be read in two ways; ``sign`` is the separator that may be either."""

    def __init__(self, value: str, sentence: str, sign: DecimalSign) -> None:
        super().__init__(value, sentence)
        self.sign = sign


_MARKS = {DecimalSign.POINT: ".", DecimalSign.COMMA: ","}
_SIGNS = {mark: sign for sign, mark in _MARKS.items()}
_SPACES = "\u00a0\u202f\u2009"
# Groups apart by a space or an apostrophe can't be a fraction, so what follows a point or comma there can only be one.
_SPACED = re.compile(r"\d{1,3}(?:([ '’])\d{3})(?:\1\d{3})*(?:([.,])\d+)?")
# Two or more groups, or one group and a fraction: the first sign groups, the second is the decimal sign.
_GROUPED = re.compile(r"\d{1,3}(?:([.,])\d{3})(?:(?:\1\d{3})+|(?:\1\d{3})*(?!\1)([.,])\d*)")
_ONE_MARK = re.compile(r"(\d*)([.,])(\d*)")
_ONE_GROUP = re.compile(r"[1-9]\d{0,2}[.,]\d{3}")


def find_decimal_sign(text: str) -> DecimalSign | None:
    """Return which decimal sign the digits of ``text`` prove, None where they could be read either way.

    1.25 and 1,250.5 prove a point, 0,5 and 1.250.000 a comma; 1250, 1 250 and 1,250 prove nothing.
    """
    number = _unify_spaces(text).lstrip("+-")
    if match := _SPACED.fullmatch(number):
        return _SIGNS.get(match[2] or "")
    if match := _GROUPED.fullmatch(number):
        return _other(_SIGNS[match[1]])
    match = _ONE_MARK.fullmatch(number)
    if match and (match[1] or match[3]) and not _ONE_GROUP.fullmatch(number):
        return _SIGNS[match[2]]
    return None


def _unify_spaces(text: str) -> str:
    text = text.strip()
    for space in _SPACES:
        text = text.replace(space, " ")
    return text


def _other(sign: DecimalSign) -> DecimalSign:
    return DecimalSign.COMMA if sign is DecimalSign.POINT else DecimalSign.POINT


def parse_number(text: str, *, decimal: DecimalSign | None = None) -> Decimal:
    """Return the number that ``text`` means.

    Args:
        text: digits, with a point or a comma as decimal sign, in groups of three or not: 84500, 84 500, 84'500.5.
        decimal: the decimal sign, where it is known; then 84,500 or 84.500 can be read too.

    Raises:
        AmbiguousNumberError: where three digits follow a single separator (1,250 is 1.25 or 1250).
        UnitsError: where it isn't a number, or contradicts the decimal sign.
    """
    number = _unify_spaces(text)
    if not number.isascii() and "’" not in number:
        raise UnitsError(text, "Not a number: write digits with a point, such as 1.25.")
    minus = number.startswith("-")
    number = number[1:] if number[:1] in ("+", "-") else number
    if re.fullmatch(r"[0-9]+", number):
        return _signed(number, minus)
    proven = find_decimal_sign(number)
    grouped = _ONE_GROUP.fullmatch(number)
    if proven is None and not grouped and not _SPACED.fullmatch(number):
        raise UnitsError(text, "Not a number: write digits with a point, such as 1.25.")
    if proven and decimal and proven is not decimal:
        raise UnitsError(
            text, f"It can only be read with a decimal {proven}, but this log was said to use a {decimal}: correct it."
        )
    sign = decimal or proven
    if grouped and sign is None:
        raise _render_ambiguous(text, number)
    if sign:
        number = number.replace(_MARKS[_other(sign)], "").replace(_MARKS[sign], ".")
    return _signed(re.sub(r"[ '’]", "", number), minus)


def _signed(number: str, minus: bool) -> Decimal:
    return -Decimal(number) if minus else Decimal(number)


def _render_ambiguous(text: str, number: str) -> AmbiguousNumberError:
    mark = "," if "," in number else "."
    whole, _, last = number.partition(mark)
    # With four decimals, or fewer than three, a fraction can't be taken for thousands.
    fraction = f"{whole}.{last}".rstrip("0").rstrip(".")
    fraction = f"{whole}.{last}0" if last[-1] != "0" else fraction
    return AmbiguousNumberError(
        text,
        f"Could be {fraction} or {whole}{last}: write the one that is meant, or say --decimal comma or "
        "--decimal point for the whole log.",
        _SIGNS[mark],
    )


VOLUME_NAMES: dict[str, VolumeUnit] = {
    **dict.fromkeys(
        ("qt", "qts", "quart", "quarts", "us quart", "us quarts", "us qt", "us_quart"), VolumeUnit.US_QUART
    ),
    **dict.fromkeys(("l", "lt", "ltr", "litre", "litres", "liter", "liters"), VolumeUnit.LITRE),
    **dict.fromkeys(
        ("gal", "gals", "gallon", "gallons", "us gal", "us gallon", "us gallons", "us_gallon"),
        VolumeUnit.US_GALLON,
    ),
    **dict.fromkeys(("ml", "millilitre", "millilitres", "milliliter", "milliliters"), VolumeUnit.MILLILITRE),
}
DISTANCE_NAMES: dict[str, DistanceUnit] = {
    **dict.fromkeys(("km", "kms", "kilometre", "kilometres", "kilometer", "kilometers"), DistanceUnit.KILOMETRE),
    **dict.fromkeys(("mi", "mile", "miles"), DistanceUnit.MILE),
}
_NUMBER_THEN_UNIT = re.compile(r"([+-]?[\d.,'’\s\u00a0\u202f\u2009]*\d[.,]?)\s*([^\d\s].*)?", re.DOTALL)


def _plain_unit(text: str) -> str:
    return " ".join(text.casefold().replace(".", " ").split())


def _find_unit(text: str, inside: str, beside: str | None, names: Mapping[str, Unit], allowed: str) -> Unit:
    found: list[Unit] = []
    for written in (inside, beside or ""):
        plain = _plain_unit(written)
        if not plain:
            continue
        if plain not in names:
            raise UnitsError(text, f"Unit '{written}' is not known here: write {allowed}.")
        found.append(names[plain])
    if not found:
        raise UnitsError(text, f"No unit: write {allowed}.")
    if len(set(found)) > 1:
        raise UnitsError(text, f"Two units, '{inside}' and '{beside}': keep one.")
    return found[0]


def split_number(text: str) -> tuple[str, str]:
    """Return the digits of a cell and the unit written behind them.

    Raises:
        UnitsError: where the cell doesn't start with a number.
    """
    match = _NUMBER_THEN_UNIT.fullmatch(text.strip())
    if not match:
        raise UnitsError(text, "Not a number with a unit: write it as 1.5 followed by the unit.")
    return match.group(1), match.group(2) or ""


def parse_volume(text: str, unit_text: str | None = None, *, decimal: DecimalSign | None = None) -> Volume:
    """Return the volume that a cell means, with its unit in the cell or beside it.

    Raises:
        AmbiguousNumberError: for a number that could be read in two ways, where ``decimal`` is not given.
        UnitsError: without a unit, with two, or with one other than US quart, litre, US gallon, millilitre.
    """
    number, inside = split_number(text)
    unit = _find_unit(text, inside, unit_text, VOLUME_NAMES, "US quart (qt), litre (l), US gallon (gal) or ml")
    return Volume(parse_number(number, decimal=decimal), unit)


def parse_distance(text: str, unit_text: str | None = None, *, decimal: DecimalSign | None = None) -> Distance:
    """Return the distance that a cell means, with its unit in the cell or beside it.

    Raises:
        AmbiguousNumberError: for a number that could be read in two ways, where ``decimal`` is not given.
        UnitsError: without a unit, with two, or with one other than km and miles.
    """
    number, inside = split_number(text)
    unit = _find_unit(text, inside, unit_text, DISTANCE_NAMES, "km or mi")
    return Distance(parse_number(number, decimal=decimal), unit)
