"""The forms by which the record of a vehicle and its covers is changed; each says why."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from desk.forms.day_fields import DayField
from desk.forms.number_field import NumberField
from desk.forms.odometer_question import OdometerForm
from scheduling.covers.rules.due_item import DueItem
from scheduling.models import Cover, TermsVersion
from treatments.enums import BodyStyle, CorrosivityCategory
from treatments.log_import.rules.contacts import find_contact_fault
from treatments.models import Dealership, Site, Vehicle
from treatments.models.choices import choices_of
from treatments.rules.units import Distance, DistanceUnit

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


class CorrectionForm(ChangeForm):
    plate = forms.CharField(label=_("Plate"), max_length=16, required=False)
    description = forms.CharField(label=_("Make, model, colour"), max_length=200, required=False)
    body_style = forms.ChoiceField(
        label=_("Body style"), required=False, choices=[("", _("not known")), *choices_of(BodyStyle)]
    )
    model_year = forms.IntegerField(label=_("Model year"), required=False, min_value=1900, max_value=2100)
    in_service_on = DayField(label=_("In service on"), required=False, first=date(1900, 1, 1), months_ahead=24)

    @staticmethod
    def read_initial(vehicle: Vehicle) -> dict[str, Any]:
        """Return what stands on record."""
        return {name: getattr(vehicle, name) for name in CORRECTED}


CORRECTED = ("plate", "description", "body_style", "model_year", "in_service_on")


class ReadingForm(ChangeForm, OdometerForm):
    day = PastDayField(label=_("Read on"))
    odometer = NumberField(
        label=_("Odometer"), min_value=Decimal(0), max_value=Decimal("9999999"), max_digits=8, decimal_places=1
    )
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
