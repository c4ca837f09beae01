"""The forms of booking: wishes, a time that the customer names, what is done to a visit, and a vehicle new here."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from desk.forms.fields import KEPT_IF_NOT_ASKED, DayField, LanguageField, VinForm
from desk.forms.questions import AskOnceForm, doubt_plate
from scheduling.bays.queries import list_bays, list_workers
from scheduling.booking.rules.slots import Preferences
from scheduling.enums import MONTHS_BOOKED_AHEAD, UsualReason, VisitKind
from scheduling.models import Bay
from treatments.enums import BodyStyle, Propulsion
from treatments.log_import.rules.cells import find_contact_fault
from treatments.models import Site, User
from treatments.models.enum_columns import choices_of
from treatments.rules.site_days import find_moment
from treatments.rules.site_settings import find_zone
from treatments.shared.labels import label

if TYPE_CHECKING:
    pass

WEEKDAYS = [
    ("1", _("Monday")), ("2", _("Tuesday")), ("3", _("Wednesday")), ("4", _("Thursday")), ("5", _("Friday")),
    ("6", _("Saturday")), ("7", _("Sunday")),
]  # fmt: skip
EARLIEST = "earliest"
ORDERS = [("", _("near the target day")), (EARLIEST, _("as early as can be"))]
PARTS = [("", _("any time of the day")), ("morning", _("in the morning")), ("afternoon", _("in the afternoon"))]


class TimeOfDayInput(forms.TimeInput):
    """The browser's own time picker."""

    input_type = "time"

    def __init__(self) -> None:
        super().__init__(format="%H:%M")


# Code and words of each site that may be chosen; none where there is but one.
SiteChoices = tuple[tuple[str, str], ...]


def list_site_choices(sites: Sequence[Site], home: Site) -> SiteChoices:
    """Return the sites to choose from, the home first, in the language of the page."""
    if len(sites) < 2:
        return ()
    others = ((site.code, site.name) for site in sites if site.pk != home.pk)
    return (("", home.name), ("any", gettext("any site")), *others)


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the address of a booking page asks for."""

    visit: VisitKind | None
    sites: tuple[Site, ...]
    earliest: date | None
    preferences: Preferences


class WishForm(forms.Form):
    """What the customer would like; kept in the address, so that it can be gone back to."""

    visit = forms.ChoiceField(label=_("Comes for"), required=False)
    order = forms.ChoiceField(label=_("Which day"), required=False, choices=ORDERS)
    earliest = DayField(label=_("Not before"), required=False, months_ahead=MONTHS_BOOKED_AHEAD)
    part = forms.ChoiceField(label=_("Time of the day"), required=False, choices=PARTS)
    site = forms.ChoiceField(label=_("Site"), required=False)
    weekday = forms.MultipleChoiceField(
        label=_("Days of the week"), required=False, choices=WEEKDAYS, widget=forms.CheckboxSelectMultiple
    )
    avoid_from = DayField(label=_("Away from"), required=False)
    avoid_to = DayField(label=_("Away to"), required=False)

    def __init__(self, *args: Any, site_choices: SiteChoices, usual: VisitKind, is_move: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = dict(choices_of(VisitKind))
        self.fields["visit"].choices = [  # type: ignore[attr-defined]
            ("", _("what is due: %(visit)s") % {"visit": kinds[usual]}), *kinds.items()
        ]  # fmt: skip
        if site_choices:
            self.fields["site"].choices = site_choices  # type: ignore[attr-defined]
        else:
            del self.fields["site"]
        if is_move:
            # The kind of a visit stays.
            del self.fields["visit"]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        first, last = values.get("avoid_from"), values.get("avoid_to")
        if first and last and last < first:
            self.add_error("avoid_to", _("The end of the absence is before its beginning; exchange them."))
        return values

    def read(self, sites: Sequence[Site], home: Site) -> Wishes:
        """Return the wishes; those that can't be read are left out, and the form's errors tell them."""
        self.is_valid()
        values = self.cleaned_data
        first, last = values.get("avoid_from"), values.get("avoid_to")
        first, last = first or last, last or first
        site = values.get("site", "")
        wanted = {"": (home,), "any": tuple(sites)}.get(site, tuple(known for known in sites if known.code == site))
        return Wishes(
            VisitKind(values["visit"]) if values.get("visit") else None,
            wanted or (home,),
            values.get("earliest"),
            Preferences(
                weekdays=frozenset(int(number) for number in values.get("weekday", ())),
                part_of_day=values.get("part", ""),
                avoid=((first, last),) if first and last else (),
                earliest=values.get("order") == EARLIEST,
            ),
        )


@dataclass(frozen=True, slots=True)
class PlacesOfSite:
    """The bays in use and the people of a site that may be named, by key and words, and its time zone."""

    time_zone: str
    bays: tuple[tuple[int, str], ...]
    people: tuple[tuple[int, str], ...]


def list_places(site: Site) -> PlacesOfSite:
    """Return the bays and people that a customer's time may be named for."""
    return PlacesOfSite(
        site.time_zone,
        tuple((bay.pk, str(bay)) for bay in list_bays() if bay.site_id == site.pk and bay.in_use),
        tuple((worker.key, worker.name) for worker in list_workers() if worker.site == site.pk),
    )


class NamedTimeForm(forms.Form):
    """A time that the customer names; bay and person may be left to whoever is free."""

    day = DayField(label=_("Day"), months_ahead=MONTHS_BOOKED_AHEAD)
    time = forms.TimeField(label=_("Begins at"), widget=TimeOfDayInput())
    bay = forms.ModelChoiceField(
        label=_("Bay"), queryset=Bay.objects.none(), required=False, empty_label=_("one that is free")
    )
    person = forms.ModelChoiceField(
        label=_("Person"), queryset=User.objects.none(), required=False, empty_label=_("somebody who is free")
    )

    def __init__(self, *args: Any, places: PlacesOfSite, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.places = places
        bay, person = self.fields["bay"], self.fields["person"]
        assert isinstance(bay, forms.ModelChoiceField) and isinstance(person, forms.ModelChoiceField)
        bay.queryset = Bay.objects.filter(pk__in=[key for key, _name in places.bays])
        person.queryset = User.objects.filter(pk__in=[key for key, _name in places.people])
        # What is shown comes from what is kept; what is chosen is looked up.
        bay.choices = [("", bay.empty_label), *places.bays]
        person.choices = [("", person.empty_label), *places.people]

    def read_start(self) -> datetime:
        """Return the moment in UTC that was named in the site's own time."""
        zone = find_zone(self.places.time_zone)
        return find_moment(self.cleaned_data["day"], self.cleaned_data["time"], zone)


def name_person(person: User) -> str:
    """Return the name of a person, or the login where no name is on record."""
    return person.get_full_name() or person.username


class NoteForm(NamedTimeForm):
    """A named time with a word for those who will do the work."""

    note = forms.CharField(label=_("Note for the visit"), required=False, max_length=300)


class ReasonForm(forms.Form):
    """A reason: the code of one of the usual ones, or own words, which count where both are given."""

    usual = forms.ChoiceField(label=_("Reason"), required=False, widget=forms.RadioSelect)
    reason = forms.CharField(label=_("In your own words"), required=False, max_length=200)

    usual_reasons: Sequence[UsualReason] = ()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["usual"].choices = [(code.value, label(code)) for code in self.usual_reasons]  # type: ignore[attr-defined]

    def read_reason(self) -> str:
        """Return the reason, '' where none was given."""
        return str(self.cleaned_data.get("reason") or self.cleaned_data.get("usual") or "").strip()


class CancelForm(ReasonForm):
    usual_reasons = [
        UsualReason.CUSTOMER_ASKED,
        UsualReason.VEHICLE_GONE,
        UsualReason.WEATHER,
        UsualReason.SHOP_CANNOT,
        UsualReason.BOOKED_BY_MISTAKE,
    ]


class NoShowForm(ReasonForm):
    usual_reasons = [UsualReason.NOBODY_ANSWERED, UsualReason.FORGOTTEN, UsualReason.NO_NUMBER]


class LateForm(forms.Form):
    """By how many minutes; the sequence is that of the visit as the page showed it."""

    minutes = forms.IntegerField(label=_("Minutes"), min_value=1, max_value=12 * 60)
    sequence = forms.IntegerField(required=False, widget=forms.HiddenInput)


class NoFieldsForm(forms.Form):
    """An action that needs nothing but the press."""


class SplitForm(ReasonForm):
    """Why a visit is split, and how long the vehicle stays now."""

    usual_reasons = [UsualReason.UNDERSIDE_WET, UsualReason.MUD_OR_SALT, UsualReason.SNOW_OR_ICE]
    first_part_minutes = forms.IntegerField(
        label=_("Minutes now, to wash and dry"), min_value=1, help_text=_("The bay is free again after that.")
    )


class NewVehicleForm(AskOnceForm, VinForm):
    """A vehicle that was never here, and whose it is."""

    plate = forms.CharField(label=_("Plate"), max_length=16, required=False)
    description = forms.CharField(label=_("Make, model, colour"), max_length=200, required=False)
    body_style = forms.ChoiceField(
        label=_("Body style"), required=False, choices=[("", _("not known")), *choices_of(BodyStyle)]
    )
    propulsion = forms.ChoiceField(
        label=_("Propulsion"),
        required=False,
        choices=[
            ("", _("not known")),
            *((value, label) for value, label in choices_of(Propulsion) if value != Propulsion.UNKNOWN),
        ],
        help_text=_("Underside and sills wait until it is known."),
    )
    owner = forms.CharField(label=_("Owner's name"), max_length=200)
    contact = forms.CharField(
        label=_("Owner's telephone or e-mail"),
        max_length=200,
        help_text=_("So that the shop can say when it is ready."),
    )
    language = LanguageField(required=False, help_text=KEPT_IF_NOT_ASKED)

    def list_doubts(self, values: Mapping[str, Any]) -> dict[str, str]:
        doubt = doubt_plate(values.get("plate", ""))
        return {"plate": doubt} if doubt else {}

    def clean_contact(self) -> str:
        """Return the contact, which messages and calls go to."""
        contact: str = self.cleaned_data["contact"]
        if find_contact_fault(contact):
            raise forms.ValidationError(
                _("Write one telephone number with its area code, or one e-mail address such as name@example.org.")
            )
        return contact
