"""One zone of the form of an inspection: what was seen on it, its pictures, and how its card is written.

A card without errors and pictures is a mould with the values put in, as in ``desk.lift.treatment_card``.
"""

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict
from django.template import engines
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from markupsafe import Markup

from desk.forms.number_field import NumberField
from desk.lift.record_forms import put_number, share_fields
from desk.rendering.moulds import Filling, Mould, join_markup, make_fields_with_holes, make_hole
from desk.rendering.telling import find_language
from notifications.documents.pdf.job_sheet import JobRow
from treatments.enums import FilmState
from treatments.models import InspectionLine, KeptPhoto, Photo
from treatments.models.choices import choices_of
from treatments.records.photos import FORMATS
from treatments.records.rules.rust_grade import grade_rust
from treatments.rules.zone_catalogue import ZoneDescription

TEMPLATE = "desk/inspection_card.html"
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
        if self.data is None:
            return _NOTHING_SEEN | self.told
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

    def render(self) -> Markup:
        """Return the card as it stands on the page."""
        return join_markup(self.write())

    def write(self) -> list[str]:
        """Return the pieces of the card as it stands on the page."""
        if self.has_errors or self.photos or self.recorded:
            template = engines["jinja2"].get_template(TEMPLATE)
            return [template.render({"card": self, "accepted": ACCEPTED})]
        if self.data is None and not self.told:
            return [_write_blank(self.code, self.row.zone_name, find_language())]
        return self._write_told()

    def _write_told(self) -> list[str]:
        values = self.values
        filling = Filling()
        filling.put("zone_name", self.row.zone_name)
        filling.put("grade", self.grade)
        _put_values(filling, values)
        return _make_mould(self.code, self.is_open, find_language()).fill(filling)


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


# A catalogue has some sixty zones.
@functools.lru_cache(maxsize=512)
def _make_mould(code: str, is_open: bool, language: str | None) -> Mould:  # made in this language
    card = {
        "code": code,
        "row": {"zone_name": make_hole("zone_name")},
        "grade": make_hole("grade"),
        "photo_field": name_photo_field(code),
        "is_open": is_open,
        "form": make_fields_with_holes(InspectedZoneForm, prefix=f"i-{code}"),
    }
    return Mould(TEMPLATE, card=card, accepted=ACCEPTED)


# Each zone in each language.
@functools.lru_cache(maxsize=512)
def _write_blank(code: str, zone_name: str, language: str | None) -> Markup:  # written in this language
    """Return the card of a zone of which nothing is told yet."""
    filling = Filling()
    filling.put("zone_name", zone_name)
    _put_values(filling, _NOTHING_SEEN)
    return join_markup(_make_mould(code, False, language).fill(filling))


def _put_values(filling: Filling, values: Mapping[str, Any]) -> None:
    filling.put("percent", values["percent"])
    filling.put("action", values["action"])
    filling.put("unseen", values["unseen"])
    filling.choose("step", values["step"], "checked")
    filling.choose("film", values["film"], "checked")
    filling.choose("perforated", values["perforated"], "checked")
