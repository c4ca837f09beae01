"""How dates, numbers and money are written in a language, by Babel; mails, documents and pages use the same."""

from datetime import date
from decimal import Decimal
from functools import lru_cache

from babel.dates import format_date
from babel.numbers import format_currency, format_decimal

ENGLISH = "en"
# Numbers below this are often years, and French groups them only by choice.
_GROUPED_FROM = 10_000


@lru_cache(maxsize=8192)
def format_day(day: date, language: str) -> str:
    """Return a day with its month in words, e.g. 25 September 2025."""
    told: str = format_date(day, "d MMMM y", locale=language)
    return f"1er{told[1:]}" if language == "fr" and day.day == 1 else told


@lru_cache(maxsize=8192)
def format_number(number: Decimal | int, language: str, *, measured: bool = False) -> str:
    """Return a number as a language writes it.

    Args:
        measured: whether a unit follows; English groups the digits of no other number.
    """
    grouped = measured if language == ENGLISH else abs(Decimal(number)) >= _GROUPED_FROM
    told: str = format_decimal(number, locale=language, decimal_quantization=False, group_separator=grouped)
    return told


@lru_cache(maxsize=8192)
def format_money(amount: Decimal, currency: str, language: str) -> str:
    """Return an amount of money as a language writes it, e.g. $1,200.00 or 1 200,00 $US."""
    return str(format_currency(amount, currency, locale=language))
