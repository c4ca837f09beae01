"""Money as an amount with its currency, rounded to what the currency can be paid in.

Halves are rounded away from zero, as a cashier does; the number of decimals is that of ISO 4217.
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from babel.numbers import get_currency_precision


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
