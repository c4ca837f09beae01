"""The hours in which nobody is written to, on the clock of the customer."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo

from treatments.rules.site_days import MIDNIGHT, find_day, find_moment

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class QuietHours:
    """Each day from one time to another, over midnight where the first is the later; the same time twice is never.

    Attributes:
        weekdays: ISO 8601 numbers of the weekdays that are quiet as a whole, at most six.
    """

    begin: time = time(20)
    end: time = time(8)
    weekdays: str = "7"

    def is_quiet(self, clock: time) -> bool:
        """Say whether a time of the day is a quiet one."""
        if self.begin <= self.end:
            return self.begin <= clock < self.end
        return clock >= self.begin or clock < self.end


def find_telling_moment(moment: datetime, zone: tzinfo, hours: QuietHours) -> datetime:
    """Return the first moment from ``moment`` on at which somebody may be written to.

    Args:
        moment: aware.
        zone: the customer's time zone.
    """
    # At worst six quiet weekdays and the night before the seventh.
    for _turn in range(16):
        day, clock = find_day(moment, zone), moment.astimezone(zone).time()
        if str(day.isoweekday()) in hours.weekdays:
            moment = find_moment(day + ONE_DAY, MIDNIGHT, zone)
        elif hours.is_quiet(clock):
            moment = find_moment(day if clock < hours.end else day + ONE_DAY, hours.end, zone)
        else:
            return moment
    raise ValueError(f"weekdays {hours.weekdays!r}: every day is quiet; leave one out at least.")
