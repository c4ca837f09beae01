"""A form that asks once about values that can hardly be right; what is confirmed is recorded. A form that takes an
odometer reading asks once about a figure that can hardly be; a confirmed one is recorded.
"""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from treatments.models import Inspection, Treatment, Vehicle
from treatments.queries import list_readings
from treatments.records.rules.odometer import Reading, find_doubt, find_limit_fault
from treatments.rules.units import Distance
from treatments.search.queries import list_bearing_plate
from treatments.shared.rendering import render

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


CONFIRMED = "odometer_confirmed"


class OdometerForm(forms.Form):
    """A form with a field ``odometer``.

    Where the figure is doubted, the form comes back with a box that confirms just this figure on just this day. The box
    is a field of the form only then.
    """

    def __init__(
        self,
        *args: Any,
        read_on: Vehicle | None = None,
        on_record: Treatment | Inspection | None = None,
        **options: Any,
    ) -> None:
        """Make the form.

        Args:
            read_on: the vehicle whose odometer it is; None for a form whose figure is never recorded.
            on_record: the work that is changed; its own figure is not asked about again.
        """
        super().__init__(*args, **options)
        self._read_on, self._on_record = read_on, on_record

    def read_odometer(self) -> Distance | None:
        """Return the reading as entered, None where none was."""
        raise NotImplementedError

    def find_day_read(self) -> date | None:
        """Return the day on which the odometer said so, None where it is not given."""
        raise NotImplementedError

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        distance = self.read_odometer() if self.cleaned_data.get("odometer") is not None else None
        fault = find_limit_fault(distance.kilometres) if distance else None
        if fault:
            self.add_error("odometer", render(fault))
        else:
            self._ask()
        return cleaned

    def _ask(self) -> None:
        if self._read_on is None or self.cleaned_data.get("odometer") is None:
            return
        day, distance, work = self.find_day_read(), self.read_odometer(), self._on_record
        if day is None or distance is None or (work and (work.done_on, work.odometer) == (day, distance)):
            return
        others = list_readings(self._read_on, besides=work.reading_id if work else None)
        doubt = find_doubt(others, Reading(day, distance.kilometres, "new"))
        if not doubt:
            return
        asked = f"{distance.amount.normalize():f} {distance.unit} {day.isoformat()}"
        confirmed = ask_once(self, CONFIRMED, _("The odometer says just this"), asked)
        names = list(self.fields)
        unit = next(name for name in ("odometer_unit", "unit") if name in names)
        names.insert(names.index(unit) + 1, names.pop())
        self.order_fields(names)
        if not confirmed:
            self.add_error(
                "odometer", [render(doubt), _("Read it again. Correct the figure, or confirm that it is right.")]
            )
