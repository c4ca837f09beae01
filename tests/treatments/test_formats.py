"""Amounts of money as a person reads them."""

from decimal import Decimal

import pytest

from treatments.rules.formats import format_money


@pytest.mark.parametrize(
    ("amount", "currency", "english", "french"),
    [
        ("1200.00", "USD", "$1,200.00", "1\u202f200,00\u00a0$US"),
        ("500", "USD", "$500.00", "500,00\u00a0$US"),
        ("40.5", "CAD", "CA$40.50", "40,50\u00a0$CA"),
        ("1500", "JPY", "¥1,500", "1\u202f500\u00a0JPY"),
    ],
)
def test_money_is_written_as_the_language_does(amount: str, currency: str, english: str, french: str) -> None:
    assert (format_money(Decimal(amount), currency, "en"), format_money(Decimal(amount), currency, "fr")) == (
        english,
        french,
    )
