"""The fields for a day and a moment in forms of the desk: one that can't be meant is refused before it is counted on.

The calendar of the program ends in the years 1 and 9999, and whatever counts on from there fails.
"""

from datetime import date, datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from scheduling.covers.rules.dates import add_months
from treatments.rules.site_days import find_day
from treatments.shared.rendering import render_day

# Days of the past that an address may ask for, and the last that it may: beyond them no record lies.
FIRST_RECORDED, LAST_RECORDED = date(1900, 1, 1), date(2199, 12, 31)
# A form takes nothing older; what is booked, bought or closed is of this age.
FIRST_DAY = date(1980, 1, 1)
USUAL_MONTHS_AHEAD = 10 * 12


class DayInput(forms.DateInput):
    """The browser's own date picker; it sends and takes ISO dates."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class MomentInput(forms.DateTimeInput):
    """The browser's own picker of a day and a time."""

    input_type = "datetime-local"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%dT%H:%M")


def tell_days(**days: date) -> dict[str, str]:
    """Return days as a sentence of ours holds them, in the language of the page.

    In words already: a day in digits would be said in English, whatever the language of the sentence.
    """
    return {name: render_day(day) for name, day in days.items()}


def refuse_out_of_reach(day: date, first: date, months_ahead: int) -> None:
    """Refuse a day before the first, or more than some months from now.

    Raises:
        ValidationError: with the day and those that can be.
    """
    last = add_months(find_day(timezone.now(), timezone.get_current_timezone()), months_ahead)
    if not first <= day <= last:
        raise forms.ValidationError(
            _("%(day)s is out of reach: write a day from %(first)s to %(last)s."),
            code="reach",
            params=tell_days(day=day, first=first, last=last),
        )


class DayField(forms.DateField):
    """One day, written as ISO 8601, between the first that can be meant and the last."""

    def __init__(self, *, first: date = FIRST_DAY, months_ahead: int = USUAL_MONTHS_AHEAD, **options: Any) -> None:
        super().__init__(widget=DayInput(), input_formats=["%Y-%m-%d"], **options)
        self.first, self.months_ahead = first, months_ahead

    def validate(self, value: date | None) -> None:
        super().validate(value)
        if value is not None:
            refuse_out_of_reach(value, self.first, self.months_ahead)


class MomentField(forms.DateTimeField):
    """A day and a time on the clock of a site."""

    def __init__(self, **options: Any) -> None:
        super().__init__(widget=MomentInput(), **options)

    def validate(self, value: datetime | None) -> None:
        super().validate(value)
        if value is not None:
            refuse_out_of_reach(value.date(), FIRST_DAY, USUAL_MONTHS_AHEAD)
