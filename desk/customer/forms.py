"""The forms of customers' pages: contact details, a report of rust, and further photos of a claim."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from django import forms
from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from desk.claims.forms import SeveralFilesField, SeveralFilesInput
from desk.forms.fields import DayField, LanguageField
from notifications.enums import Channel
from treatments.enums import DamageKind
from treatments.log_import.rules.cells import find_email_fault, find_phone_fault
from treatments.models import Zone

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

# In words of somebody who looks at a vehicle and knows no terms.
DAMAGE_WORDS: tuple[tuple[DamageKind, "StrOrPromise"], ...] = (
    (DamageKind.SURFACE_CORROSION, gettext_lazy("Rust on the surface, nothing is eaten through")),
    (DamageKind.PERFORATION_FROM_WITHIN, gettext_lazy("A hole or a soft spot, rusted through from the inside")),
    (
        DamageKind.PERFORATION_FROM_OUTSIDE,
        gettext_lazy("A hole that began outside, for instance at a stone chip or a scratch"),
    ),
    (DamageKind.SEAM_CORROSION, gettext_lazy("Rust along a seam, where two panels meet")),
    (DamageKind.EDGE_BLISTERING, gettext_lazy("Blisters in the paint along an edge")),
)


class ContactForm(forms.Form):
    """How a customer is reached. What stands on record is not shown in full: whoever has the link may be another."""

    email = forms.CharField(
        label=gettext_lazy("New e-mail address"),
        max_length=200,
        required=False,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )
    phone = forms.CharField(
        label=gettext_lazy("New telephone number"),
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "tel", "type": "tel"}),
    )
    address = forms.CharField(
        label=gettext_lazy("New postal address"),
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "street-address"}),
    )
    language = LanguageField()
    channel = forms.ChoiceField(label=gettext_lazy("How we write to you"), required=False)

    def __init__(self, *args: Any, on_record: dict[str, str], **options: Any) -> None:
        """Make the form; ``on_record`` says by field, masked, what is on record, '' where nothing is."""
        super().__init__(*args, **options)
        channel: Any = self.fields["channel"]
        channel.choices = [
            ("", _("As usual")),
            (Channel.EMAIL.value, _("By e-mail")),
            # Without a gateway nothing carries text messages.
            *([(Channel.TEXT.value, _("By text message, to which I agree"))] if settings.TEXT_GATEWAY_URL else []),
            (Channel.LETTER.value, _("By letter")),
        ]
        for name, known in on_record.items():
            self.fields[name].help_text = (
                _("On record: %(known)s. Leave it empty to keep that.") % {"known": known}
                if known
                else _("None is on record.")
            )

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


class RustForm(forms.Form):
    """Rust as its owner reports it."""

    damage = forms.ChoiceField(
        label=gettext_lazy("What you see"),
        error_messages={"required": gettext_lazy("Choose what comes nearest.")},
        choices=[(kind.value, words) for kind, words in DAMAGE_WORDS],
        widget=forms.RadioSelect,
    )
    zones = forms.MultipleChoiceField(
        label=gettext_lazy("Where the rust is"),
        error_messages={"required": gettext_lazy("Choose at least one place.")},
        widget=forms.CheckboxSelectMultiple,
    )
    discovered_on = DayField(label=gettext_lazy("First seen on"), required=False)
    description = forms.CharField(
        label=gettext_lazy("In your words"),
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy("Such as how large it is, and whether something happened before."),
    )
    photos = SeveralFilesField(
        label=gettext_lazy("Photos (JPEG, PNG or WebP)"),
        required=False,
        widget=SeveralFilesInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        help_text=gettext_lazy("One from a step away and one from near help most. At most 8 at once."),
    )
    same_damage_reason = forms.CharField(
        label=gettext_lazy("Why this is another damage"), required=False, max_length=300
    )

    def __init__(self, *args: Any, zones: Sequence[Zone], asks_why: bool = False, **options: Any) -> None:
        """Make the form.

        Args:
            zones: those that can be claimed.
            asks_why: whether a claim names the same damage, so that it is asked why this is another.
        """
        super().__init__(*args, **options)
        field: Any = self.fields["zones"]
        field.choices = [(zone.code, zone.name) for zone in zones]
        if not asks_why:
            del self.fields["same_damage_reason"]


class ClaimPhotosForm(forms.Form):
    """Further photos of a claim, or of a paper that was asked for."""

    photos = SeveralFilesField(
        label=gettext_lazy("Photos (JPEG, PNG or WebP)"),
        widget=SeveralFilesInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        help_text=gettext_lazy("A photo of a paper that we asked for will do. At most 8 at once."),
    )

    def clean_photos(self) -> list[Any]:
        photos: list[Any] = self.cleaned_data["photos"]
        if not photos:
            raise forms.ValidationError(_("Choose at least one photo."))
        return photos
