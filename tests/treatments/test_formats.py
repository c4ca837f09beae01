"""Amounts of money as a person reads them, by themselves and in the sentences of the rules."""

from decimal import Decimal

import pytest

from treatments.rules.formats import format_money, format_money_in
from treatments.rules.money import Money
from treatments.rules.speaking import speak


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


@pytest.mark.parametrize(
    ("sentence", "told"),
    [
        (f"We will pay {Money(Decimal('1234.50'), 'USD')}.", "We will pay $1,234.50."),
        (f"{Money(Decimal('40.00'), 'CAD')} of {Money(Decimal('60.00'), 'CAD')}.", "CA$40.00 of CA$60.00."),
        (f"At most {Money(Decimal(1500), 'JPY')}: reached.", "At most ¥1,500: reached."),
        # No currency, not the decimals of one, and part of another word.
        ("Lot 12.00 QQQ.", "Lot 12.00 QQQ."),
        ("Bay 12 USD.", "Bay 12 USD."),
        ("A-12.00 USDX and B.12.00 USD.", "A-12.00 USDX and B.12.00 USD."),
    ],
)
def test_money_in_a_sentence_of_the_rules(sentence: str, told: str) -> None:
    assert format_money_in(sentence, "en") == told
    assert speak(sentence, "en") == told


def test_a_sentence_with_money_is_told_in_french() -> None:
    assert "1\u202f234,50\u00a0$US" in speak("We will pay 1234.50 USD.", "fr")
