"""The two ways between a moment and a day: a day is a date on the clock of a place, and ends at its midnight.

Nothing else in the program makes a day of a moment or a moment of a day; a test walks the source for it.
"""

from datetime import UTC, date, datetime, time, timedelta, tzinfo

MIDNIGHT = time()


def find_day(moment: datetime, zone: tzinfo) -> date:
    """Return the day that it is in a time zone at a moment."""
    return moment.astimezone(zone).date()


def find_moment(day: date, clock: time, zone: tzinfo) -> datetime:
    """Return, in UTC, the moment at which the clock of a time zone shows a time on a day.

    A time that the clock shows twice is the first of the two; one that it leaves out is as long after the change.
    """
    return datetime.combine(day, clock, zone).astimezone(UTC)


def find_end_of_day(day: date, zone: tzinfo) -> datetime:
    """Return the last moment of a day, before the midnight of the next one in a time zone."""
    return find_moment(day + timedelta(days=1), MIDNIGHT, zone) - timedelta(microseconds=1)
