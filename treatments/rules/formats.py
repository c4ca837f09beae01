"""How dates, numbers and money are written in a language, by Babel; mails, documents and pages use the same."""

import re
from datetime import date
from decimal import Decimal
from functools import lru_cache

from babel.dates import format_date
from babel.numbers import format_currency, format_decimal, get_currency_precision, list_currencies

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


# An amount as the rules write it, e.g. 1200.00 USD; not a count before a word in capitals.
_MONEY = re.compile(r"(?<![\w.,-])(-?\d+(?:\.(\d+))?) ([A-Z]{3})(?!\w)")


def format_money_in(sentence: str, language: str) -> str:
    """Return a sentence of the rules with its amounts of money as a language writes them."""

    def rewrite(found: re.Match[str]) -> str:
        amount, decimals, currency = found.groups()
        if currency not in _list_currencies() or len(decimals or "") != get_currency_precision(currency):
            return found.group()
        return format_money(Decimal(amount), currency, language)

    return _MONEY.sub(rewrite, sentence)


@lru_cache(maxsize=1)
def _list_currencies() -> frozenset[str]:
    return frozenset(list_currencies())
