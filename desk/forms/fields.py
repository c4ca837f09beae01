"""The fields for a day and a moment in forms of the desk: one that can't be meant is refused before it is counted on.
Numbers as they are sent: with a fraction as people write them in any browser, and whole ones of an address. The
field for the language in which a customer is written to. The VIN in forms of the desk: refused or doubted in the
same words at each, and a doubt is asked about once.
"""

import re
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from scheduling.covers.rules.dates import add_months
from treatments.rules.site_days import find_day
from treatments.rules.units import AmbiguousNumberError, UnitsError, parse_number
from treatments.shared.rendering import render_all, render_day
from treatments.vehicles.rules.vin import LENGTH, VinAdvice, VinMark, clean_vin
from treatments.vehicles.services import read_vin_advice

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


def format_days(**days: date) -> dict[str, str]:
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
            params=format_days(day=day, first=first, last=last),
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


# Longer than any field takes; beyond it the field itself refuses.
MOST_SIGNS = 25


def read_whole(text: str, *, digits: int) -> int | None:
    """Return a whole number of an address or a button, e.g. a key; None for anything else or more digits than that."""
    return int(text) if text.isdecimal() and len(text) <= digits else None


class NumberField(forms.DecimalField):
    """A number with a decimal point or comma; one that could be read in two ways is refused.

    It is a field for text: a browser's field for numbers reads by the browser's own language, not the page's, and
    drops a comma that it does not expect without a word.
    """

    widget = forms.TextInput

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        """Return what makes a tablet show its keys for numbers."""
        return {**super().widget_attrs(widget), "inputmode": "decimal", "autocomplete": "off"}

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values or not isinstance(value, str):
            return super().to_python(value)
        try:
            number = parse_number(value)
        except AmbiguousNumberError as error:
            raise forms.ValidationError(
                _("‘%(value)s’ can be read in two ways: write %(fraction)s or %(whole)s."),
                params={
                    "value": value,
                    "fraction": self._write_fraction(parse_number(value, decimal=error.sign)),
                    "whole": re.sub("[.,]", "", value.strip()),
                },
            ) from error
        except UnitsError as error:
            raise forms.ValidationError(
                _("‘%(value)s’ is not a number: write digits, such as 1.25."), params={"value": value}
            ) from error
        return super().to_python(str(self._drop_idle_zeros(number)))

    def _write_fraction(self, number: Decimal) -> str:
        """Return the number so that nobody takes its fraction for thousands: with fewer digits, or one more."""
        if self.decimal_places is not None and self.decimal_places < 3:
            return str(round(number, self.decimal_places))
        return f"{number}0"

    def _drop_idle_zeros(self, number: Decimal) -> Decimal:
        """Return a number without zeros beyond the places of the field: 1.2340 is a way to write 1.234."""
        places = self.decimal_places
        exponent = number.as_tuple().exponent
        if places is None or not isinstance(exponent, int) or -exponent <= places or len(str(number)) > MOST_SIGNS:
            return number
        shorter = number.quantize(Decimal(1).scaleb(-places))
        return shorter if shorter == number else number


class LanguageField(forms.ChoiceField):
    """A choice among the languages of the shop; where it is not required, empty says that nobody asked."""

    def __init__(self, **options: Any) -> None:
        is_asked = options.get("required", True)
        choices = settings.LANGUAGES if is_asked else [("", _("not asked")), *settings.LANGUAGES]
        super().__init__(label=_("Language of mails and letters"), choices=choices, **options)

    def validate(self, value: Any) -> None:
        if value and not self.valid_value(value):
            allowed = ", ".join(f"{name} ({code})" for code, name in settings.LANGUAGES)
            raise ValidationError(
                _("“%(value)s” is no language of this shop; choose one of: %(allowed)s."),
                params={"value": value, "allowed": allowed},
            )
        super().validate(value)


# For somebody who may be new or known.
KEPT_IF_NOT_ASKED = _("Not asked: as on record, or English for somebody new.")


VIN_MARKS = [
    (VinMark.STANDARD.value, _("VIN of 17 signs")),
    (VinMark.BEFORE_1981.value, _("from before 1981")),
    (VinMark.NON_ROAD_SERIAL.value, _("serial of a vehicle that goes off the road")),
]


def advise_on_search(text: str) -> VinAdvice | None:
    """Return advice on a whole VIN that was looked for and not found; None for any other text."""
    if len(clean_vin(text)) != LENGTH:
        return None
    advice = read_vin_advice(text)
    return advice if advice.explanations else None


class VinForm(forms.Form):
    """A form that takes a VIN or serial; ``vin`` comes as it is kept."""

    vin = forms.CharField(label=_("VIN or serial number"), max_length=40)
    vin_mark = forms.ChoiceField(label=_("Kind of number"), choices=VIN_MARKS, initial=VinMark.STANDARD.value)
    # The number about which a doubt was shown; sent again, it is meant so.
    vin_doubted = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        text, mark = values.get("vin"), values.get("vin_mark")
        if not text or not mark:
            return values
        advice = read_vin_advice(text, VinMark(mark))
        if not advice.acceptable:
            self.add_error("vin", render_all(advice.explanations))
        elif advice.doubts and values.get("vin_doubted") != advice.vin:
            again = gettext("If it stands so on the vehicle, send the form again.")
            self.add_error("vin", f"{render_all(advice.explanations)} {again}")
            self.data = {**self.data.dict(), "vin_doubted": advice.vin} if hasattr(self.data, "dict") else self.data
        else:
            values["vin"] = advice.vin
        return values
