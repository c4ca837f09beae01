"""A form that asks once about values that can hardly be right; what is confirmed is recorded."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from treatments.models import Vehicle
from treatments.search.queries import list_bearing_plate

MEANT_SO = "meant_so"


def ask_once(form: forms.Form, name: str, label: Any, asked: str) -> bool:
    """Put a box on a form that confirms just what is ``asked``; say whether it came back ticked for just that."""
    confirmed = form.data.get(form.add_prefix(name)) == asked
    form.fields[name] = forms.BooleanField(
        label=label,
        required=False,
        widget=forms.CheckboxInput(attrs={"value": asked}, check_test=lambda _value: confirmed),
    )
    if confirmed:
        form.cleaned_data[name] = _("yes")
    return confirmed


class AskOnceForm(forms.Form):
    """A form whose doubts come back with a box that confirms just these values; it is a field of the form only then."""

    def list_doubts(self, values: Mapping[str, Any]) -> dict[str, str]:
        """Return by field what speaks against its value."""
        raise NotImplementedError

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        doubts = self.list_doubts(values)
        if not doubts:
            return values
        asked = "; ".join(f"{name} {values[name]}" for name in sorted(doubts))
        if ask_once(self, MEANT_SO, _("It is right as written"), asked):
            return values
        for name, doubt in doubts.items():
            self.add_error(name, [doubt, _("Look again. Correct it, or confirm below that it is right.")])
        return values


def doubt_plate(plate: str, besides: Vehicle | None = None) -> str:
    """Return that another vehicle of the shop bears a plate, '' where none does."""
    others = list_bearing_plate(plate)
    other = (others.exclude(pk=besides.pk) if besides else others).order_by("vin").first()
    if other is None:
        return ""
    return _("The vehicle %(vin)s bears the plate %(plate)s already.") % {"vin": other.vin, "plate": other.plate}
