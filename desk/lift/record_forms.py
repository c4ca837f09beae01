"""The fields that every form by the lift has: day, odometer, what was measured; numbers as people write them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

from django import forms
from django.utils.translation import gettext_lazy as _

from desk.forms.fields import DayField, NumberField, format_days
from desk.forms.questions import OdometerForm
from notifications.languages import join_label
from treatments.enums import InspectionKind, TreatmentKind
from treatments.models import OdometerReading, Site, Treatment, Vehicle
from treatments.models.enum_columns import choices_of
from treatments.records.services import ConditionsEntry
from treatments.rules.units import (
    Distance,
    DistanceUnit,
    convert_fahrenheit_to_celsius,
    format_plain_number,
)
from treatments.shared.amounts import UNIT_NAMES

EARLIEST_DAY = date(1900, 1, 1)
# A surface beyond these is a slip of the pen: the hardest frost, and dark metal in the sun. Our own choice.
COLDEST_C, HOTTEST_C = Decimal(-45), Decimal(90)
YES_NO = [("yes", _("yes")), ("no", _("no")), ("", _("not looked at"))]
TEMPERATURE_UNITS = [("c", "°C"), ("f", "°F")]


FormClass = TypeVar("FormClass", bound=type[forms.Form])


class _SharedFields(dict[str, forms.Field]):
    """Fields that all forms of a class have in common; a form takes the fields themselves instead of copies."""

    def __deepcopy__(self, memo: dict[int, Any]) -> dict[str, forms.Field]:
        return dict(self)


def share_fields(form_class: FormClass) -> FormClass:
    """Let the forms of a class share their fields: copying them takes longer than all else that a form does.

    Only for a class whose forms never change a field.
    """
    form_class.base_fields = _SharedFields(form_class.base_fields)
    return form_class


def read_yes_no(text: str) -> bool | None:
    """Return what an answer of YES_NO means; None where it was not looked at."""
    return {"yes": True, "no": False}.get(text)


def put_yes_no(value: bool | None) -> str:
    """Return the answer of YES_NO for a value on record."""
    return {True: "yes", False: "no"}.get(value, "") if value is not None else ""


class VisitForm(OdometerForm):
    """When it was done and what the odometer said."""

    done_on = DayField(label=_("Day"), first=date.min)
    odometer = NumberField(label=_("Odometer"), required=False, max_digits=9, decimal_places=1, min_value=Decimal(0))
    odometer_unit = forms.ChoiceField(
        label=_("Unit of the odometer"), choices=[(unit, UNIT_NAMES[unit]) for unit in DistanceUnit]
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=4000)

    def __init__(self, *args: Any, today: date, **options: Any) -> None:
        super().__init__(*args, **options)
        self.today = today

    def clean_done_on(self) -> date:
        day: date = self.cleaned_data["done_on"]
        if day > self.today:
            raise forms.ValidationError(
                _("%(day)s has not come yet: today is %(today)s."), params=format_days(day=day, today=self.today)
            )
        if day < EARLIEST_DAY:
            raise forms.ValidationError(
                _("%(day)s is before any vehicle: correct the year."), params=format_days(day=day)
            )
        return day

    def read_odometer(self) -> Distance | None:
        amount, unit = self.cleaned_data["odometer"], self.cleaned_data.get("odometer_unit")
        return None if amount is None or not unit else Distance(amount, DistanceUnit(unit))

    def find_day_read(self) -> date | None:
        day: date | None = self.cleaned_data.get("done_on")
        return day


@share_fields
class TreatmentVisitForm(VisitForm):
    """A treatment's visit: kind and surface conditions too."""

    # Nothing is chosen beforehand where nothing tells what it is.
    kind = forms.ChoiceField(
        label=_("Kind of treatment"),
        choices=[("", _("choose")), *choices_of(TreatmentKind)],
        error_messages={"required": _("Choose what kind of treatment it was.")},
    )
    temperature_unit = forms.ChoiceField(label=_("Unit of temperature"), choices=TEMPERATURE_UNITS)
    air = NumberField(label=_("Air temperature"), required=False, max_digits=4, decimal_places=1)
    surface = NumberField(label=_("Surface temperature"), required=False, max_digits=4, decimal_places=1)
    humidity = NumberField(
        label=_("Relative humidity in per cent"),
        required=False,
        max_digits=4,
        decimal_places=1,
        min_value=Decimal("0.1"),
        max_value=Decimal(100),
    )
    surface_clean = forms.ChoiceField(label=_("Surface clean"), choices=YES_NO, required=False)
    surface_dry = forms.ChoiceField(label=_("Surface dry"), choices=YES_NO, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        air = self._to_celsius(cleaned.get("air"))
        if air is not None and not -45 <= air <= 60:
            self.add_error("air", _("An air temperature is between -45 and 60 °C (-49 and 140 °F): measure again."))
        surface = self._to_celsius(cleaned.get("surface"))
        if surface is not None and not COLDEST_C <= surface <= HOTTEST_C:
            self.add_error("surface", _("No bodywork is colder than -45 or hotter than 90 °C here: measure again."))
        return cleaned

    def _to_celsius(self, degrees: Decimal | None) -> Decimal | None:
        if degrees is None or self.cleaned_data.get("temperature_unit") != "f":
            return degrees
        return convert_fahrenheit_to_celsius(degrees).quantize(Decimal("0.1"))

    def read_conditions(self) -> ConditionsEntry:
        """Return what was measured, in degrees Celsius; call it on a valid form."""
        values = self.cleaned_data
        return ConditionsEntry(
            air_temperature_c=self._to_celsius(values["air"]),
            surface_temperature_c=self._to_celsius(values["surface"]),
            relative_humidity_percent=values["humidity"],
            surface_clean=read_yes_no(values["surface_clean"]),
            surface_dry=read_yes_no(values["surface_dry"]),
        )


@share_fields
class InspectionVisitForm(VisitForm):
    """An inspection's visit."""

    kind = forms.ChoiceField(label=_("Kind of inspection"), choices=choices_of(InspectionKind))


@dataclass(frozen=True)
class VehicleByTheLift:
    """What a form by the lift asks of a vehicle besides its history.

    Attributes:
        last_unit: the unit of its last odometer reading, '' where there is none.
        drafts: its treatments that are not signed off.
    """

    last_unit: str
    drafts: list[Treatment]


def read_by_the_lift(vehicle: Vehicle) -> VehicleByTheLift:
    """Return what a form by the lift asks of a vehicle besides its history."""
    standing = OdometerReading.objects.filter(vehicle=vehicle, withdrawn_at__isnull=True)
    last = standing.order_by("-day", "-pk").first()
    drafts = vehicle.treatments.filter(signed_off_at__isnull=True).order_by("done_on", "pk")
    return VehicleByTheLift(last.unit if last else "", list(drafts))


def guess_visit(last_unit: str, site: Site, today: date) -> dict[str, Any]:
    """Return what a visit's form starts with: today, and the units that the vehicle and the site are used to."""
    uses_us_units = site.country == "US"
    usual = DistanceUnit.MILE if uses_us_units else DistanceUnit.KILOMETRE
    return {
        "done_on": today.isoformat(),
        "odometer_unit": last_unit or usual,
        "temperature_unit": "f" if uses_us_units else "c",
    }


def put_number(value: Decimal | None) -> str:
    """Return a number on record as a field shows it, without digits that say nothing."""
    return "" if value is None else format_plain_number(value).replace(",", "")


def list_form_errors(forms_with_names: Iterable[tuple[forms.Form, str]]) -> list[tuple[str, str]]:
    """Return the errors of forms as (id of the field, sentence), each sentence led by the name of what it is about."""
    listed = []
    for form, about in forms_with_names:
        for name, errors in form.errors.items():
            field = form.fields.get(name)
            target = form[name].auto_id if field else ""
            label = field.label if field else ""
            led = join_label(about, label) if about and label else about or label
            listed += [(target, join_label(led, error) if led else str(error)) for error in errors]
    return listed
