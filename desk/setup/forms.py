"""The forms of the set-up: hours, bays, closures, people and how long visits take."""

from collections.abc import Sequence
from datetime import datetime, time
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from desk.booking.forms import WEEKDAYS, TimeOfDayInput, name_person
from desk.forms.fields import DayField, MomentField
from desk.templatetags.desk_dates import write_date
from scheduling.bays.services import MINUTES_FIELDS, MOST_MINUTES, MOST_OF_BAY, check_limits, check_minutes
from scheduling.enums import Skill
from scheduling.models import Bay, WorkDuration
from treatments.models import Site, User
from treatments.models.enum_columns import choices_of
from treatments.rules.site_days import find_moment
from treatments.rules.site_settings import find_zone

if TYPE_CHECKING:
    BayModelForm = forms.ModelForm[Bay]
    DurationModelForm = forms.ModelForm[WorkDuration]
else:
    # The class itself is not generic, only its types are.
    BayModelForm = DurationModelForm = forms.ModelForm

Hours = list[tuple[int, time, time]]
# A day's hours and, for a break, hours after it.
SPANS = (1, 2)


class WeekHoursForm(forms.Form):
    """Two stretches for each weekday; left blank, nobody works then."""

    def __init__(self, *args: Any, hours: Sequence[tuple[int, time, time]] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known: dict[int, list[tuple[time, time]]] = {}
        for weekday, start, end in hours:
            known.setdefault(weekday, []).append((start, end))
        for number, name in WEEKDAYS:
            for span in SPANS:
                listed = sorted(known.get(int(number), []))
                given = listed[span - 1] if len(listed) >= span else (None, None)
                for place, (part, words) in enumerate(_PARTS[span]):
                    self.fields[f"{part}_{number}_{span}"] = forms.TimeField(
                        label=_("%(weekday)s, %(part)s") % {"weekday": name, "part": words},
                        required=False,
                        widget=TimeOfDayInput(),
                        initial=given[place],
                    )

    @property
    def rows(self) -> list[tuple[Any, list[Any]]]:
        """The weekdays, each with its four fields."""
        return [
            (name, [self[f"{part}_{number}_{span}"] for span in SPANS for part, _words in _PARTS[span]])
            for number, name in WEEKDAYS
        ]

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        for number, _name in WEEKDAYS:
            ends: time | None = None
            for span in SPANS:
                start, end = values.get(f"from_{number}_{span}"), values.get(f"to_{number}_{span}")
                field = f"to_{number}_{span}"
                if bool(start) != bool(end):
                    self.add_error(field, _("Give both times, or leave both blank."))
                elif start and end and end <= start:
                    self.add_error(field, _("The end is not after the beginning."))
                elif start and ends and start < ends:
                    self.add_error(f"from_{number}_{span}", _("This begins before the hours before it end."))
                ends = end or ends
        return values

    def read(self) -> Hours:
        """Return the hours as (ISO weekday, from, to)."""
        found = []
        for number, _name in WEEKDAYS:
            for span in SPANS:
                start = self.cleaned_data.get(f"from_{number}_{span}")
                end = self.cleaned_data.get(f"to_{number}_{span}")
                if start and end:
                    found.append((int(number), start, end))
        return found


_PARTS = {
    1: (("from", _("from")), ("to", _("to"))),
    2: (("from", _("after a break from")), ("to", _("after a break to"))),
}


class BayForm(BayModelForm):
    def clean(self) -> dict[str, Any]:
        # Before the row's own check, which tells the most that its database can hold.
        values = super().clean() or {}
        try:
            check_limits({name: values.get(name) for name in MOST_OF_BAY})
        except forms.ValidationError as error:
            self.add_error(None, error)
        return values

    class Meta:
        model = Bay
        fields = ["name", "code", "kind", "most_height_mm", "most_mass_kg", "in_use"]
        labels = {
            "name": _("Name"),
            "code": _("Short name in addresses"),
            "kind": _("Kind"),
            "most_height_mm": _("Tallest vehicle, mm"),
            "most_mass_kg": _("Heaviest vehicle, kg"),
            "in_use": _("In use"),
        }
        help_texts = {
            "most_height_mm": _("That fits with the lift raised to working height."),
            "most_mass_kg": _("The lift's rated capacity, from its maker's plate."),
        }


# Whoever plans beyond these has slipped with the year. Our own choice.
FIRST_YEAR, LAST_YEAR = 2000, 2099


def _write(moment: datetime) -> str:
    """Return a moment as it stands on the wall clock of the site, where it was typed."""
    return str(write_date(moment, "j M Y H:i", language=get_language() or ""))


class TimesForm(forms.Form):
    """From when until when, on the clock of a site."""

    starts_at = MomentField(label=_("From"))
    ends_at = MomentField(label=_("Until"))

    def __init__(self, *args: Any, site: Site | None = None, **kwargs: Any) -> None:
        """Make the form; without a site it can only be shown."""
        super().__init__(*args, **kwargs)
        self.site = site

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        for name in ("starts_at", "ends_at"):
            moment = values.get(name)
            if moment and not FIRST_YEAR <= moment.year <= LAST_YEAR:
                self.add_error(
                    name,
                    forms.ValidationError(
                        _("%(day)s: write a year from %(first)s to %(last)s."),
                        params={"day": _write(moment), "first": FIRST_YEAR, "last": LAST_YEAR},
                    ),
                )
        starts_at, ends_at = values.get("starts_at"), values.get("ends_at")
        if starts_at and ends_at and ends_at <= starts_at and not self.errors:
            self.add_error(
                "ends_at",
                forms.ValidationError(
                    _("%(until)s is not after %(since)s: give a later end."),
                    params={"until": _write(ends_at), "since": _write(starts_at)},
                ),
            )
        return values

    def read_moment(self, name: str) -> datetime:
        """Return a moment in UTC; a browser sends the wall clock of the site."""
        assert self.site is not None
        typed: datetime = self.cleaned_data[name]
        return find_moment(typed.date(), typed.time(), find_zone(self.site.time_zone))


# Primary key and name.
Choice = tuple[int, str]


def offer(field: Any, choices: Sequence[Choice]) -> None:
    """Offer rows in the field of a choice, so that it doesn't read them again."""
    field.choices = [("", field.empty_label), *choices]


class CloseBayForm(TimesForm):
    bay = forms.ModelChoiceField(label=_("Bay"), queryset=Bay.objects.none())
    reason = forms.CharField(
        label=_("Reason"), max_length=120, help_text=_("Such as the yearly examination of its lift.")
    )

    field_order = ["bay", "starts_at", "ends_at", "reason"]

    def __init__(self, *args: Any, site: Site | None = None, bays: Sequence[Choice] = (), **kwargs: Any) -> None:
        """Make the form for what is sent of a site, or to be shown with its bays, which are read already."""
        super().__init__(*args, site=site, **kwargs)
        if site is None:
            offer(self.fields["bay"], bays)
        else:
            self.fields["bay"].queryset = Bay.objects.filter(site=site)  # type: ignore[attr-defined]


class AbsenceForm(TimesForm):
    person = forms.ModelChoiceField(label=_("Person"), queryset=User.objects.none())

    field_order = ["person", "starts_at", "ends_at"]

    def __init__(self, *args: Any, site: Site | None = None, people: Sequence[Choice] = (), **kwargs: Any) -> None:
        """Make the form for what is sent of a site, or to be shown with its people, who are read already."""
        super().__init__(*args, site=site, **kwargs)
        field: Any = self.fields["person"]
        if site is None:
            offer(field, people)
            return
        field.queryset = User.objects.filter(site=site, is_active=True).order_by("pk")
        field.label_from_instance = name_person


class SkillsForm(forms.Form):
    skills = forms.MultipleChoiceField(
        label=_("May be booked for"), required=False, choices=choices_of(Skill), widget=forms.CheckboxSelectMultiple
    )


class TrainingsForm(forms.Form):
    """Until when a person's certificates for work on some vehicles are good; a field for each training."""

    high_voltage = DayField(label=_("Certificate for high voltage good until"), required=False)
    gas_systems = DayField(
        label=_("Certificate for gas systems good until"),
        required=False,
        help_text=_("Left empty without one. What it takes is for local law to say."),
    )


class DurationForm(DurationModelForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in MINUTES_FIELDS:
            self.fields[name].widget.attrs |= {"min": 1 if name == "work_minutes" else 0, "max": MOST_MINUTES}

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        try:
            check_minutes({name: values.get(name) for name in MINUTES_FIELDS})
        except forms.ValidationError as error:
            self.add_error(None, error)
        return values

    class Meta:
        model = WorkDuration
        fields = [
            "bay_kind",
            "skill",
            "wash_and_dry_minutes",
            "work_minutes",
            "minutes_per_zone",
            "standing_minutes",
            "stands_in_bay",
        ]
        labels = {
            "bay_kind": _("Bay"),
            "skill": _("Done by somebody trained for"),
            "wash_and_dry_minutes": _("Wash and dry, minutes"),
            "work_minutes": _("Work, minutes"),
            "minutes_per_zone": _("More for each zone due, minutes"),
            "standing_minutes": _("Standing before it may leave, minutes"),
            "stands_in_bay": _("Stands in the bay meanwhile"),
        }
        help_texts = {"standing_minutes": _("The product maker's data sheet decides.")}
