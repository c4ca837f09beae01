"""Reads the dates that people write into logs, and refuses those that could mean two different days. What a log proves
about how its writer puts dates and numbers, cell by cell, with the row that proves it.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from functools import lru_cache

from treatments.rules.units import (
    AmbiguousNumberError,
    DecimalSign,
    Distance,
    UnitsError,
    Volume,
    find_decimal_sign,
    parse_distance,
    parse_volume,
    split_number,
)


class DateOrder(StrEnum):
    """In which order a log writes day, month and year."""

    DAY_FIRST = "dmy"
    MONTH_FIRST = "mdy"
    YEAR_FIRST = "ymd"


class LogDateError(ValueError):
    """A date that can't be read; ``ambiguous`` where it could be read in two ways."""

    def __init__(self, sentence: str, *, ambiguous: bool = False) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.ambiguous = ambiguous


MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january",
            "feb february",
            "mar march",
            "apr april",
            "may",
            "jun june",
            "jul july",
            "aug august",
            "sep sept september",
            "oct october",
            "nov november",
            "dec december",
        ),
        start=1,
    )
    for name in names.split()
}
_YEAR_FIRST = re.compile(r"(\d{4})([-/. ]?)(\d{1,2})\2(\d{1,2})(?:[T ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?Z?)?")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/. ])(\d{1,2})\2(\d{2}|\d{4})(?:[T ]\d{1,2}:\d{2}(?::\d{2})?)?")
_DAY_MONTH_NAME = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[-/. ]+([A-Za-z]+)\.?[-/., ]+(\d{2}|\d{4})")
# ECMA-376, 18.17.4.1: day 1 is 1 January 1900, with a 29 February 1900 that never was; or day 0 is 1 January 1904.
_SPREADSHEET_DAYS = re.compile(r"\d{5}(?:\.\d+)?")
COUNTED_FROM_1900, COUNTED_FROM_1904 = date(1899, 12, 30), date(1904, 1, 1)
SPREADSHEET_DAYS = range(18_264, 73_051)  # 1950 to 2099, counted from 1900
_TIME_OF_DAY = re.compile(r"\d{1,3}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[AaPp][Mm])?")
_MONTH_NAME_DAY = re.compile(r"([A-Za-z]+)\.? +(\d{1,2})(?:st|nd|rd|th)?,? +(\d{2}|\d{4})")


@lru_cache(maxsize=5_000)
def read_log_date(text: str, order: DateOrder | None) -> date:
    """Return the date that ``text`` means.

    Args:
        text: the cell as written.
        order: the order of local dates in this log, None where it was not said.

    Raises:
        LogDateError: with the way out; nothing is guessed.
    """
    text = text.strip()
    if match := _YEAR_FIRST.fullmatch(text):
        year, separator, month, day = match.groups()
        if separator == "" and len(month) + len(day) != 4:
            raise LogDateError("Not a date: write it as YYYY-MM-DD.")
        return _make(int(year), int(month), int(day), text)
    if match := _DAY_MONTH_NAME.fullmatch(text):
        day, name, year = match.groups()
        return _make(_full_year(year, text), _find_month(name, text), int(day), text)
    if match := _MONTH_NAME_DAY.fullmatch(text):
        name, day, year = match.groups()
        return _make(_full_year(year, text), _find_month(name, text), int(day), text)
    if match := _YEAR_LAST.fullmatch(text):
        first, _, second, year = match.groups()
        return _read_local(int(first), int(second), _full_year(year, text), text, order)
    if _TIME_OF_DAY.fullmatch(text):
        raise LogDateError("A time of day without its date: write the date as YYYY-MM-DD.")
    if _SPREADSHEET_DAYS.fullmatch(text) and (days := int(text.partition(".")[0])) in SPREADSHEET_DAYS:
        raise LogDateError(
            f"A spreadsheet's count of days: {COUNTED_FROM_1900 + timedelta(days)}, or "
            f"{COUNTED_FROM_1904 + timedelta(days)} where it counts from 1904. Write the date as YYYY-MM-DD."
        )
    raise LogDateError("Not a date: write it as YYYY-MM-DD.")


def prove_date_order(text: str) -> DateOrder | None:
    """Return which order of day and month a local date proves by itself, None where it proves none.

    25/03/2025 can only be day first, 03/25/2025 month first; 03/04/2025 and 03/03/2025 prove nothing.
    """
    match = _YEAR_LAST.fullmatch(text.strip())
    if match is None or len(match[4]) != 4:
        return None
    first, second, year = int(match[1]), int(match[3]), int(match[4])
    if (first > 12) == (second > 12) or not _is_day(year, min(first, second), max(first, second)):
        return None
    return DateOrder.DAY_FIRST if first > 12 else DateOrder.MONTH_FIRST


def _is_day(year: int, month: int, day: int) -> bool:
    try:
        date(year, month, day)
    except ValueError:
        return False
    return True


def _read_local(first: int, second: int, year: int, text: str, order: DateOrder | None) -> date:
    if order is DateOrder.DAY_FIRST:
        return _make(year, second, first, text)
    if order is DateOrder.MONTH_FIRST:
        return _make(year, first, second, text)
    if order is DateOrder.YEAR_FIRST:
        raise LogDateError("This log was said to write the year first: write the date as YYYY-MM-DD.")
    if first <= 12 and second <= 12 and first != second:
        raise LogDateError(
            f"It could be {_make(year, second, first, text)} or {_make(year, first, second, text)}: "
            "say which with --dates dmy or --dates mdy, or write YYYY-MM-DD.",
            ambiguous=True,
        )
    return _make(year, second, first, text) if first > 12 else _make(year, first, second, text)


def _full_year(year: str, text: str) -> int:
    if len(year) != 4:
        raise LogDateError(f"'{text}' has a year of two digits: write the year with four.", ambiguous=True)
    return int(year)


def _find_month(name: str, text: str) -> int:
    month = MONTHS.get(name.casefold())
    if month is None:
        raise LogDateError(f"'{name}' is not an English month name: write the date as YYYY-MM-DD.")
    return month


def _make(year: int, month: int, day: int, text: str) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        if not 1 <= month <= 12:
            raise LogDateError(
                f"There is no month {month}: check the order of day and month, or write YYYY-MM-DD."
            ) from None
        raise LogDateError(f"There is no day {day} in month {month} of {year}: correct the date.") from None


@dataclass(frozen=True, slots=True)
class LogHabits:
    """The first proof of each habit found so far; row 0 where there is none."""

    order: DateOrder | None = None
    order_row: int = 0
    order_text: str = ""
    point_row: int = 0
    comma_row: int = 0

    @property
    def decimal(self) -> DecimalSign | None:
        """The decimal sign, where the log proves one and no cell proves the other."""
        if bool(self.point_row) == bool(self.comma_row):
            return None
        return DecimalSign.POINT if self.point_row else DecimalSign.COMMA

    def learn(self, number: int, date_text: str, number_texts: Iterable[str]) -> "LogHabits":
        """Return the habits with what one row proves; the same object where it proves nothing new."""
        habits = self
        if habits.order is None:
            order = prove_date_order(date_text)
            if order is not None:
                habits = replace(habits, order=order, order_row=number, order_text=date_text.strip())
        if habits.point_row and habits.comma_row:
            return habits
        for text in number_texts:
            if "." not in text and "," not in text:
                continue
            try:
                sign = find_decimal_sign(split_number(text)[0])
            except UnitsError:
                continue
            if sign is DecimalSign.POINT and not habits.point_row:
                habits = replace(habits, point_row=number)
            elif sign is DecimalSign.COMMA and not habits.comma_row:
                habits = replace(habits, comma_row=number)
        return habits


@lru_cache(maxsize=5_000)
def read_volume(text: str, unit: str | None, said: DecimalSign | None, proven: DecimalSign | None) -> Volume:
    """Return a quantity; three digits after one separator are read by what was said, else by what the log proves.

    Raises:
        AmbiguousNumberError, UnitsError: as parse_volume.
    """
    try:
        return parse_volume(text, unit, decimal=said)
    except AmbiguousNumberError:
        if proven is None:
            raise
        return parse_volume(text, unit, decimal=proven)


@lru_cache(maxsize=5_000)
def read_distance(text: str, unit: str | None, said: DecimalSign | None, proven: DecimalSign | None) -> Distance:
    """Return an odometer reading; what the log proves can only show that a separator groups thousands.

    A log that writes 0.5 for quantities and 84.500 for odometers proves nothing about the latter: no odometer shows
    thousandths, so the cell stays ambiguous unless the decimal sign was said.

    Raises:
        AmbiguousNumberError, UnitsError: as parse_distance.
    """
    try:
        return parse_distance(text, unit, decimal=said)
    except AmbiguousNumberError as error:
        if proven is None or proven is error.sign:
            raise
        return parse_distance(text, unit, decimal=proven)
