"""Numbers as they are sent: with a fraction as people write them in any browser, and whole ones of an address."""

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from treatments.rules.units import AmbiguousNumberError, UnitsError, parse_number

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
