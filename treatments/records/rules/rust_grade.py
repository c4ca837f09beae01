"""Grades of rust from the rusted area in per cent: ISO 4628-3 and ASTM D610.

The measured per cent is always kept beside the grade, since the grade of a whole is not the worst grade of its parts.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

# ASTM D610, table 1: the upper bound of each grade in per cent of rusted area.
ASTM_D610_UPPER = (
    (10, Decimal("0.01")),
    (9, Decimal("0.03")),
    (8, Decimal("0.1")),
    (7, Decimal("0.3")),
    (6, Decimal(1)),
    (5, Decimal(3)),
    (4, Decimal(10)),
    (3, Decimal(16)),
    (2, Decimal(33)),
    (1, Decimal(50)),
)
# ISO 4628-3, table 1: the rusted area of each reference picture. They are points, not bins: a value between two is
# given the higher grade here, so that rust is never graded better than it was measured. That is our own choice.
# Ri 5 is a picture of 40 to 50 % (from memory); everything above Ri 4 falls to it.
ISO_4628_3_POINTS = (
    ("Ri 0", Decimal(0)),
    ("Ri 1", Decimal("0.05")),
    ("Ri 2", Decimal("0.5")),
    ("Ri 3", Decimal(1)),
    ("Ri 4", Decimal(8)),
)


@dataclass(frozen=True, slots=True)
class RustGrade:
    """A rusted area in per cent with both grades."""

    percent: Decimal
    iso_4628_3: str
    astm_d610: int


def _check(rusted_area_percent: Decimal) -> None:
    if not 0 <= rusted_area_percent <= 100:
        raise ValueError(f"Rusted area {rusted_area_percent} % is not between 0 and 100: correct it.")


def grade_astm_d610(rusted_area_percent: Decimal) -> int:
    """Return the ASTM D610 grade, 10 (none) to 0 (more than 50 %).

    Raises:
        ValueError: outside 0 to 100 %.
    """
    _check(rusted_area_percent)
    return next((grade for grade, upper in ASTM_D610_UPPER if rusted_area_percent <= upper), 0)


def grade_iso_4628_3(rusted_area_percent: Decimal) -> str:
    """Return the ISO 4628-3 grade, "Ri 0" to "Ri 5": the next reference point at or above the value.

    Raises:
        ValueError: outside 0 to 100 %.
    """
    _check(rusted_area_percent)
    return next((grade for grade, point in ISO_4628_3_POINTS if rusted_area_percent <= point), "Ri 5")


def grade_rust(rusted_area_percent: Decimal) -> RustGrade:
    """Return both grades of a rusted area in per cent."""
    return RustGrade(rusted_area_percent, grade_iso_4628_3(rusted_area_percent), grade_astm_d610(rusted_area_percent))


def grade_rust_over(zones: Iterable[tuple[Decimal, Decimal]]) -> RustGrade:
    """Return the grades of several zones together, each given as area in m2 and rusted per cent, weighted by area.

    Raises:
        ValueError: without any area.
    """
    listed = list(zones)
    area_m2 = sum((area for area, _ in listed), Decimal(0))
    if area_m2 <= 0:
        raise ValueError("No area to grade: give at least one zone with an area above 0.")
    return grade_rust(sum((area * percent for area, percent in listed), Decimal(0)) / area_m2)
