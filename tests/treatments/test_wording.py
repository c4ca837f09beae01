"""How dates, amounts, counts and zones are put for people, and what is left as it was written."""

from datetime import date
from decimal import Decimal

import pytest
from django.utils.translation import override

from tests.treatments.test_log_rules import CATALOGUE
from treatments.rules.units import DistanceUnit, VolumeUnit, format_plain_number
from treatments.rules.wording import format_count, make_plural
from treatments.shared.amounts import render_amount
from treatments.shared.labels import count_access
from treatments.shared.rendering import render_day


def test_a_day_is_written_out() -> None:
    with override("en"):
        assert render_day(date(2025, 9, 25)) == "25 September 2025"
        assert render_day(date(2028, 2, 29)) == "29 February 2028"
        assert render_day(None) == "–"


def test_counts_agree_with_their_nouns() -> None:
    assert [format_count(count, "zone") for count in (0, 1, 2)] == ["0 zones", "1 zone", "2 zones"]
    for one, several in (
        ("enclosed cavity", "enclosed cavities"), ("day", "days"), ("plug under the sill", "plugs under the sill"),
        ("opening in the frame", "openings in the frame"), ("box", "boxes"),
        ("trim opening in the load space", "trim openings in the load space"),
    ):  # fmt: skip
        assert make_plural(one) == several


def test_every_access_point_of_the_catalogue_reads_well() -> None:
    assert count_access("drain hole", 2) == "2 drain holes"
    assert count_access("open seam", 4) == "4 open seams"
    assert count_access("drain hole", 1) == "1 drain hole"
    assert count_access("drain hole", None) == "drain hole"
    assert count_access("open", 1) == "open"
    assert count_access("open, mats out", 1) == "open, mats out"
    assert count_access("behind the liner", 1) == "behind the liner"
    assert count_access("behind the liner", 2) == "behind the liner (2 places)"
    told = {count_access(point.name, point.count) for zone in CATALOGUE for point in zone.access_points}
    assert not [words for words in told if words.startswith("1 ") and words.endswith("s")]


@pytest.mark.parametrize(
    ("amount", "unit", "told"),
    [
        ("0.200", VolumeUnit.US_QUART, "0.2 US quarts"),
        ("1.000", VolumeUnit.US_QUART, "1 US quart"),
        ("1.5", VolumeUnit.LITRE, "1.5 litres"),
        ("100", VolumeUnit.MILLILITRE, "100 ml"),
        ("1E+2", VolumeUnit.US_GALLON, "100 US gallons"),
        ("129023.0", DistanceUnit.KILOMETRE, "129,023 km"),
        ("1", DistanceUnit.MILE, "1 mile"),
        ("12345.499", DistanceUnit.KILOMETRE, "12,345 km"),
        ("12345.500", DistanceUnit.KILOMETRE, "12,346 km"),
        ("0.6", DistanceUnit.MILE, "1 mile"),
        ("3", "barrel", "3 barrel"),
    ],
)
def test_amounts_show_no_digit_that_says_nothing(amount: str, unit: str, told: str) -> None:
    with override("en"):
        assert render_amount(Decimal(amount), unit) == told


def test_a_number_keeps_its_value() -> None:
    assert [format_plain_number(Decimal(text)) for text in ("0", "0.0", "10", "1234.50", "-3.0")] == [
        "0", "0", "10", "1,234.5", "-3",
    ]  # fmt: skip
