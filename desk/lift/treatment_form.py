"""The form by the lift: a visit with its conditions and one card for each zone, in the order of the work.

It reads what was typed into line entries for the services, and puts a treatment on record back into its fields.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.translation import gettext as _t

from desk.lift.materials import Materials
from desk.lift.record_forms import (
    TreatmentVisitForm,
    guess_visit,
    list_form_errors,
    put_number,
    put_yes_no,
    read_by_the_lift,
    read_yes_no,
)
from desk.lift.total_forms import make_total_forms
from desk.lift.treatment_card import CoatForm, ZoneCard, put_coat, put_reason
from notifications.documents.job_sheets import describe_job_sheet
from notifications.documents.pdf.job_sheet import JobRow, JobSheet, JobStep
from treatments.models import Site, Treatment, TreatmentLine, Vehicle, Zone
from treatments.queries import read_zone_catalogue
from treatments.records.material_totals import TotalEntry, list_totals
from treatments.records.services import LineEntry, check_line
from treatments.reference.queries import map_zones
from treatments.rules.units import Volume, VolumeUnit
from treatments.shared.labels import translate_catalogue
from treatments.vehicles.fact_queries import read_body
from treatments.vehicles.rules.coatable import VehicleBody

# More of them on one zone than anybody sprays; a page asks for one more at a time.
MOST_COATS = 9
_COAT_SENT = re.compile(r"c-(.+)-(\d)-quantity")


@dataclass(frozen=True)
class StepCards:
    """One stage of the work with its cards."""

    step: JobStep
    cards: list[ZoneCard]


class TreatmentForm:
    """Everything on the page by the lift, unbound or as it was sent."""

    def __init__(
        self,
        *,
        vehicle: Vehicle,
        site: Site,
        today: date,
        data: QueryDict | None = None,
        treatment: Treatment | None = None,
    ) -> None:
        self.vehicle, self.data, self.today = vehicle, data, today
        catalogue = read_zone_catalogue()
        self.catalogue = {zone.code: zone for zone in catalogue}
        lines = list(treatment.lines.order_by("pk")) if treatment else []
        totals = list_totals(treatment) if treatment else []
        lots = {line.lot_id for line in lines} | {total.lot_id for total in totals}
        self.materials = Materials(vehicle=vehicle, site=site, today=today, keep={lot for lot in lots if lot})
        self.total_forms = make_total_forms(data, totals, self.materials)
        self.sheet: JobSheet = describe_job_sheet(
            vehicle,
            today,
            every_zone=True,
            catalogue=catalogue,
            products=self.materials.products,
        )
        # What a treatment on record put on a zone may stay there when it is amended.
        self.known_coats = {line.zone_id for line in lines if line.product_id and treatment and treatment.signed_off_at}
        stands = read_by_the_lift(vehicle)
        self.drafts = stands.drafts
        visit = guess_visit(stands.last_unit, site, today) | (
            _put_visit(treatment) if treatment else self._guess_kind()
        )
        self.visit = TreatmentVisitForm(data, today=today, initial=visit, read_on=vehicle, on_record=treatment)
        self.caution_numbers: dict[str, int] = {}
        self._coats_sent = _count_coats(data) if data is not None else {}
        self.steps = self._make_steps(lines)
        self.others: list[tuple[str, str]] = []

    @cached_property
    def zones(self) -> dict[str, Zone]:
        """The zones as they are put on record, read where something is."""
        return {zone.code: zone for zone in Zone.objects.prefetch_related("areas")}

    @cached_property
    def body(self) -> VehicleBody:
        """What may be coated on the day of the work, read where something is put on record."""
        return read_body(self.vehicle, self.visit.cleaned_data.get("done_on") or self.today)

    def _guess_kind(self) -> dict[str, Any]:
        return {"kind": self.sheet.kind or ""}

    def _make_steps(self, lines: list[TreatmentLine]) -> list[StepCards]:
        by_zone: dict[str, list[TreatmentLine]] = {}
        zones = map_zones() if lines else {}
        for line in lines:
            by_zone.setdefault(zones[line.zone_id].code, []).append(line)
        steps = [
            StepCards(step, [self._make_card(row, by_zone.pop(row.zone_code, [])) for row in step.rows])
            for step in self.sheet.steps
        ]
        # What is on record or was sent for a zone that is not on the page is shown, never dropped.
        data = self.data or QueryDict()
        sent = {match[1] for name in data if data[name] and (match := re.fullmatch(r"z-(.+)-state", name))}
        self.unknown_zones = sorted(sent - self.catalogue.keys())
        shown = {card.code for step in steps for card in step.cards}
        left_over = [code for code in (*by_zone, *sorted(sent)) if code not in shown and code in self.catalogue]
        if left_over:
            rows = [
                JobRow(self.catalogue[code].name, (), "", "quantity cannot be told", "", (), code)
                for code in dict.fromkeys(left_over)
            ]
            step = JobStep(_t("Other zones"), "", _t("These zones are not on this vehicle's list."), tuple(rows))
            steps.append(StepCards(step, [self._make_card(row, by_zone.get(row.zone_code, [])) for row in rows]))
        return steps

    def _make_card(self, row: JobRow, lines: list[TreatmentLine]) -> ZoneCard:
        applied = [line for line in lines if line.product_id]
        not_done = next((line for line in lines if not line.product_id), None)
        told = {"state": "done" if applied else "not_done" if not_done else ""}
        if not_done:
            told |= put_reason(not_done.not_done_reason)
        count = max(1, len(applied))
        if self.data is not None:
            count = max(count, self._coats_sent.get(row.zone_code, 1))
            count += self.data.get("more") == row.zone_code and count < MOST_COATS
        coats = []
        for number in range(count):
            values: dict[str, Any] = {"unit": self.materials.last_unit, "pressure_unit": "psi"}
            if number < len(applied):
                values = put_coat(applied[number])
                values["unit"] = values["unit"] or self.materials.last_unit
            elif number == 0:
                values["material"] = self.materials.propose(row.product)
            coats.append(values)
        own = [caution for caution in row.cautions if caution not in self.sheet.cautions]
        numbers = [self.caution_numbers.setdefault(caution, len(self.caution_numbers) + 1) for caution in own]
        return ZoneCard(row, self.catalogue[row.zone_code], self.data, told, coats, self.materials, numbers)

    @property
    def cards(self) -> list[ZoneCard]:
        return [card for step in self.steps for card in step.cards]

    def is_valid(self) -> bool:
        """Read everything that was sent.

        Afterwards ``errors`` names what is wrong, and ``lines`` and ``totals`` hold the entries.
        """
        self.lines: list[LineEntry] = []
        # Each form is asked, so that every error is told at once.
        fine = all([self.visit.is_valid(), *[total.is_valid() for total in self.total_forms]])
        self.totals: list[TotalEntry] = [total.entry for total in self.total_forms if total.entry is not None]
        for code in self.unknown_zones:
            self.others.append(("", _t("The catalogue has no zone %(zone)s: open the page anew.") % {"zone": code}))
            fine = False
        for card in self.cards:
            # Each form is asked, so that every error is told at once.
            checked = [card.form.is_valid(), *(coat.is_valid() for coat in card.coats)]
            fine = self._read_card(card) and fine if all(checked) else False
        if fine and not self.lines:
            self.others.append(("", _t("No zone is marked yet: mark each zone that was done, or say why it was not.")))
            fine = False
        return fine

    def _read_card(self, card: ZoneCard) -> bool:
        state = card.form.cleaned_data["state"]
        filled = [
            coat for number, coat in enumerate(card.coats) if not coat.is_empty or (state == "done" and number == 0)
        ]
        if state != "done" and filled:
            card.form.add_error(
                "state",
                _t("Something is written about what went on it: mark it as done, or empty those fields."),
            )
            return False
        if state == "not_done":
            return self._add_line(card, None, LineEntry(self.zones[card.code], not_done_reason=card.form.read_reason()))
        read = [self._read_coat(card, coat) for coat in filled]  # each, so that every error is told at once
        return all(read)

    def _read_coat(self, card: ZoneCard, coat: CoatForm) -> bool:
        values = coat.cleaned_data
        try:
            product, lot = self.materials.read(values["material"])
        except ValidationError as error:
            coat.add_error("material", error)
            return False
        quantity = None
        if values["quantity"] is not None:
            if not values["unit"]:
                coat.add_error("unit", _t("Say in which unit."))
                return False
            quantity = Volume(values["quantity"], VolumeUnit(values["unit"]))
        elif not any((total.product, total.lot) == (product, lot) for total in self.totals):
            coat.add_error(
                "quantity", _t("Write how much was applied, or give the total of this product and lot for the vehicle.")
            )
            return False
        entry = LineEntry(
            self.zones[card.code],
            product,
            lot,
            quantity,
            tool=values["tool"],
            pressure_kpa=coat.read_pressure_kpa(),
            wet_film_um=values["film"],
            access_points_used=values["points"],
            mist_seen_at_far_end=read_yes_no(values["mist"]),
        )
        return self._add_line(card, coat, entry)

    def _add_line(self, card: ZoneCard, coat: CoatForm | None, entry: LineEntry) -> bool:
        try:
            check_line(entry, self.body, known=self.known_coats)
        except ValidationError as error:
            card.form.add_error("state", [message for messages in error.message_dict.values() for message in messages])
            return False
        twin = any((line.zone, line.product, line.lot) == (entry.zone, entry.product, entry.lot) for line in self.lines)
        if twin and coat is not None:
            coat.add_error("material", _t("This product and lot stands twice on this zone: add the quantities up."))
            return False
        self.lines.append(entry)
        return True

    def add_errors(self, error: ValidationError) -> None:
        """Put what a service refused at its field, the rest above all."""
        fields: Mapping[str, list[str]] = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
        for name, messages in fields.items():
            if name in self.visit.fields:
                self.visit.add_error(name, messages)
            else:
                target = {"reason": "id_reason", "totals": "totals"}.get(name, "")
                self.others += [(target, message) for message in messages]

    @property
    def wants_more(self) -> bool:
        """Whether the form was only sent to get the fields of one more product on a zone."""
        return self.data is not None and "more" in self.data

    @property
    def errors(self) -> list[tuple[str, str]]:
        """Return every error as (id of its field, sentence), in the order of the page."""
        if self.data is None or self.wants_more:
            return []
        named: list[tuple[forms.Form, str]] = [(self.visit, "")]
        for card in self.cards:
            named += [(form, translate_catalogue(card.zone.name)) for form in (card.form, *card.coats)]
        named += [(total, _t("Totals for the vehicle")) for total in self.total_forms]
        return self.others + list_form_errors(named)


def _count_coats(data: QueryDict) -> dict[str, int]:
    """Return how many coats were sent for each zone by its code; no more than a page could ever show."""
    counts: dict[str, int] = {}
    for name in data:
        if match := _COAT_SENT.fullmatch(name):
            counts[match[1]] = max(counts.get(match[1], 1), 1 + int(match[2]))
    return counts


def _put_visit(treatment: Treatment) -> dict[str, Any]:
    odometer = treatment.odometer
    values: dict[str, Any] = {
        "kind": treatment.kind,
        "done_on": treatment.done_on.isoformat(),
        "temperature_unit": "c",
        "air": put_number(treatment.air_temperature_c),
        "surface": put_number(treatment.surface_temperature_c),
        "humidity": put_number(treatment.relative_humidity_percent),
        "surface_clean": put_yes_no(treatment.surface_clean),
        "surface_dry": put_yes_no(treatment.surface_dry),
        "note": treatment.note,
    }
    if odometer:
        values |= {"odometer": put_number(odometer.amount), "odometer_unit": odometer.unit}
    return values
