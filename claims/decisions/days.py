"""Which days a claim's dealings may bear: none after today at the site, none before what it follows."""

from datetime import date, datetime

from claims.models import Claim
from claims.refusals import refuse
from scheduling.models import Cover
from treatments.queries import find_today

# No vehicle that a shop treats was rusting on record before; an earlier day is a slip of the pen.
FIRST_DAY = date(1950, 1, 1)


def check_day(day: date, field: str, *, cover: Cover, now: datetime) -> None:
    """Refuse a day that has not come yet, or that is too long ago.

    Raises:
        ClaimError: naming the field, the day and what it may be.
    """
    today = find_today(now, cover.site)
    if day > today:
        raise refuse("refused.day_not_come", field, day=day, today=today)
    if day < FIRST_DAY:
        raise refuse("refused.day_too_old", field, day=day, first_day=FIRST_DAY)


def check_day_of_claim(day: date, *, claim: Claim, now: datetime) -> None:
    """Refuse a day of dealing with a claim that has not come yet, or that lies before its report.

    Raises:
        ClaimError: naming the day and what it may be.
    """
    check_day(day, "day", cover=claim.cover, now=now)
    if day < claim.reported_on:
        raise refuse("refused.before_report", "day", day=day, reported_on=claim.reported_on)
