"""The forms by which a claim is taken in and handled; each calls one service and shows its errors at the field."""

import copy
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from claims.enums import DecisionKind
from desk.forms.fields import DayField, NumberField
from desk.forms.questions import OdometerForm
from desk.lift.record_forms import share_fields
from treatments.enums import DamageKind
from treatments.models import Zone
from treatments.models.enum_columns import choices_of
from treatments.rules.units import Distance, DistanceUnit
from treatments.shared.labels import translate_catalogue


class AcknowledgeForm(forms.Form):
    day = DayField(label=_("Told the customer on"))


class AskForm(forms.Form):
    what = forms.CharField(label=_("What the customer is asked for"), max_length=300)
    day = DayField(label=_("Asked on"))


class AnswerForm(forms.Form):
    day = DayField(label=_("It came on"))
    request = forms.IntegerField(widget=forms.HiddenInput)


class InspectionMadeForm(forms.Form):
    """Which inspection was made for the claim."""

    inspection = forms.ChoiceField(label=_("Inspection made for this claim"))

    def __init__(self, *args: Any, inspections: tuple[tuple[str, str], ...] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["inspection"].choices = inspections  # type: ignore[attr-defined]


class DecideForm(forms.Form):
    kind = forms.ChoiceField(label=_("Decision"), choices=choices_of(DecisionKind))
    amount = NumberField(label=_("Amount"), max_digits=10, decimal_places=2, min_value=Decimal(0))
    reason = forms.CharField(
        label=_("Reason"),
        required=False,
        max_length=600,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Wanted where the decision is another than the recommended one, and for goodwill."),
    )
    day = DayField(label=_("Decided on"))
    # That of the decision that was shown with its letter; without it, it is shown first.
    shown_sha256 = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)


class SecondForm(forms.Form):
    decision = forms.IntegerField(widget=forms.HiddenInput)
    agrees = forms.BooleanField(label=_("I have read the file and agree to this decision"))


class ReopenForm(forms.Form):
    reason = forms.CharField(label=_("What is new"), max_length=600, widget=forms.Textarea(attrs={"rows": 3}))


class PaymentForm(forms.Form):
    decision = forms.IntegerField(widget=forms.HiddenInput)
    amount = NumberField(label=_("Paid"), max_digits=10, decimal_places=2, min_value=Decimal("0.01"))
    paid_on = DayField(label=_("Paid on"))
    reference = forms.CharField(label=_("Reference of the payment"), max_length=80)


class PhotoForm(forms.Form):
    photo = forms.FileField(label=_("Photo (JPEG, PNG or WebP)"))


@share_fields
class WhatIfForm(forms.Form):
    """One change of fact to be tried out."""

    what = forms.ChoiceField(
        label=_("What if"),
        choices=[
            ("found", _("the rust was found on another day")),
            ("moved", _("a visit was on another day")),
            ("visit", _("there was a reinspection on a day")),
            ("treated", _("a zone was treated at a visit")),
        ],
    )
    day = DayField(label=_("Day"), required=False)
    record = forms.ChoiceField(label=_("Visit"), required=False)
    zone = forms.ChoiceField(label=_("Zone"), required=False)

    def __init__(
        self, *args: Any, records: Sequence[tuple[str, str]], zones: Sequence[tuple[str, str]], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        for name, offered in (("record", records), ("zone", zones)):
            own: Any = copy.deepcopy(self.base_fields[name])  # the others are every form's
            own.choices = [("", "–"), *offered]
            self.fields[name] = own

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        wanted = {"found": ["day"], "moved": ["record", "day"], "visit": ["day"], "treated": ["record", "zone"]}
        for name in wanted.get(cleaned.get("what", ""), []):
            if not cleaned.get(name) and name not in self.errors:
                self.add_error(name, _("Wanted for this question."))
        return cleaned


class SeveralFilesInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class SeveralFilesField(forms.FileField):
    """Any number of files, each checked as one."""

    widget = SeveralFilesInput

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        files = data if isinstance(data, list | tuple) else [data] if data else []
        return [super(SeveralFilesField, self).clean(one, initial) for one in files]


class FileClaimForm(OdometerForm):
    """A claim as the customer reports it."""

    damage = forms.ChoiceField(label=_("Kind of damage"), choices=choices_of(DamageKind))
    zones = forms.ModelMultipleChoiceField(
        label=_("Zones"), queryset=Zone.objects.none(), to_field_name="code", widget=forms.CheckboxSelectMultiple
    )
    discovered_on = DayField(label=_("Found on"), required=False)
    reported_on = DayField(label=_("Reported on"))
    odometer = NumberField(
        label=_("Odometer when found"), required=False, max_digits=9, decimal_places=1, min_value=Decimal(0)
    )
    odometer_unit = forms.ChoiceField(label=_("Unit"), choices=choices_of(DistanceUnit), required=False)
    estimate_amount = NumberField(
        label=_("Estimate for all zones together"),
        required=False,
        max_digits=10,
        decimal_places=2,
        min_value=Decimal(0),
        help_text=_("In the currency of the terms. Write it zone by zone below where you can."),
    )
    description = forms.CharField(
        label=_("In the customer's words"), required=False, widget=forms.Textarea(attrs={"rows": 4})
    )
    photos = SeveralFilesField(label=_("Photos (JPEG, PNG or WebP)"), required=False)
    same_damage_reason = forms.CharField(
        label=_("Why this is another damage"),
        required=False,
        max_length=300,
        help_text=_("Only where a claim on file names the same damage on the same zone."),
    )

    def __init__(self, *args: Any, zones: Sequence[tuple[str, str]], **options: Any) -> None:
        """Make the form; ``zones`` are code and name of those that can be claimed, in their order."""
        super().__init__(*args, **options)
        field: Any = self.fields["zones"]
        # Offered as they are read already; what is sent is looked up among them.
        field.queryset = Zone.objects.filter(code__in=[code for code, _name in zones])
        field.choices = zones
        for code, name in zones:
            self.fields[f"estimate_{code}"] = NumberField(
                label=translate_catalogue(name), required=False, max_digits=10, decimal_places=2, min_value=Decimal(0)
            )

    def read_odometer(self) -> Distance | None:
        amount, unit = self.cleaned_data["odometer"], self.cleaned_data.get("odometer_unit")
        return None if amount is None or not unit else Distance(amount, DistanceUnit(unit))

    def find_day_read(self) -> date | None:
        day: date | None = self.cleaned_data.get("discovered_on") or self.cleaned_data.get("reported_on")
        return day

    def read_zone_estimates(self) -> dict[str, Decimal]:
        """Return the estimates by zone code."""
        prefix = "estimate_"
        return {
            name.removeprefix(prefix): value
            for name, value in self.cleaned_data.items()
            if name.startswith(prefix) and name != "estimate_amount" and value is not None
        }

    def list_estimate_fields(self) -> list[Any]:
        """Return the fields of the zones' estimates, to be shown together."""
        return [self[name] for name in self.fields if name.startswith("estimate_") and name != "estimate_amount"]
