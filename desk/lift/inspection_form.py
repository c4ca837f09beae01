"""The form of an inspection: one card for each zone in the order of the work, with rusted area, film and photos."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.translation import gettext as _t

from desk.lift.inspection_card import SOUND, InspectedCard, put_line
from desk.lift.record_forms import InspectionVisitForm, guess_visit, list_form_errors, put_number, read_by_the_lift
from notifications.documents.job_sheets import describe_job_sheet
from notifications.documents.pdf.job_sheet import JobStep
from notifications.languages import join_label
from treatments.enums import FilmState, InspectionKind
from treatments.models import Inspection, InspectionLine, KeptPhoto, Site, Vehicle, Zone
from treatments.queries import read_zone_catalogue
from treatments.records.inspections import InspectionEntry, KeptPicture, keep_recorded, make_entry
from treatments.shared.labels import translate_catalogue


@dataclass
class StepOfInspection:
    """One stage of the work with the cards of its zones.

    Attributes:
        filled: the names of the zones that were just filled in at once, None where nobody asked for that.
    """

    step: JobStep
    cards: list[InspectedCard]
    filled: list[str] | None = None

    @property
    def coated(self) -> list[InspectedCard]:
        """The cards of the zones that were treated: only on these a film can be as it should be."""
        return [card for card in self.cards if card.row.last_treated]

    def fill_rest(self, data: QueryDict) -> None:
        """Put "no rust, film intact" into the form for each treated zone on which nothing is entered."""
        blank = [card for card in self.coated if card.is_blank]
        for card in blank:
            for name, value in SOUND.items():
                data[f"i-{card.code}-{name}"] = value
        self.filled = [card.row.zone_name for card in blank]


class InspectionForm:
    """Everything on the page of an inspection, unbound or as it was sent."""

    def __init__(
        self,
        *,
        vehicle: Vehicle,
        site: Site,
        today: date,
        photos: list[KeptPhoto],
        data: QueryDict | None = None,
        inspection: Inspection | None = None,
    ) -> None:
        if data is not None and "rest_seen" in data:
            data = data.copy()
        self.vehicle, self.data = vehicle, data
        catalogue = read_zone_catalogue()
        self.sheet = describe_job_sheet(
            vehicle,
            today,
            every_zone=True,
            only_looks=True,
            catalogue=catalogue,
        )
        kind = InspectionKind.INTAKE if self.sheet.is_first else InspectionKind.REINSPECTION
        guess = guess_visit(read_by_the_lift(vehicle).last_unit, site, today)
        visit = guess | {"kind": kind} | (put_visit(inspection) if inspection else {})
        self.visit = InspectionVisitForm(data, today=today, initial=visit, read_on=vehicle, on_record=inspection)
        lines = inspection.lines.select_related("zone").prefetch_related("photos") if inspection else ()
        on_record = {line.zone.code: line for line in lines}
        dropped = set(data.getlist("drop_recorded")) if data is not None else set()
        by_zone: dict[str, list[KeptPhoto]] = {}
        for photo in photos:
            by_zone.setdefault(photo.zone.code, []).append(photo)
        described = {zone.code: zone for zone in catalogue}
        self.steps = [
            StepOfInspection(
                step,
                [
                    _put_record(
                        InspectedCard(row, described[row.zone_code], data, by_zone.get(row.zone_code, [])),
                        on_record.pop(row.zone_code, None),
                        dropped,
                    )
                    for row in step.rows
                ],
            )
            for step in self.sheet.steps
            if step.rows
        ]
        # What is on record of a zone that is not on the page any more stays on record.
        self.kept_lines = list(on_record.values())
        self.others: list[tuple[str, str]] = []
        if data is not None and self.wants_more:
            for step in self.steps:
                if step.step.stage == data["rest_seen"]:
                    step.fill_rest(data)

    @cached_property
    def zones(self) -> dict[str, Zone]:
        """The zones as they are put on record, read where something is."""
        return {zone.code: zone for zone in Zone.objects.all()}

    @property
    def cards(self) -> list[InspectedCard]:
        return [card for step in self.steps for card in step.cards]

    def is_valid(self) -> bool:
        """Read everything that was sent; afterwards ``errors`` names what is wrong."""
        # Each form is asked, so that every error is told at once.
        checked = [self.visit.is_valid(), *(card.form.is_valid() for card in self.cards)]
        fine = all(checked) and not any(card.photo_errors for card in self.cards)
        if fine and all(card.form.is_empty and not card.photos and not card.recorded for card in self.cards):
            self.others.append(("", _t("No zone is marked yet: say what was seen on at least one.")))
            return False
        return fine

    def list_entries(self, pictures: Mapping[int, tuple[KeptPicture, ...]]) -> list[InspectionEntry]:
        """Return what was seen, with the pictures by zone; a zone of which only a picture was taken counts as seen."""
        entries = []
        for card in self.cards:
            zone = self.zones[card.code]
            taken = (*map(keep_recorded, card.recorded), *pictures.get(zone.pk, ()))
            if card.form.is_empty and not taken:
                continue
            values = card.form.cleaned_data
            entries.append(
                InspectionEntry(
                    zone,
                    rusted_area_percent=card.form.read_percent(),
                    perforated=values["perforated"],
                    film_state=FilmState(values["film"] or FilmState.NOT_SEEN),
                    action=values["action"].strip(),
                    not_seen_reason=values["unseen"].strip(),
                    photos=taken,
                )
            )
        return entries + [make_entry(line) for line in self.kept_lines]

    def add_errors(self, error: ValidationError) -> None:
        """Put what a service refused at its field, the rest above all."""
        fields: Mapping[str, list[str]] = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
        for name, messages in fields.items():
            if name in self.visit.fields:
                self.visit.add_error(name, messages)
            else:
                self.others += [("", message) for message in messages]

    @property
    def wants_more(self) -> bool:
        """Whether the form was only sent to have the rest of a stage filled in."""
        return self.data is not None and "rest_seen" in self.data

    @property
    def errors(self) -> list[tuple[str, str]]:
        """Return every error as (id of its field, sentence), in the order of the page."""
        if self.data is None:
            return []
        told = self.others if self.wants_more else self.others + list_form_errors([(self.visit, "")])
        for card in self.cards:
            if not self.wants_more:
                told += list_form_errors([(card.form, translate_catalogue(card.zone.name))])
            told += [
                (f"id_{card.photo_field}", join_label(translate_catalogue(card.zone.name), error))
                for error in card.photo_errors
            ]
        return told


def put_visit(inspection: Inspection) -> dict[str, Any]:
    """Return what is on record of the visit as the fields show it."""
    odometer = inspection.odometer
    values = {"kind": inspection.kind, "done_on": inspection.done_on.isoformat(), "note": inspection.note}
    if odometer:
        values |= {"odometer": put_number(odometer.amount), "odometer_unit": odometer.unit}
    return values


def _put_record(card: InspectedCard, line: InspectionLine | None, dropped: set[str]) -> InspectedCard:
    """Put on a card what is on record of its zone, but for the photos that are taken away."""
    if line is not None:
        card.told, card.recorded_of = put_line(line), line.inspection_id
        card.recorded = [photo for photo in line.photos.all() if str(photo.pk) not in dropped]
    return card
