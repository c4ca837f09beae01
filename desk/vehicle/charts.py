"""Draws the rust grade of one zone over time, small enough for a cell of a table; all zones share one scale of days.
Pictures that help to judge a rusted area by eye: squares with spots that cover just that share, drawn by us. Lays a
cover out along the days: its states as one band, the windows of what is due below, years and today as marks.
"""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from django.utils.html import format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from scheduling.covers.rules.cover import CoverOnDay
from scheduling.covers.rules.due_item import DueItem, DueKind
from treatments.records.rules.rust_grade import grade_iso_4628_3, grade_rust
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


# A label needs so much of the width, in per cent, or it stays in the list only.
LABEL_WIDTH = 4.0
MOST_YEARS = 8
# A year is some 30 pixels wide, and the band 280 on the narrowest telephone.
LAST_YEAR_X = 87.0


@dataclass(frozen=True, slots=True)
class Segment:
    """One state from a day until the day before the next; ``expected`` lies ahead, if nothing more is recorded."""

    number: int
    x: float
    width: float
    middle: float
    state: CoverOnDay
    until: date
    expected: bool

    @property
    def has_label(self) -> bool:
        return self.width >= LABEL_WIDTH


@dataclass(frozen=True, slots=True)
class Window:
    """When something is due: from ``x`` for ``width`` until its last day, then ``grace_width`` of grace."""

    x: float
    width: float
    grace_x: float
    grace_width: float
    is_reinspection: bool
    needs_doing: bool


@dataclass(frozen=True, slots=True)
class YearMark:
    x: float
    words: str

    @property
    def is_near_the_end(self) -> bool:
        """Whether its words would run past the end on a narrow page, so that they go before the mark."""
        return self.x > LAST_YEAR_X


@dataclass(frozen=True, slots=True)
class Band:
    """The whole picture. ``day_x`` is the day looked at, ``today_x`` today; None where they lie outside or agree."""

    first: date
    last: date
    segments: tuple[Segment, ...]
    windows: tuple[Window, ...]
    years: tuple[YearMark, ...]
    today_x: float | None
    day_x: float | None


def find_horizon(items: Sequence[DueItem], today: date, *, is_over: bool) -> date:
    """Return up to which day the band runs: past the grace of all that is due, half a year at least."""
    ahead = today + timedelta(days=30 if is_over else 183)
    grace = [item.dates.grace_until for item in items if item.needs_doing and not is_over]
    # Two years ahead nothing is told that anybody would act on.
    return min(max([ahead, *(day + timedelta(days=30) for day in grace)]), today + timedelta(days=730))


def lay_band(
    changes: Sequence[CoverOnDay], items: Sequence[DueItem], first: date, last: date, *, today: date, day: date
) -> Band:
    """Return the band from ``first`` to ``last``.

    Args:
        changes: the states, oldest first, as ``list_cover_changes`` gives them for these days.
        items: the due items as of the day that is looked at.
        today: what lies after it is only expected.
        day: the day that is looked at.
    """
    span = max((last - first).days + 1, 1)

    def place(at: date) -> float:
        return round(100 * min(max((at - first).days / span, 0.0), 1.0), 2)

    segments: list[Segment] = []
    tomorrow = today + timedelta(days=1)
    for number, state in enumerate(changes, start=1):
        start = state.day
        end = changes[number].day if number < len(changes) else last + timedelta(days=1)
        cuts = [start, end]
        if start < tomorrow < end:
            cuts = [start, tomorrow, end]
        for begin, stop in pairwise(cuts):
            x, width = place(begin), round(place(stop) - place(begin), 2)
            until = stop - timedelta(days=1)
            segments.append(Segment(number, x, width, round(x + width / 2, 2), state, until, begin > today))
    windows = []
    for item in items:
        dates = item.dates
        if dates.grace_until < first or dates.opens_on > last:
            continue
        after_last, after_grace = dates.last_on + timedelta(days=1), dates.grace_until + timedelta(days=1)
        x, grace_x = place(dates.opens_on), place(after_last)
        windows.append(
            Window(
                x,
                round(grace_x - x, 2),
                grace_x,
                round(place(after_grace) - grace_x, 2),
                item.kind is DueKind.REINSPECTION,
                item.needs_doing,
            )
        )
    years = [year for year in range(first.year + 1, last.year + 1) if date(year, 1, 1) >= first]
    every = max(1, -(-len(years) // MOST_YEARS))
    return Band(
        first,
        last,
        tuple(segments),
        tuple(windows),
        tuple(YearMark(place(date(year, 1, 1)), str(year)) for year in years if year % every == 0),
        place(today) if first <= today <= last else None,
        place(day) if day != today and first <= day <= last else None,
    )
