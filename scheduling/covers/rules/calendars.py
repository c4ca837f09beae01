"""Which days a site is open: its weekdays, less public holidays and its own closed days.

Public holidays come from the ``holidays`` package, observed days included.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

import holidays

from treatments.rules.explanation import Explanation, explain
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
