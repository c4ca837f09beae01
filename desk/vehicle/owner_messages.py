"""What the owner of a vehicle agreed to be sent, and how they would rather be written to."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from desk.vehicle.foresee import VehicleRecord
from notifications.consents.queries import read_consents
from notifications.consents.services import record_consent, set_preference
from notifications.enums import Channel, ConsentSource, Purpose
from notifications.models import ContactPreference
from treatments.models import Customer
from treatments.models.enum_columns import choices_of
from treatments.rules.site_settings import find_time_zone_fault, normalise_time_zone
from treatments.shared.rendering import render

WORDS = {
    Purpose.CONTRACT: _("Messages about the cover: what is due, visits, claims"),
    Purpose.OFFERS: _("Offers"),
    Purpose.TEXTS: _("Text messages to the telephone on record, which is a mobile"),
}


class OwnerMessagesForm(forms.Form):
    contract = forms.BooleanField(label=WORDS[Purpose.CONTRACT], required=False)
    offers = forms.BooleanField(label=WORDS[Purpose.OFFERS], required=False)
    texts = forms.BooleanField(label=WORDS[Purpose.TEXTS], required=False)
    channel = forms.ChoiceField(
        label=_("Would rather be written to by"),
        required=False,
        choices=[("", _("e-mail, else text message, else letter")), *choices_of(Channel)],
    )
    time_zone = forms.CharField(
        label=_("Time zone"),
        max_length=64,
        required=False,
        help_text=_("Such as America/Denver; left empty, that of the site. Nobody is written to at night."),
    )

    def clean_time_zone(self) -> str:
        zone = normalise_time_zone(self.cleaned_data["time_zone"]) if self.cleaned_data["time_zone"].strip() else ""
        fault = find_time_zone_fault(zone) if zone else None
        if fault:
            raise forms.ValidationError(render(fault), code=fault.code)
        return zone


def make_owner_messages(record: VehicleRecord, sent: Any, initial: dict[str, Any]) -> forms.Form:
    """Return the form with what stands on record of the owner, and who said so when."""
    owner = _get_owner(record)
    preference = ContactPreference.objects.filter(customer=owner).first()
    agreed = {purpose.value: given for purpose, given in read_consents([owner])[owner.pk].items()}
    on_record = {
        **agreed,
        "channel": preference.channel if preference else "",
        "time_zone": preference.time_zone if preference else "",
    }
    return OwnerMessagesForm(sent, initial={**on_record, **initial})


def record_owner_messages(record: VehicleRecord, form: OwnerMessagesForm) -> object:
    """Record what the owner told the desk; what stays as it is gets no further row."""
    owner, values = _get_owner(record), form.cleaned_data
    before = read_consents([owner])[owner.pk]
    for purpose in Purpose:
        if values[purpose.value] is not before[purpose]:
            record_consent(
                customer=owner,
                purpose=purpose,
                given=values[purpose.value],
                source=ConsentSource.DESK,
                **record.recording,
            )
    channel = Channel(values["channel"]) if values["channel"] else None
    set_preference(customer=owner, channel=channel, time_zone=values["time_zone"], **record.recording)
    return owner


def _get_owner(record: VehicleRecord) -> Customer:
    assert record.owner is not None  # else there is an obstacle, and no form
    return record.owner.customer
