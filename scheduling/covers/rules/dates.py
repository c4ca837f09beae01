"""How one day of duty becomes four dates: when its window opens, the target, the last day and the last day of grace.

Every date is counted from the first anchor with calendar months that clip (29 February + 12 months is 28 February).
"""

from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import lru_cache

from dateutil.relativedelta import relativedelta

from scheduling.covers.rules.calendars import WorkingCalendar
from scheduling.terms.rules.terms import ReinspectionTerms, Roll, SeasonTerms, Terms


@dataclass(frozen=True, slots=True)
class DutyDates:
    """opens <= target <= last <= grace, and for each of them the words that explain it.

    Attributes:
        sentence: explains the target, from what it is counted.
        why_opens, why_last, why_grace: explain the other three.
    """

    opens_on: date
    target_on: date
    last_on: date
    grace_until: date
    sentence: str
    why_opens: str = ""
    why_last: str = ""
    why_grace: str = ""


@lru_cache(maxsize=100_000)
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


@dataclass(frozen=True, slots=True)
class LaidDates:
    """The four dates around a raw day, before it is said from what that day was counted."""

    opens_on: date
    target_on: date
    last_on: date
    grace_until: date
    moved: str
    why_opens: str
    why_last: str
    why_grace: str

    def explain(self, because: str) -> DutyDates:
        """Return the dates with the sentence that starts with what the raw day was counted from."""
        return DutyDates(
            self.opens_on,
            self.target_on,
            self.last_on,
            self.grace_until,
            because + self.moved,
            self.why_opens,
            self.why_last,
            self.why_grace,
        )


@dataclass(frozen=True, slots=True)
class DutyTable:
    """One version of terms on one calendar: lays the dates of any raw day, and remembers what it has laid.

    A shop's covers share a few terms and calendars but thousands of days, so a batch asks for the same raw days again
    and again. Make one table for each pair of terms and calendar and keep it for the batch.
    """

    terms: Terms
    calendar: WorkingCalendar
    laid: dict[date, LaidDates] = field(default_factory=dict, compare=False, repr=False)

    @property
    def duty(self) -> ReinspectionTerms:
        """Window and grace; touch-ups share the reinspection's, and its usual ones where the terms have none."""
        return self.terms.reinspection or USUAL_DUTY

    def lay(self, raw: date, end_of_cover: date | None) -> LaidDates:
        """Return the four dates around ``raw``, the day that the interval alone gives.

        The target is pulled back into a preferred season where the window allows it, else moved to the next open
        day; so are the last day and the last day of grace. None of them is later than the last day of cover.
        """
        found = self.laid.get(raw)
        if found is None:
            found = self.laid[raw] = _lay(self, raw, None)
        if end_of_cover is None or found.grace_until <= end_of_cover:
            return found  # nothing reaches the end of cover, so it cuts nothing
        return _lay(self, raw, end_of_cover)


USUAL_DUTY = ReinspectionTerms()


@lru_cache(maxsize=256)
def make_table(terms: Terms, calendar: WorkingCalendar) -> DutyTable:
    """Return the table of these terms on this calendar; the same one for the same pair."""
    return DutyTable(terms, calendar)


def _say_days(count: int, word: str) -> str:
    return f"{count} day{'' if count == 1 else 's'} {word}"


def _lay(table: DutyTable, raw: date, end: date | None) -> LaidDates:
    duty, calendar, seasons = table.duty, table.calendar, table.terms.seasons
    rolls = table.terms.roll is Roll.NEXT_OPEN_DAY

    def move(day: date) -> tuple[date, str]:
        """Return the day moved to an open one within the cover, and how it was moved."""
        closed = calendar.explain_closed(day) if rolls else ""
        moved = calendar.find_open_day_from(day) if closed else day
        if end is None or moved <= end:
            return moved, f"; {day} is {closed}; moved to the next open day, {moved}" if closed else ""
        if day == end:
            return end, f"; {day} is {closed}, but the cover ends on {end}, so it stays"
        return end, f"; moved to {end}, the last day of cover"

    opens_on = raw - timedelta(days=duty.window_before_days)
    pulled = None
    if seasons and not is_in_season(seasons, raw):
        pulled = find_season_day(seasons, calendar, opens_on, raw, open_only=rolls)
    if pulled:
        target_on, how = pulled, f"; moved earlier into the preferred season, to {pulled}"
    else:
        target_on, how = move(raw)
    last_raw = raw + timedelta(days=duty.window_after_days)
    grace_raw = last_raw + timedelta(days=duty.grace_days)
    last_on, how_last = move(last_raw)
    grace_until, how_grace = move(grace_raw)
    why_last = (
        f"The last day in the window is {_say_days(duty.window_after_days, 'after')} {raw}{how_last}."
        if duty.window_after_days
        else "The window ends on the target day."
        if last_on <= target_on
        else f"The window ends on {raw}{how_last}."
    )
    why_grace = (
        f"Grace ends {_say_days(duty.grace_days, 'after')} {last_raw}{how_grace}."
        if duty.grace_days
        else "There are no days of grace."
    )
    last_on = max(last_on, target_on)
    return LaidDates(
        opens_on=opens_on,
        target_on=target_on,
        last_on=last_on,
        grace_until=max(grace_until, last_on),
        moved=f" is {raw}{how}.",
        why_opens=f"The window opens {_say_days(duty.window_before_days, 'before')} {raw}.",
        why_last=why_last,
        why_grace=why_grace,
    )


def lay_dates(
    raw: date, because: str, terms: Terms, calendar: WorkingCalendar, end_of_cover: date | None = None
) -> DutyDates:
    """Return the four dates around ``raw`` under these terms on this calendar, explained.

    Args:
        raw: the day that the interval alone gives; must not be after ``end_of_cover``.
        because: the words that explain ``raw``, e.g. "12 months after 2026-03-14".
    """
    return make_table(terms, calendar).lay(raw, end_of_cover).explain(because)
