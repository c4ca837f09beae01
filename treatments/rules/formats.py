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
def format_number(number: Decimal | int, language: str) -> str:
    """Return a number as a language writes it; English groups no digits here, as the rules' sentences do not."""
    grouped = language != ENGLISH and abs(Decimal(number)) >= _GROUPED_FROM
    told: str = format_decimal(number, locale=language, decimal_quantization=False, group_separator=grouped)
    return told


def format_money(amount: Decimal, currency: str, language: str) -> str:
    """Return an amount of money; English writes the code of the currency behind it, as the rules' sentences do."""
    return f"{amount} {currency}" if language == ENGLISH else str(format_currency(amount, currency, locale=language))
