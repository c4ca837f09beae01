"""What a log proves about how its writer puts dates and numbers, cell by cell, with the row that proves it.

A proof may settle what another cell leaves open; two proofs that contradict each other settle nothing.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from treatments.log_import.rules.dates import DateOrder, prove_date_order
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
