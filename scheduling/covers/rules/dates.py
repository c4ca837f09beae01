"""How one day of duty becomes four dates: when its window opens, the target, the last day and the last day of grace.
Which days a site is open: its weekdays, less public holidays and its own closed days.
"""

from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import lru_cache

import holidays
from dateutil.relativedelta import relativedelta

from scheduling.terms.rules.terms import ReinspectionTerms, Roll, SeasonTerms, Terms
from treatments.rules.explanation import Explanation, Param, explain
from treatments.rules.site_settings import NotComputableError

# Longer than any real closure; a calendar that stays shut longer is a mistake in its closed days.
MOST_DAYS_CLOSED_IN_A_ROW = 366


WEEKDAYS_CLOSED = {weekday: Explanation(f"calendar.weekday.{weekday}") for weekday in range(1, 8)}
CLOSED_DAY = Explanation("calendar.closed_day")
PUBLIC_HOLIDAY = Explanation("calendar.public_holiday")


class CalendarError(NotComputableError):
    """A calendar that can't be used; the explanation says which part of it is wrong and what to do."""


@lru_cache(maxsize=4096)
def find_public_holidays(country: str, subdivision: str, year: int) -> frozenset[date]:
    """Return the public holidays of a country (ISO 3166-1 alpha-2) and subdivision in a year, observed ones too."""
    try:
        found = holidays.country_holidays(country, subdiv=subdivision or None, years=year)
    except NotImplementedError as error:
        raise CalendarError(explain("calendar.unknown_country", country=country, subdivision=subdivision)) from error
    return frozenset(found)


@dataclass(frozen=True, slots=True)
class WorkingCalendar:
    """When a site is open. ``open_weekdays`` are ISO 8601 numbers, 1 is Monday; no country means no holidays.

    A calendar with a ``fault`` answers nothing: whoever asks it is told what is wrong with the site's settings. It is
    made all the same, so that the other sites have theirs.
    """

    open_weekdays: frozenset[int] = frozenset({1, 2, 3, 4, 5})
    country: str = ""
    subdivision: str = ""
    closed_days: frozenset[date] = frozenset()
    fault: tuple[Explanation, ...] = ()

    def __post_init__(self) -> None:
        if not self.open_weekdays or not self.open_weekdays <= set(range(1, 8)):
            raise CalendarError(explain("calendar.weekdays", weekdays=tuple(sorted(self.open_weekdays))))

    def explain_closed(self, day: date) -> Explanation | None:
        """Return why the site is closed on ``day`` ("a Sunday", "a public holiday", …), None where it is open."""
        if self.fault:
            raise CalendarError(*self.fault)
        if day.isoweekday() not in self.open_weekdays:
            return WEEKDAYS_CLOSED[day.isoweekday()]
        if day in self.closed_days:
            return CLOSED_DAY
        if self.country and day in find_public_holidays(self.country, self.subdivision, day.year):
            return PUBLIC_HOLIDAY
        return None

    def is_open(self, day: date) -> bool:
        return self.explain_closed(day) is None

    def find_open_day_from(self, day: date) -> date:
        """Return ``day`` or the first open day after it."""
        for step in range(MOST_DAYS_CLOSED_IN_A_ROW):
            candidate = day + timedelta(days=step)
            if self.is_open(candidate):
                return candidate
        raise CalendarError(explain("calendar.no_open_day", after_on=day))


@dataclass(frozen=True, slots=True)
class DutyDates:
    """opens <= target <= last <= grace, and for each of them why it is so; the target tells from what it is counted."""

    opens_on: date
    target_on: date
    last_on: date
    grace_until: date
    why_target: Explanation
    why_opens: Explanation
    why_last: Explanation
    why_grace: Explanation


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
    """The four dates around a raw day, before it is explained from what that day was counted."""

    opens_on: date
    target_on: date
    last_on: date
    grace_until: date
    raw_on: date
    moved: Explanation | None
    why_opens: Explanation
    why_last: Explanation
    why_grace: Explanation

    def explain(self, code: str, **counted: Param) -> DutyDates:
        """Return the dates with why each is so.

        Args:
            code: explains what the raw day was counted from.
            counted: its parameters.
        """
        return DutyDates(
            self.opens_on,
            self.target_on,
            self.last_on,
            self.grace_until,
            explain(code, **counted, raw_on=self.raw_on, moved=self.moved),
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


def _lay(table: DutyTable, raw: date, end: date | None) -> LaidDates:
    duty, calendar, seasons = table.duty, table.calendar, table.terms.seasons
    rolls = table.terms.roll is Roll.NEXT_OPEN_DAY

    def move(day: date) -> tuple[date, Explanation | None]:
        """Return the day moved to an open one within the cover, and how it was moved."""
        closed = calendar.explain_closed(day) if rolls else None
        moved = calendar.find_open_day_from(day) if closed else day
        if end is None or moved <= end:
            how = explain("due.moved.open_day", closed_on=day, closed=closed, moved_on=moved) if closed else None
            return moved, how
        if day == end:
            return end, explain("due.moved.stays", closed_on=day, closed=closed, end_on=end)
        return end, explain("due.moved.end_of_cover", end_on=end)

    opens_on = raw - timedelta(days=duty.window_before_days)
    pulled = None
    if seasons and not is_in_season(seasons, raw):
        pulled = find_season_day(seasons, calendar, opens_on, raw, open_only=rolls)
    target_on, how = (pulled, explain("due.moved.season", moved_on=pulled)) if pulled else move(raw)
    last_raw = raw + timedelta(days=duty.window_after_days)
    grace_raw = last_raw + timedelta(days=duty.grace_days)
    last_on, how_last = move(last_raw)
    grace_until, how_grace = move(grace_raw)
    if duty.window_after_days:
        why_last = explain("due.last", days=duty.window_after_days, raw_on=raw, moved=how_last)
    elif last_on == target_on:
        why_last = explain("due.last.target")
    else:
        why_last = explain("due.last.raw", raw_on=raw, moved=how_last)
    why_grace = explain("due.grace.none")
    if duty.grace_days:
        why_grace = explain("due.grace", days=duty.grace_days, last_on=last_raw, moved=how_grace)
    return LaidDates(
        opens_on=opens_on,
        target_on=target_on,
        last_on=last_on,
        grace_until=grace_until,
        raw_on=raw,
        moved=how,
        why_opens=explain("due.opens", days=duty.window_before_days, raw_on=raw),
        why_last=why_last,
        why_grace=why_grace,
    )
