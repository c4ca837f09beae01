"""Pictures that help to judge a rusted area by eye: squares with spots that cover just that share, drawn by us."""

import math
import random
from dataclasses import dataclass
from decimal import Decimal

from django.utils.html import format_html_join
from django.utils.safestring import SafeString

from treatments.records.rules.rust_grade import grade_rust

EDGE = 100
# Spots of middling size: few large ones would mislead as much as a dust of small ones.
SPOTS = {"0": 0, "0.05": 2, "0.5": 8, "1": 14, "8": 40, "45": 90}
CELLS = 10


@dataclass(frozen=True, slots=True)
class AreaPicture:
    """A square of EDGE by EDGE with spots as (x, y, radius), which cover ``percent`` of it without touching."""

    percent: str
    grade: str
    spots: tuple[tuple[float, float, float], ...]
    circles: SafeString  # the spots as SVG, written once for all pages


def draw_area(percent: str, count: int) -> AreaPicture:
    """Return the picture of a share in per cent: equal spots in cells of a grid chosen by a fixed shuffle.

    A spot of radius r covers pi r^2, so r = sqrt(share * EDGE^2 / (count * pi)); it must fit into its cell.
    """
    grade = grade_rust(Decimal(percent)).iso_4628_3
    if not count:
        return AreaPicture(percent, grade, (), SafeString())
    radius = math.sqrt(float(percent) / 100 * EDGE * EDGE / (count * math.pi))
    cell = EDGE / CELLS
    assert 2 * radius <= cell, "spots would overlap, and cover less than they should"
    chance = random.Random(4628)  # the same picture each time
    cells = chance.sample(range(CELLS * CELLS), count)
    room = cell - 2 * radius
    spots = tuple(
        (
            round(number % CELLS * cell + radius + room * chance.random(), 2),
            round(number // CELLS * cell + radius + room * chance.random(), 2),
            round(radius, 3),
        )
        for number in cells
    )
    return AreaPicture(percent, grade, spots, _write_circles(spots))


def _write_circles(spots: tuple[tuple[float, float, float], ...]) -> SafeString:
    return format_html_join("", '<circle cx="{}" cy="{}" r="{}"/>', ((str(x), str(y), str(r)) for x, y, r in spots))


PICTURES = tuple(draw_area(percent, count) for percent, count in SPOTS.items())
