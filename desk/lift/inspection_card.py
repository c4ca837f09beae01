"""One zone of the form of an inspection: what was seen on it, and its pictures.

Its card is the template ``lift/inspection_card.html``.
"""

import functools
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from desk.forms.fields import NumberField
from desk.lift.record_forms import put_number, share_fields
from notifications.documents.pdf.job_sheet import JobRow
from treatments.enums import FilmState
from treatments.models import InspectionLine, KeptPhoto, Photo
from treatments.models.enum_columns import choices_of
from treatments.records.photos import FORMATS
from treatments.records.rules.rust_grade import grade_rust
from treatments.rules.zone_catalogue import ZoneDescription

ACCEPTED = ",".join(f"image/{kind.lower()}" for kind in FORMATS)

# The rusted areas of the reference pictures of ISO 4628-3; its last one is of 40 to 50 %, taken in the middle.
STEPS = ("0", "0.05", "0.5", "1", "8", "45")


@share_fields
class InspectedZoneForm(forms.Form):
    """What was seen on one zone."""

    step = forms.ChoiceField(
        label=_("Rusted area, about"),
        required=False,
        choices=[*((step, f"{step} %") for step in STEPS), ("", _("not looked at"))],
    )
    percent = NumberField(
        label=_("Measured, in per cent"),
        required=False,
        min_value=Decimal(0),
        max_value=Decimal(100),
        max_digits=6,
        decimal_places=3,
    )
    film = forms.ChoiceField(label=_("Film"), required=False, choices=choices_of(FilmState))
    perforated = forms.BooleanField(label=_("Rusted through"), required=False)
    action = forms.CharField(label=_("What is to be done"), required=False, max_length=200)
    unseen = forms.CharField(label=_("Not seen, because"), required=False, max_length=200)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        step, percent = cleaned.get("step"), cleaned.get("percent")
        if step and percent is not None and Decimal(step) != percent:
            self.add_error(
                "percent",
                _t("%(step)s %% is chosen and %(percent)s %% is typed: keep one of them.")
                % {"step": step, "percent": percent},
            )
        looked = step or percent is not None or cleaned.get("perforated")
        if cleaned.get("unseen") and (looked or cleaned.get("film") not in (None, "", FilmState.NOT_SEEN)):
            self.add_error("unseen", _t("Something is written about what was seen: empty that, or this reason."))
        return cleaned

    def read_percent(self) -> Decimal | None:
        """Return the rusted area in per cent, None where it was not looked at."""
        values = self.cleaned_data
        if values["percent"] is not None:
            return Decimal(values["percent"])
        return Decimal(values["step"]) if values["step"] else None

    @property
    def is_empty(self) -> bool:
        """Whether nothing was said about the zone."""
        values = self.cleaned_data
        looked = self.read_percent() is not None or values["perforated"] or values["action"].strip()
        looked = looked or values["unseen"].strip()
        return not looked and values["film"] in ("", FilmState.NOT_SEEN)


# What the fields of a zone start with.
_NOTHING_SEEN: dict[str, Any] = {
    "step": "",
    "percent": None,
    "film": FilmState.NOT_SEEN,
    "perforated": False,
    "action": None,
    "unseen": None,
}


# What a zone is that was seen without rust and with its film as it should be.
SOUND = {"step": "0", "film": FilmState.INTACT.value}


@dataclass
class InspectedCard:
    """One zone on the page with the pictures that are kept for it.

    Attributes:
        data: what was sent, None for nothing.
        told: what is on record, where the form is of an inspection that is.
        recorded: the photos on record.
    """

    row: JobRow
    zone: ZoneDescription
    data: QueryDict | None
    photos: list[KeptPhoto]
    photo_errors: list[str] = field(default_factory=list)
    told: dict[str, Any] = field(default_factory=dict)
    recorded: Sequence[Photo] = ()
    recorded_of: int = 0

    @property
    def code(self) -> str:
        return self.zone.code

    @functools.cached_property
    def form(self) -> InspectedZoneForm:
        """The form of what was seen."""
        return InspectedZoneForm(self.data, prefix=f"i-{self.code}", initial=_NOTHING_SEEN | self.told)

    @property
    def values(self) -> dict[str, Any]:
        """What the fields show."""
        return {name: self.form[name].value() for name in self.form.fields}

    @property
    def photo_field(self) -> str:
        """The name of the field by which pictures come."""
        return name_photo_field(self.code)

    @property
    def grade(self) -> str:
        """The grade of what is chosen, '' where nothing readable is."""
        values = self.values
        value = values["percent"] or values["step"]
        try:
            return grade_rust(Decimal(str(value))).iso_4628_3 if value else ""
        except (ArithmeticError, ValueError):
            return ""

    @property
    def is_blank(self) -> bool:
        """Whether nothing at all is entered: neither an answer nor a picture."""
        said = {value for value in self.values.values() if value}
        return said <= {FilmState.NOT_SEEN} and not self.photos and not self.recorded

    @property
    def has_errors(self) -> bool:
        return bool(self.photo_errors) or (self.data is not None and bool(self.form.errors))

    @property
    def is_open(self) -> bool:
        """Whether the fields that are seldom needed start unfolded."""
        values = self.values
        return bool(values["percent"] or values["action"]) or (self.data is not None and bool(self.form.errors))


def put_line(line: InspectionLine) -> dict[str, Any]:
    """Return what is on record of a zone as the fields show it."""
    percent = line.rusted_area_percent
    step = next((step for step in STEPS if percent is not None and Decimal(step) == percent), "")
    return {
        "step": step,
        "percent": None if percent is None or step else put_number(percent),
        "film": line.film_state,
        "perforated": line.perforated,
        "action": line.action or None,
        "unseen": line.not_seen_reason or None,
    }


def name_photo_field(code: str) -> str:
    """Return the name of the field by which the pictures of a zone come."""
    return f"p-{code}-photos"
