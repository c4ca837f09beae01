"""Rust grades at, just below and just above every boundary."""

from decimal import Decimal

import pytest

from treatments.records.rules.rust_grade import grade_astm_d610, grade_iso_4628_3, grade_rust_over

STEP = Decimal("0.0001")


@pytest.mark.parametrize(
    ("grade", "upper"),
    # ASTM D610, rusted area in per cent; from the standard's text.
    [(10, "0.01"), (9, "0.03"), (8, "0.1"), (7, "0.3"), (6, "1"), (5, "3"), (4, "10"), (3, "16"), (2, "33"), (1, "50")],
)
def test_astm_d610(grade: int, upper: str) -> None:
    assert grade_astm_d610(Decimal(upper) - STEP) == grade
    assert grade_astm_d610(Decimal(upper)) == grade
    assert grade_astm_d610(Decimal(upper) + STEP) == grade - 1


@pytest.mark.parametrize(
    ("grade", "point", "above"),
    # ISO 4628-3 reference points; second hand (Ri 5 from memory). Between points the higher grade is our own choice.
    [
        ("Ri 0", "0", "Ri 1"),
        ("Ri 1", "0.05", "Ri 2"),
        ("Ri 2", "0.5", "Ri 3"),
        ("Ri 3", "1", "Ri 4"),
        ("Ri 4", "8", "Ri 5"),
    ],
)
def test_iso_4628_3(grade: str, point: str, above: str) -> None:
    assert grade_iso_4628_3(Decimal(point)) == grade
    assert grade_iso_4628_3(Decimal(point) + STEP) == above
    if point != "0":
        assert grade_iso_4628_3(Decimal(point) - STEP) == grade
    assert grade_iso_4628_3(Decimal(45)) == "Ri 5"


def test_the_grade_of_a_whole_is_not_the_worst_of_its_parts() -> None:
    whole = grade_rust_over([(Decimal(9), Decimal(0)), (Decimal(1), Decimal(20))])
    assert whole.percent == 2
    assert whole.astm_d610 == 5
    for wrong in (Decimal("-0.1"), Decimal("100.1")):
        with pytest.raises(ValueError, match="not between 0 and 100"):
            grade_astm_d610(wrong)
