"""VINs against published worked numbers and an independent package."""

import random

import pytest
import vininfo

from treatments.vehicles.rules.vin import (
    ALPHABET,
    VALUES,
    WEIGHTS,
    check_vin,
    compute_check_digit,
    list_model_years,
    suggest_corrections,
)


@pytest.mark.parametrize(
    ("vin", "weighted_sum", "digit"),
    [
        # 49 CFR 565.15, the regulation's own sample; text, recomputed.
        ("1G4AH59H45G118341", 411, "4"),
        # Common published test VINs; second hand, recomputed.
        ("11111111111111111", 89, "1"),
        ("1M8GDM9AXKP042788", 351, "X"),
    ],
)
def test_published_check_digits(vin: str, weighted_sum: int, digit: str) -> None:
    assert sum(VALUES[sign] * weight for sign, weight in zip(vin, WEIGHTS, strict=True)) == weighted_sum
    assert compute_check_digit(vin) == digit
    assert check_vin(vin).acceptable
    wrong = vin[:16] + ("1" if vin[16] != "1" else "2")
    assert not check_vin(wrong).acceptable


def test_an_independent_package_agrees_on_random_numbers() -> None:
    # The package vininfo, an implementation that is not ours.
    chance = random.Random(565)
    agreed = {True: 0, False: 0}
    for number in range(3000):
        vin = "1" + "".join(chance.choices(ALPHABET, k=16))
        if number % 2:
            vin = vin[:8] + compute_check_digit(vin) + vin[9:]
        theirs = vininfo.Vin(vin).verify_checksum(check_year=False)
        assert theirs == check_vin(vin).acceptable, vin
        agreed[theirs] += 1
    assert min(agreed.values()) > 1000


@pytest.mark.parametrize(
    ("code", "years"),
    [
        # Position 10 by 49 CFR 565.15 table VII; second hand. A digit in position 7 means the first year.
        ("A", (1980, 2010)), ("H", (1987, 2017)), ("J", (1988, 2018)), ("N", (1992, 2022)), ("P", (1993, 2023)),
        ("R", (1994, 2024)), ("T", (1996, 2026)), ("V", (1997, 2027)), ("Y", (2000, 2030)), ("1", (2001, 2031)),
        ("9", (2009, 2039)),
    ],
)  # fmt: skip
def test_model_years(code: str, years: tuple[int, int]) -> None:
    for seventh, expected in (("5", years[0]), ("F", years[1])):
        vin = f"1XXAA{'A'}{seventh}A0{code}A000001"
        assert list_model_years(vin, light_vehicle=True) == (expected,)
        assert set(list_model_years(vin)) == set(years)  # ambiguous where the vehicle may be a heavy one
    for never in "IOQUZ0":
        assert list_model_years(f"1XXAAA5A0{never}A000001") == ()


def test_every_single_error_that_is_detected_can_be_corrected_back() -> None:
    vin = "1M8GDM9AXKP042788"
    for place in range(17):
        for sign in ALPHABET:
            broken = vin[:place] + sign + vin[place + 1 :]
            if broken != vin and not check_vin(broken).acceptable and broken[0] in "12345":
                assert vin in [correction.vin for correction in suggest_corrections(broken)], broken
    for place in range(16):
        swapped = vin[:place] + vin[place + 1] + vin[place] + vin[place + 2 :]
        if swapped != vin and swapped[0] in "12345" and not check_vin(swapped).acceptable:
            first_swaps = [c.vin for c in suggest_corrections(swapped) if c.how == "swap"]
            assert vin in first_swaps, swapped
