"""Draws survival curves as SVG paths and counts as bars: no script and no library.

Pure: numbers in, path data out; the template puts them on the page.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from claims.rules.survival import SurvivalPoint

WIDTH, HEIGHT = 640, 260
LEFT, RIGHT, TOP, BOTTOM = 46, 10, 10, 34
DAYS_A_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class Curve:
    """One curve: the path of its steps and of its band."""

    name: str
    line: str
    band: str


@dataclass(frozen=True, slots=True)
class Tick:
    """One mark on a scale: where it is and what it says."""

    at: float
    words: str


@dataclass(frozen=True, slots=True)
class SurvivalChart:
    """Curves with both scales, in pixels of a WIDTH x HEIGHT picture."""

    curves: tuple[Curve, ...]
    years: tuple[Tick, ...]
    shares: tuple[Tick, ...]


def draw_survival(series: Sequence[tuple[str, Sequence[SurvivalPoint], int]]) -> SurvivalChart:
    """Return the chart of several curves.

    Args:
        series: name, points and the longest time watched in days, up to which the last step runs.
    """
    longest = max((days for _, _, days in series), default=1) or 1
    lowest = min((point.lower for _, points, _ in series for point in points), default=0.0)
    bottom = min(int(lowest * 10) / 10, 0.9)

    def x(days: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * days / longest, 1)

    def y(share: float) -> float:
        return round(TOP + (HEIGHT - TOP - BOTTOM) * (1 - share) / (1 - bottom), 1)

    def step(values: Sequence[tuple[int, float]], until: int) -> list[tuple[float, float]]:
        corners, share = [(x(0), y(1.0))], 1.0
        for days, value in values:
            corners += [(x(days), y(share)), (x(days), y(value))]
            share = value
        return [*corners, (x(until), y(share))]

    curves = []
    for name, points, until in series:
        line = step([(point.days, point.share) for point in points], until)
        upper = step([(point.days, point.upper) for point in points], until)
        lower = step([(point.days, point.lower) for point in points], until)
        curves.append(Curve(name, _path(line), _path([*upper, *reversed(lower)]) + " Z"))
    years = int(longest / DAYS_A_YEAR)
    every = max(1, round(years / 8))
    return SurvivalChart(
        tuple(curves),
        tuple(Tick(x(year * DAYS_A_YEAR), str(year)) for year in range(0, years + 1, every)),
        tuple(
            Tick(y(tenth / 10), f"{tenth * 10} %") for tenth in range(round(bottom * 10), 11, 1 if bottom >= 0.5 else 2)
        ),
    )


def _path(corners: Sequence[tuple[float, float]]) -> str:
    return "M " + " L ".join(f"{x:g} {y:g}" for x, y in corners)


BAR_ROW = 34
MOST_BARS = 12


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar with its name above it: ``width`` in per cent of the picture, heights in pixels."""

    name: str
    count: int
    text_y: int
    bar_y: int
    width: float


@dataclass(frozen=True, slots=True)
class BarChart:
    """The largest counts as bars; ``left_out`` further ones stand in the table only."""

    bars: tuple[Bar, ...]
    height: int
    left_out: int


def draw_bars(counts: Sequence[tuple[str, int]]) -> BarChart | None:
    """Return the bars of counts that are sorted, most first; None where there is nothing to draw."""
    shown = counts[:MOST_BARS]
    if not shown:
        return None
    most = max(count for _, count in shown) or 1
    bars = tuple(
        Bar(name, count, BAR_ROW * number + 13, BAR_ROW * number + 18, round(100 * count / most, 2))
        for number, (name, count) in enumerate(shown)
    )
    return BarChart(bars, BAR_ROW * len(shown), len(counts) - len(shown))
