"""The form of an inspection: one card for each zone in the order of the work, with rusted area, film and photos."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.translation import get_language
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from desk.number_field import NumberField
from desk.record_forms import InspectionVisitForm, guess_visit, list_form_errors, share_fields
from notifications.documents.job_sheet import JobRow, JobStep
from notifications.queries import describe_job_sheet
from treatments.models import KeptPhoto, Site, Vehicle, Zone
from treatments.models.choices import choices_of
from treatments.rules.rust_grade import grade_rust
from treatments.rules.speaking import ENGLISH
from treatments.rules.words import FilmState, InspectionKind
from treatments.services import InspectionEntry, KeptPicture

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

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        step, percent = cleaned.get("step"), cleaned.get("percent")
        if step and percent is not None and Decimal(step) != percent:
            self.add_error(
                "percent",
                _t("%(step)s %% is chosen and %(percent)s %% is typed: keep one of them.")
                % {"step": step, "percent": percent},
            )
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
        return not looked and values["film"] in ("", FilmState.NOT_SEEN)


@dataclass
class InspectedCard:
    """One zone on the page with the pictures that are kept for it."""

    row: JobRow
    zone: Zone
    form: InspectedZoneForm
    photos: list[KeptPhoto]
    photo_errors: list[str]

    @property
    def photo_field(self) -> str:
        """The name of the field by which pictures come."""
        return f"p-{self.zone.code}-photos"

    @property
    def grade(self) -> str:
        """The grade of what is chosen, '' where nothing readable is."""
        value = self.form["percent"].value() or self.form["step"].value()
        try:
            return grade_rust(Decimal(str(value))).iso_4628_3 if value else ""
        except (ArithmeticError, ValueError):
            return ""


@dataclass(frozen=True)
class StepOfInspection:
    """One stage of the work with the cards of its zones."""

    step: JobStep
    cards: list[InspectedCard]


class InspectionForm:
    """Everything on the page of an inspection, unbound or as it was sent."""

    def __init__(
        self, *, vehicle: Vehicle, site: Site, today: date, photos: list[KeptPhoto], data: QueryDict | None = None
    ) -> None:
        self.vehicle, self.data = vehicle, data
        self.sheet = describe_job_sheet(vehicle, today, every_zone=True, language=get_language() or ENGLISH)
        zones = {zone.code: zone for zone in Zone.objects.all()}
        is_first = self.sheet.work.startswith("First")
        kind = InspectionKind.INTAKE if is_first else InspectionKind.REINSPECTION
        self.visit = InspectionVisitForm(data, today=today, initial=guess_visit(vehicle, site, today) | {"kind": kind})
        by_zone: dict[int, list[KeptPhoto]] = {}
        for photo in photos:
            by_zone.setdefault(photo.zone_id, []).append(photo)
        self.steps = [
            StepOfInspection(
                step,
                [
                    InspectedCard(
                        row,
                        zones[row.zone_code],
                        InspectedZoneForm(
                            data, prefix=f"i-{row.zone_code}", initial={"film": FilmState.NOT_SEEN, "step": ""}
                        ),
                        by_zone.get(zones[row.zone_code].pk, []),
                        [],
                    )
                    for row in step.rows
                ],
            )
            for step in self.sheet.steps
            if step.rows
        ]
        self.others: list[tuple[str, str]] = []

    @property
    def cards(self) -> list[InspectedCard]:
        return [card for step in self.steps for card in step.cards]

    def find_card(self, zone_code: str) -> InspectedCard | None:
        """Return the card of a zone, None where the page has none."""
        return next((card for card in self.cards if card.zone.code == zone_code), None)

    def is_valid(self) -> bool:
        """Read everything that was sent; afterwards ``errors`` names what is wrong."""
        # Each form is asked, so that every error is told at once.
        checked = [self.visit.is_valid(), *(card.form.is_valid() for card in self.cards)]
        fine = all(checked) and not any(card.photo_errors for card in self.cards)
        if fine and all(card.form.is_empty and not card.photos for card in self.cards):
            self.others.append(("", _t("No zone is marked yet: say what was seen on at least one.")))
            return False
        return fine

    def list_entries(self, pictures: Mapping[int, tuple[KeptPicture, ...]]) -> list[InspectionEntry]:
        """Return what was seen, with the pictures by zone; a zone of which only a picture was taken counts as seen."""
        entries = []
        for card in self.cards:
            taken = pictures.get(card.zone.pk, ())
            if card.form.is_empty and not taken:
                continue
            values = card.form.cleaned_data
            entries.append(
                InspectionEntry(
                    card.zone,
                    rusted_area_percent=card.form.read_percent(),
                    perforated=values["perforated"],
                    film_state=FilmState(values["film"] or FilmState.NOT_SEEN),
                    action=values["action"].strip(),
                    photos=taken,
                )
            )
        return entries

    def add_errors(self, error: ValidationError) -> None:
        """Put what a service refused at its field, the rest above all."""
        fields: Mapping[str, list[str]] = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
        for name, messages in fields.items():
            if name in self.visit.fields:
                self.visit.add_error(name, messages)
            else:
                self.others += [("", message) for message in messages]

    @property
    def errors(self) -> list[tuple[str, str]]:
        """Return every error as (id of its field, sentence), in the order of the page."""
        if self.data is None:
            return []
        told = self.others + list_form_errors([(self.visit, "")])
        for card in self.cards:
            told += list_form_errors([(card.form, card.zone.name)])
            told += [(f"id_{card.photo_field}", f"{card.zone.name}: {error}") for error in card.photo_errors]
        return told
