"""The forms by which the record of a vehicle and its covers is changed; each says why."""

import re
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from desk.forms.fields import KEPT_IF_NOT_ASKED, DayField, LanguageField, NumberField
from desk.forms.questions import AskOnceForm, OdometerForm, doubt_plate
from scheduling.covers.rules.due_item import DueItem
from scheduling.models import Cover, TermsVersion
from treatments.enums import BodyStyle, CorrosivityCategory, TreatmentKind
from treatments.log_import.rules.cells import find_contact_fault
from treatments.models import Dealership, Site, Vehicle
from treatments.models.enum_columns import choices_of
from treatments.rules.units import Distance, DistanceUnit
from treatments.shared.rendering import render, render_day
from treatments.vehicles.rules.vin import OFTEN_HEAVY, VinMark, doubt_model_year_of_vin, list_model_years

CHOOSE = [("", _("choose"))]
PLACES = [("", _("not known, as at the site")), *choices_of(CorrosivityCategory)]


class PastDayField(DayField):
    """The day of something that has been."""

    def __init__(self, **options: Any) -> None:
        super().__init__(months_ahead=0, **options)


class ChangeForm(forms.Form):
    """A change with its reason, which stands in the record."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if "reason" in self.fields:
            # Last, as it is said: what, and then why.
            self.order_fields([*(name for name in self.fields if name != "reason"), "reason"])

    reason = forms.CharField(
        label=_("Reason"), max_length=200, help_text=_("In your words; it stands in the record of the vehicle.")
    )


class NewOwnerForm(ChangeForm):
    name = forms.CharField(label=_("New owner's name"), max_length=200)
    contact = forms.CharField(label=_("New owner's telephone or e-mail"), max_length=200)
    language = LanguageField(required=False, help_text=KEPT_IF_NOT_ASKED)
    from_day = PastDayField(label=_("Owner from"))
    told_on = PastDayField(label=_("The shop was told on"))
    corrosivity = forms.ChoiceField(label=_("Where the new owner uses it"), required=False, choices=PLACES)

    def clean_contact(self) -> str:
        contact: str = self.cleaned_data["contact"]
        if find_contact_fault(contact):
            raise forms.ValidationError(
                _("Write one telephone number with its area code, or one e-mail address such as name@example.org.")
            )
        return contact


class PlaceForm(ChangeForm):
    corrosivity = forms.ChoiceField(
        label=_("Where it is used"),
        required=False,
        choices=PLACES,
        help_text=_("The corrosivity of the place by ISO 9223: C1 is a dry interior, CX a coast with much salt."),
    )
    from_day = DayField(label=_("From the day"), months_ahead=24)


class SaleForm(ChangeForm):
    sold_on = PastDayField(label=_("Sold on"))
    told_on = PastDayField(label=_("The shop was told on"))


class CorrectionForm(ChangeForm, AskOnceForm):
    plate = forms.CharField(label=_("Plate"), max_length=16, required=False)
    description = forms.CharField(label=_("Make, model, colour"), max_length=200, required=False)
    body_style = forms.ChoiceField(
        label=_("Body style"), required=False, choices=[("", _("not known")), *choices_of(BodyStyle)]
    )
    model_year = forms.IntegerField(label=_("Model year"), required=False, min_value=1900, max_value=2100)
    in_service_on = DayField(label=_("In service on"), required=False, first=date(1900, 1, 1), months_ahead=24)

    def __init__(self, *args: Any, vehicle: Vehicle, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._vehicle = vehicle

    def list_doubts(self, values: Mapping[str, Any]) -> dict[str, str]:
        """Return what the record says against what was changed."""
        changed = {name: values.get(name) for name in CORRECTED if values.get(name) != getattr(self._vehicle, name)}
        found = {}
        if changed.get("plate"):
            found["plate"] = doubt_plate(values["plate"], besides=self._vehicle)
        if changed.get("in_service_on"):
            style = values.get("body_style") or ""
            found["in_service_on"] = doubt_in_service(self._vehicle, values["in_service_on"], style)
        if changed.get("model_year"):
            described = values.get("description") or ""
            style = values.get("body_style") or ""
            found["model_year"] = doubt_model_year(self._vehicle, values["model_year"], described, style)
        return {name: doubt for name, doubt in found.items() if doubt}

    @staticmethod
    def read_initial(vehicle: Vehicle) -> dict[str, Any]:
        """Return what stands on record."""
        return {name: getattr(vehicle, name) for name in CORRECTED}


def doubt_in_service(vehicle: Vehicle, day: date, style: str) -> str:
    """Return that a vehicle would have been treated before it was in service, or that its VIN codes another year."""
    treated = vehicle.treatments.filter(
        kind=TreatmentKind.FIRST_TREATMENT, signed_off_at__isnull=False, amended_by__isnull=True, done_on__lt=day
    )
    first = treated.order_by("done_on").first()
    if first is not None:
        told = {"day": render_day(first.done_on)}
        return gettext("The first treatment was on %(day)s, before it was in service.") % told
    if vehicle.vin_mark != VinMark.STANDARD:
        return ""
    doubt = doubt_model_year_of_vin(vehicle.vin, style, day)
    return render(doubt) if doubt else ""


def doubt_model_year(vehicle: Vehicle, year: int, description: str, style: str) -> str:
    """Return what the VIN or the description says against a model year, '' where nothing does."""
    if vehicle.vin_mark == VinMark.STANDARD:
        light = True if style and style not in OFTEN_HEAVY else None
        coded = list_model_years(vehicle.vin, light_vehicle=light)
        if coded and year not in coded:
            years = {"years": ", ".join(map(str, coded))}
            return gettext("By the VIN the model year is %(years)s.") % years
    described = [int(one) for one in re.findall(r"\b(?:19|20)\d\d\b", description)]
    if described and year not in described:
        return gettext("The description says %(years)s.") % {"years": ", ".join(map(str, described))}
    return ""


CORRECTED = ("plate", "description", "body_style", "model_year", "in_service_on")


class ReadingForm(ChangeForm, OdometerForm):
    day = PastDayField(label=_("Read on"))
    odometer = NumberField(label=_("Odometer"), min_value=Decimal(0), max_digits=9, decimal_places=1)
    unit = forms.ChoiceField(label=_("Unit"), choices=[*CHOOSE, *choices_of(DistanceUnit)])
    reason = forms.CharField(
        label=_("Where it is from"),
        max_length=120,
        help_text=_("For example read at the counter, or told by telephone."),
    )

    def read_odometer(self) -> Distance | None:
        amount, unit = self.cleaned_data["odometer"], self.cleaned_data.get("unit")
        return Distance(amount, DistanceUnit(unit)) if unit else None

    def find_day_read(self) -> date | None:
        day: date | None = self.cleaned_data.get("day")
        return day


class SoldCoverForm(forms.Form):
    """A cover that was sold; who sold it and when say why it is there."""

    terms = forms.ChoiceField(label=_("Terms"))
    dealership = forms.ChoiceField(label=_("Sold by"), required=False)
    site = forms.ChoiceField(label=_("Site"))
    sold_on = PastDayField(label=_("Sold on"))
    registered_on = PastDayField(
        label=_("Registered on"), help_text=_("The day on which the shop was told of the sale.")
    )

    def __init__(
        self,
        *args: Any,
        versions: Iterable[TermsVersion],
        dealerships: Iterable[Dealership],
        sites: Iterable[Site],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        _offer(self, "terms", [*CHOOSE, *_list_terms(versions)])
        _offer(self, "dealership", [("", _("the shop itself")), *((str(one.pk), one.name) for one in dealerships)])
        _offer(self, "site", [(str(site.pk), site.name) for site in sites])

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        sold_on, registered_on = values.get("sold_on"), values.get("registered_on")
        if sold_on and registered_on and registered_on < sold_on:
            self.add_error("registered_on", _("It can't be registered before it was sold."))
        return values


class TransferNoteForm(ChangeForm):
    day = PastDayField(label=_("The shop was told on"))


class OtherTermsForm(ChangeForm):
    terms = forms.ChoiceField(label=_("Other terms"))
    day = DayField(label=_("From the day"), months_ahead=24)

    def __init__(self, *args: Any, cover: Cover, versions: Iterable[TermsVersion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _offer(self, "terms", [*CHOOSE, *_list_terms(one for one in versions if one.pk != cover.terms_version_id)])


class EndForm(ChangeForm):
    day = DayField(label=_("First day without cover"), months_ahead=24)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].help_text = _("In your words; the customer reads it, and it stands in the record.")


class TakeEndBackForm(ChangeForm):
    """Asks for the reason only."""


class WaiverForm(ChangeForm):
    item = forms.ChoiceField(label=_("What is let off"))

    def __init__(self, *args: Any, items: Iterable[tuple[DueItem, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _offer(self, "item", [*CHOOSE, *((item.key, words) for item, words in items)])


def _offer(form: forms.Form, name: str, choices: list[tuple[str, Any]]) -> None:
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)
    field.choices = choices


def _list_terms(versions: Iterable[TermsVersion]) -> list[tuple[str, str]]:
    return [(str(one.pk), f"{one.title} ({one})") for one in versions]
