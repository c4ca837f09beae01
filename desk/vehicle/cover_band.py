"""Lays a cover out along the days: its states as one band, the windows of what is due below, years and today as marks.

Pure: states and due items in, places in per cent of the width out; the template draws them and says them in words.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from scheduling.covers.rules.cover import CoverOnDay
from scheduling.covers.rules.due_item import DueItem, DueKind

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
