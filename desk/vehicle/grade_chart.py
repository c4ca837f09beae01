"""Draws the rust grade of one zone over time, small enough for a cell of a table; all zones share one scale of days.

What inspections saw goes in, coordinates and words come out; the template puts them on the page.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from treatments.records.rules.rust_grade import grade_iso_4628_3
from treatments.shared.rendering import render_day

WIDTH, HEIGHT = 132, 36
LEFT, RIGHT, TOP, BOTTOM = 5.0, 38.0, 5.0, 5.0
WORST_GRADE = 5


@dataclass(frozen=True, slots=True)
class Seen:
    """What one inspection measured on a zone, the rusted area in per cent."""

    day: date
    percent: Decimal
    perforated: bool = False


@dataclass(frozen=True, slots=True)
class Dot:
    """One inspection on the chart."""

    x: float
    y: float
    perforated: bool


@dataclass(frozen=True, slots=True)
class GradeChart:
    """A line of dots, lower is better; ``last`` is the latest grade, ``words`` tells all of it."""

    dots: tuple[Dot, ...]
    line: str
    last: str
    last_y: float
    words: str


def draw_grades(seen: Sequence[Seen], first: date, last: date) -> GradeChart | None:
    """Return the chart of one zone, None where nothing was measured.

    Args:
        seen: oldest first.
        first, last: the days at both ends of the scale, the same for every zone of the vehicle.
    """
    if not seen:
        return None
    span = max((last - first).days, 1)
    dots, words = [], []
    for one in seen:
        grade = grade_iso_4628_3(one.percent)
        share = min(max((one.day - first).days / span, 0.0), 1.0)
        x = round(LEFT + (WIDTH - LEFT - RIGHT) * share, 1)
        y = round(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * int(grade[-1]) / WORST_GRADE, 1)
        dots.append(Dot(x, y, one.perforated))
        seen_on = {"grade": grade, "day": render_day(one.day)}
        told = _("%(grade)s on %(day)s, perforated") if one.perforated else _("%(grade)s on %(day)s")
        words.append(told % seen_on)
    line = " ".join(f"{dot.x:g},{dot.y:g}" for dot in dots)
    return GradeChart(
        tuple(dots), line, grade_iso_4628_3(seen[-1].percent), dots[-1].y, pgettext("punctuation", "; ").join(words)
    )
