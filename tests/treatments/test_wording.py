"""How dates, amounts, counts and zones are put for people, and what is left as it was written."""

from datetime import date
from decimal import Decimal

import pytest
from django.utils.translation import override

from tests.treatments.test_log_rules import CATALOGUE
from treatments.rules.units import DistanceUnit, VolumeUnit, tell_number
from treatments.rules.wording import (
    make_plural,
    name_zones_in,
    put_for_people,
    tell_count,
    tell_day,
    tell_days,
)
from treatments.shared.amounts import render_amount
from treatments.shared.labels import count_access

NAMES = {"rocker_left": "Left rocker panel", "rocker_right": "Right rocker panel", "tailgate": "Tailgate"}


def test_a_day_is_written_out() -> None:
    assert tell_day(date(2025, 9, 25)) == "25 September 2025"
    assert tell_day(date(2028, 2, 29)) == "29 February 2028"
    assert tell_day(None) == "–"


@pytest.mark.parametrize(
    ("sentence", "told"),
    [
        ("12 months after 2025-06-10 is 2026-06-10.", "12 months after 10 June 2025 is 10 June 2026."),
        ("In force since 2023-07-25, without end.", "In force since 25 July 2023, without end."),
        ("(2024-01-01)", "(1 January 2024)"),
        # No dates: no such day, a part of a lot number, of an address, of a longer number.
        ("2025-02-30", "2025-02-30"),
        ("lot FC-2025-01-01", "lot FC-2025-01-01"),
        ("lot 2025-01-01-B", "lot 2025-01-01-B"),
        ("http://example.org/2025-01-01/", "http://example.org/2025-01-01/"),
        ("12025-01-01", "12025-01-01"),
    ],
)
def test_dates_in_a_sentence_are_written_out_and_nothing_else(sentence: str, told: str) -> None:
    assert tell_days(sentence) == told


@pytest.mark.parametrize(
    ("sentence", "told"),
    [
        ("zones done first: rocker_right, tailgate.", "zones done first: Right rocker panel, Tailgate."),
        ("too much: rocker_left (4 %).", "too much: Left rocker panel (4 %)."),
        ("Waived on that day: the tailgate was replaced.", "Waived on that day: the tailgate was replaced."),
        ("Waived on that day: tailgate seized.", "Waived on that day: tailgate seized."),
        ("no_such_code, rocker_left_lower", "no_such_code, rocker_left_lower"),
    ],
)
def test_zone_codes_become_names_and_words_stay_words(sentence: str, told: str) -> None:
    assert name_zones_in(sentence, NAMES) == told


def test_every_code_of_the_catalogue_is_named_in_a_list() -> None:
    names = {zone.code: zone.name for zone in CATALOGUE}
    assert put_for_people(f"Not done: {', '.join(names)}.", names) == f"Not done: {', '.join(names.values())}."


def test_counts_agree_with_their_nouns() -> None:
    assert [tell_count(count, "zone") for count in (0, 1, 2)] == ["0 zones", "1 zone", "2 zones"]
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
    assert [tell_number(Decimal(text)) for text in ("0", "0.0", "10", "1234.50", "-3.0")] == [
        "0", "0", "10", "1,234.5", "-3",
    ]  # fmt: skip
