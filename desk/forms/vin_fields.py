"""The VIN in forms of the desk: refused or doubted in the same words at each, and a doubt is asked about once."""

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from treatments.shared.rendering import render_all
from treatments.vehicles.rules.vin import LENGTH, VinMark, clean_vin
from treatments.vehicles.rules.vin_advice import VinAdvice
from treatments.vehicles.vin_advice import read_vin_advice

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
