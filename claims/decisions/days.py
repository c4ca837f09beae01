"""Which days a claim's dealings may bear: none after today at the site, none before what it follows."""

from datetime import date, datetime

from django.core.exceptions import ValidationError

from scheduling.models import Cover
from treatments.queries import find_today

# No vehicle that a shop treats was rusting on record before; an earlier day is a slip of the pen.
FIRST_DAY = date(1950, 1, 1)


def check_day(
    day: date, field: str, *, cover: Cover, now: datetime, after: date | None = None, after_what: str = ""
) -> None:
    """Refuse a day that has not come yet, or that lies before what it must follow.

    Raises:
        ValidationError: naming the field, the day and what it may be.
    """
    today = find_today(now, cover.site)
    if day > today:
        raise ValidationError({field: f"{day} has not come yet; today is {today}."})
    if day < FIRST_DAY:
        raise ValidationError({field: f"{day} is too long ago; write a day from {FIRST_DAY} on."})
    if after is not None and day < after:
        raise ValidationError({field: f"{day} is before {after_what} on {after}."})
