"""How one day of duty becomes four dates: when its window opens, the target, the last day and the last day of grace.

Every date is counted from the first anchor with calendar months that clip (29 February + 12 months is 28 February).
"""

from dataclasses import dataclass
from datetime import date, timedelta

from dateutil.relativedelta import relativedelta

from scheduling.rules.calendars import WorkingCalendar
from scheduling.rules.terms import Roll, SeasonTerms


@dataclass(frozen=True, slots=True)
class DutyDates:
    """opens <= target <= last <= grace, and the sentence that explains them."""

    opens_on: date
    target_on: date
    last_on: date
    grace_until: date
    sentence: str


def add_months(anchor: date, months: int) -> date:
    """Return the same day ``months`` calendar months later, clipped to the last day of a shorter month.

    Clipping follows dateutil.relativedelta; counting from the first anchor each time keeps 31 January or
    29 February from sticking to an earlier day, as a chain of steps would.
    """
    return anchor + relativedelta(months=months)


def is_in_season(seasons: tuple[SeasonTerms, ...], day: date) -> bool:
    """Say whether ``day`` lies in one of the seasons; a season may run over New Year."""
    here = (day.month, day.day)
    for season in seasons:
        first = (season.first_month, season.first_day)
        last = (season.last_month, season.last_day)
        if first <= here <= last if first <= last else here >= first or here <= last:
            return True
    return False


def find_season_day(
    seasons: tuple[SeasonTerms, ...], calendar: WorkingCalendar, first: date, last: date, *, open_only: bool
) -> date | None:
    """Return the latest day in a season from ``first`` to ``last``, open if asked for, or None."""
    day = last
    while day >= first:
        if is_in_season(seasons, day) and (not open_only or calendar.is_open(day)):
            return day
        day -= timedelta(days=1)
    return None


def lay_dates(
    raw: date,
    because: str,
    *,
    window_before_days: int,
    window_after_days: int,
    grace_days: int,
    roll: Roll,
    calendar: WorkingCalendar,
    seasons: tuple[SeasonTerms, ...] = (),
    end_of_cover: date | None = None,
) -> DutyDates:
    """Lay the four dates around ``raw``, the day that the interval alone gives.

    The target is pulled back into the preferred season where the window allows it, else moved to the next open
    day; so are the last day and the last day of grace. None of them is later than the last day of cover.

    Args:
        raw: the day that the interval alone gives; must not be after ``end_of_cover``.
        because: the words that explain ``raw``, e.g. "12 months after 2026-03-14".

    Returns:
        The dates with one sentence that explains them.
    """
    rolls = roll is Roll.NEXT_OPEN_DAY

    def move(day: date) -> date:
        moved = calendar.find_open_day_from(day) if rolls else day
        return min(moved, end_of_cover) if end_of_cover else moved

    opens_on = raw - timedelta(days=window_before_days)
    parts = [f"{because} is {raw}"]
    pulled = None
    if seasons and not is_in_season(seasons, raw):
        pulled = find_season_day(seasons, calendar, opens_on, raw, open_only=rolls)
    closed = calendar.explain_closed(raw) if rolls else ""
    if pulled:
        target_on = pulled
        parts.append(f"moved earlier into the preferred season, to {target_on}")
    elif closed:
        target_on = move(raw)
        if target_on == raw:
            parts.append(f"{raw} is {closed}, but the cover ends on {end_of_cover}, so it stays")
        elif calendar.is_open(target_on):
            parts.append(f"{raw} is {closed}; moved to the next open day, {target_on}")
        else:
            parts.append(f"{raw} is {closed}; moved to {target_on}, the last day of cover")
    else:
        target_on = raw
    last_raw = raw + timedelta(days=window_after_days)
    last_on = max(move(last_raw), target_on)
    grace_until = max(move(last_raw + timedelta(days=grace_days)), last_on)
    return DutyDates(
        opens_on=min(opens_on, target_on),
        target_on=target_on,
        last_on=last_on,
        grace_until=grace_until,
        sentence="; ".join(parts) + ".",
    )
