"""Correcting how the owner of a vehicle is reached, and in which language."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from desk.forms.fields import LanguageField
from desk.vehicle.foresee import VehicleRecord
from desk.vehicle.forms_changes import ChangeForm
from notifications.privacy.people import ERASED_KEY
from treatments.log_import.rules.cells import find_email_fault, find_phone_fault
from treatments.models import Customer
from treatments.vehicles.changes import correct_owner


class OwnerContactForm(ChangeForm):
    email = forms.CharField(label=gettext_lazy("E-mail"), max_length=200, required=False)
    phone = forms.CharField(label=gettext_lazy("Telephone"), max_length=40, required=False)
    language = LanguageField()

    def clean_email(self) -> str:
        email: str = self.cleaned_data["email"]
        if email and find_email_fault(email):
            raise forms.ValidationError(
                _("“%(value)s” is no e-mail address: write one such as name@example.org, or leave it empty."),
                params={"value": email},
            )
        return email

    def clean_phone(self) -> str:
        phone: str = self.cleaned_data["phone"]
        if phone and find_phone_fault(phone):
            raise forms.ValidationError(
                _("“%(value)s” is no telephone number: write one with its area code, or leave it empty."),
                params={"value": phone},
            )
        return phone


def make_owner_contact(record: VehicleRecord, sent: Any, initial: dict[str, Any]) -> forms.Form:
    """Return the form with what stands on record of the owner."""
    owner = _get_owner(record)
    on_record = {name: getattr(owner, name) for name in ("email", "phone", "language")}
    return OwnerContactForm(sent, initial={**on_record, **initial})


def correct_owner_contact(record: VehicleRecord, form: OwnerContactForm) -> object:
    """Record what was typed."""
    return correct_owner(vehicle=record.vehicle, customer=_get_owner(record), **form.cleaned_data, **record.recording)


def find_no_owner_to_correct(record: VehicleRecord) -> str:
    """Return that nobody is there whose contact could be corrected, '' where somebody is."""
    if record.owner is None:
        return _("No owner is on record; record the new one.")
    if record.owner.customer.match_key.startswith(ERASED_KEY):
        return _("The data of this owner were erased.")
    return ""


def _get_owner(record: VehicleRecord) -> Customer:
    assert record.owner is not None  # else there is an obstacle, and no form
    return record.owner.customer
