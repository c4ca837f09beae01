"""How dates, numbers and money are written in a language, by Babel; mails, documents and pages use the same. Money as
an amount with its currency, rounded to what the currency can be paid in.
"""

from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache

from babel.dates import format_date
from babel.numbers import format_currency, format_decimal, get_currency_precision


@dataclass(frozen=True, slots=True)
class Money:
    """An amount in a currency (ISO 4217)."""

    amount: Decimal
    currency: str

    def __str__(self) -> str:
        """Return the amount as the rules' sentences write it, e.g. 40.00 USD; ``formats`` writes it for people."""
        return f"{round_to_currency(self.amount, self.currency)} {self.currency}"

    def with_amount(self, amount: Decimal) -> "Money":
        """Return this currency with another amount, rounded to what can be paid."""
        return Money(round_to_currency(amount, self.currency), self.currency)


def round_to_currency(amount: Decimal, currency: str) -> Decimal:
    """Return the amount with the decimals of its currency, halves away from zero."""
    return amount.quantize(Decimal(1).scaleb(-get_currency_precision(currency)), rounding=ROUND_HALF_UP)


ENGLISH = "en"


@lru_cache(maxsize=8192)
def format_day(day: date, language: str) -> str:
    """Return a day with its month in words, e.g. 25 September 2025."""
    told: str = format_date(day, "d MMMM y", locale=language)
    return f"1er{told[1:]}" if language == "fr" and day.day == 1 else told


def format_month(day: date, language: str) -> str:
    """Return the month of a day with its year, e.g. September 2025."""
    told: str = format_date(day, "LLLL y", locale=language)
    return told


@lru_cache(maxsize=8192)
def format_number(number: Decimal | int, language: str) -> str:
    """Return a number as a language writes it, its digits in groups; a year is no number, but a text."""
    return str(format_decimal(number, locale=language, decimal_quantization=False))


@lru_cache(maxsize=8192)
def format_money(amount: Decimal, currency: str, language: str) -> str:
    """Return an amount of money as a language writes it, e.g. $1,200.00 or 1 200,00 $US."""
    return str(format_currency(amount, currency, locale=language))
