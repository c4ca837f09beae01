"""The form by the lift: a visit with its conditions and one card for each zone, in the order of the work.

It reads what was typed into line entries for the services, and puts a treatment on record back into its fields.
"""

import re
from collections.abc import Mapping, Sequence
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

from desk.materials import Materials
from desk.number_field import NumberField
from desk.record_forms import (
    YES_NO,
    TreatmentVisitForm,
    guess_visit,
    list_form_errors,
    put_number,
    put_yes_no,
    read_yes_no,
    share_fields,
)
from notifications.documents.job_sheet import JobRow, JobSheet, JobStep
from notifications.queries import describe_job_sheet
from treatments.models import Site, Treatment, TreatmentLine, Vehicle, Zone
from treatments.rules.order_of_work import USUAL_CAUTIONS
from treatments.rules.speaking import ENGLISH
from treatments.rules.units import UNIT_WORDS, Volume, VolumeUnit, convert_kpa_to_psi, convert_psi_to_kpa
from treatments.rules.words import TreatmentKind, ZoneKind
from treatments.services import LineEntry, check_line

# Why a zone is left out, as the shop may say it; kept on record in these words, with the applicator's own behind them.
USUAL_REASONS = {
    "reach": _("could not be reached"),
    "blocked": _("opening closed or blocked"),
    "wet": _("wet or frozen"),
    "rust": _("too rusted, repair first"),
    "absent": _("not on this vehicle"),
    "wish": _("customer's wish"),
    "other": _("another reason"),
}
REASONS_ON_RECORD = {
    "reach": "could not be reached",
    "blocked": "opening closed or blocked",
    "wet": "wet or frozen",
    "rust": "too rusted, repair first",
    "absent": "not on this vehicle",
    "wish": "customer's wish",
}
# More of them on one zone than anybody sprays; a page asks for one more at a time.
MOST_COATS = 9
PRESSURE_UNITS = [("psi", "psi"), ("kpa", "kPa")]
_FILM = re.compile(r"\d{1,5}(?:[.,]\d{1,2})?")


@share_fields
class ZoneForm(forms.Form):
    """Whether a zone was done, and why not."""

    state = forms.ChoiceField(
        label=_("Done?"),
        required=False,
        choices=[("done", _("Done")), ("not_done", _("Not done")), ("", _("Not today"))],
    )
    reason = forms.ChoiceField(label=_("Why not"), required=False, choices=list(USUAL_REASONS.items()))
    words = forms.CharField(label=_("In your words"), required=False, max_length=140)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("state") == "not_done" and "reason" in cleaned:
            if not cleaned["reason"]:
                self.add_error("reason", _t("Say why it was not done."))
            elif cleaned["reason"] == "other" and not cleaned.get("words"):
                self.add_error("words", _t("Say in your words why it was not done."))
        return cleaned

    def read_reason(self) -> str:
        """Return the reason as it goes on record."""
        parts = (REASONS_ON_RECORD.get(self.cleaned_data["reason"], ""), self.cleaned_data["words"].strip())
        return ": ".join(part for part in parts if part)


@share_fields
class CoatForm(forms.Form):
    """What went on a zone: product, lot, quantity, and how."""

    material = forms.CharField(label=_("Product and lot"), required=False)
    quantity = NumberField(
        label=_("Quantity"), required=False, max_digits=10, decimal_places=3, min_value=Decimal("0.001")
    )
    unit = forms.ChoiceField(
        label=_("Unit"), choices=[(unit, UNIT_WORDS[unit][1]) for unit in VolumeUnit], required=False
    )
    tool = forms.CharField(label=_("Tool"), required=False, max_length=80)
    pressure = NumberField(
        label=_("Pressure at the regulator"), required=False, max_digits=6, decimal_places=2, min_value=Decimal(0)
    )
    pressure_unit = forms.ChoiceField(label=_("Unit of pressure"), choices=PRESSURE_UNITS, required=False)
    points = forms.IntegerField(label=_("Access points used"), required=False, min_value=0, max_value=99)
    mist = forms.ChoiceField(label=_("Mist seen at the far end"), choices=YES_NO, required=False)
    film = forms.CharField(label=_("Wet film readings in µm"), required=False, max_length=200)

    def clean_film(self) -> tuple[str, ...]:
        readings = self.cleaned_data["film"].replace(";", " ").split()
        wrong = next((text for text in readings if not _FILM.fullmatch(text)), None)
        if wrong is not None:
            raise forms.ValidationError(
                _("‘%(value)s’ is not a reading: write numbers apart by spaces, such as 120 135."),
                params={"value": wrong},
            )
        return tuple(text.replace(",", ".") for text in readings)

    @property
    def is_empty(self) -> bool:
        """Whether nothing was typed; a product alone is only the one that the page proposes."""
        values = self.cleaned_data
        return values.get("quantity") is None and not any(
            values.get(name) for name in ("tool", "pressure", "points", "mist", "film")
        )

    def read_pressure_kpa(self) -> Decimal | None:
        """Return the pressure in kPa, None where not read."""
        value: Decimal | None = self.cleaned_data["pressure"]
        if value is None or self.cleaned_data["pressure_unit"] == "kpa":
            return value
        return convert_psi_to_kpa(value).quantize(Decimal("0.01"))


@dataclass
class ZoneCard:
    """One zone on the page."""

    row: JobRow
    zone: Zone
    form: ZoneForm
    coats: list[CoatForm]
    options: Sequence[str]
    caution_numbers: list[int]

    @property
    def is_cavity(self) -> bool:
        """Whether reach is asked for."""
        return self.zone.kind == ZoneKind.ENCLOSED_CAVITY

    @property
    def is_open(self) -> bool:
        """Whether the card starts unfolded: the zone is on the job sheet, or something is typed about it."""
        return self.row.is_wanted or bool(self.form["state"].value()) or self.has_errors

    @property
    def has_errors(self) -> bool:
        return bool(self.form.errors) or any(coat.errors for coat in self.coats)


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
        self.vehicle, self.data = vehicle, data
        self.sheet: JobSheet = describe_job_sheet(vehicle, today, every_zone=True, language=get_language() or ENGLISH)
        self.zones = {zone.code: zone for zone in Zone.objects.prefetch_related("areas")}
        lines = list(treatment.lines.select_related("zone", "product", "lot").order_by("pk")) if treatment else []
        self.materials = Materials(
            vehicle=vehicle, site=site, today=today, keep={line.lot_id for line in lines if line.lot_id}
        )
        visit = guess_visit(vehicle, site, today) | (_put_visit(treatment) if treatment else self._guess_kind())
        self.visit = TreatmentVisitForm(data, today=today, initial=visit)
        self.caution_numbers: dict[str, int] = {}
        self.steps = self._make_steps(lines)
        self.others: list[tuple[str, str]] = []

    def _guess_kind(self) -> dict[str, Any]:
        is_first = self.sheet.work.startswith("First")
        return {"kind": TreatmentKind.FIRST_TREATMENT if is_first else TreatmentKind.ANNUAL_TOUCH_UP}

    def _make_steps(self, lines: list[TreatmentLine]) -> list[StepCards]:
        by_zone: dict[str, list[TreatmentLine]] = {}
        for line in lines:
            by_zone.setdefault(line.zone.code, []).append(line)
        steps = [
            StepCards(step, [self._make_card(row, by_zone.pop(row.zone_code, [])) for row in step.rows])
            for step in self.sheet.steps
        ]
        # What is on record or was sent for a zone that is not on the page is shown, never dropped.
        data = self.data or QueryDict()
        sent = {match[1] for name in data if data[name] and (match := re.fullmatch(r"z-(.+)-state", name))}
        self.unknown_zones = sorted(sent - self.zones.keys())
        shown = {card.zone.code for step in steps for card in step.cards}
        left_over = [code for code in (*by_zone, *sorted(sent)) if code not in shown and code in self.zones]
        if left_over:
            rows = [
                JobRow(self.zones[code].name, (), "", "quantity cannot be told", "", (), code)
                for code in dict.fromkeys(left_over)
            ]
            step = JobStep(_t("Other zones"), "", _t("These zones are not on this vehicle's list."), tuple(rows))
            steps.append(StepCards(step, [self._make_card(row, by_zone.get(row.zone_code, [])) for row in rows]))
        return steps

    def _make_card(self, row: JobRow, lines: list[TreatmentLine]) -> ZoneCard:
        zone = self.zones[row.zone_code]
        applied = [line for line in lines if line.product_id]
        not_done = next((line for line in lines if not line.product_id), None)
        initial = {"state": "done" if applied else "not_done" if not_done else ""}
        if not_done:
            initial |= _put_reason(not_done.not_done_reason)
        form = ZoneForm(self.data, prefix=f"z-{zone.code}", initial=initial)
        count = max(1, len(applied))
        if self.data is not None:
            count = max(count, 1 + max(_list_coats(self.data, zone.code), default=0))
            count += self.data.get("more") == zone.code and count < MOST_COATS
        coats = []
        for number in range(count):
            values: dict[str, Any] = {"unit": self.materials.last_unit, "pressure_unit": "psi"}
            if number < len(applied):
                values = _put_coat(applied[number])
            elif number == 0:
                values["material"] = self.materials.propose(row.product)
            coats.append(CoatForm(self.data, prefix=f"c-{zone.code}-{number}", initial=values))
        options = [self.materials.render_options(zone, coat["material"].value() or "") for coat in coats]
        told = [caution for caution in row.cautions if caution not in USUAL_CAUTIONS]
        numbers = [self.caution_numbers.setdefault(caution, len(self.caution_numbers) + 1) for caution in told]
        return ZoneCard(row, zone, form, coats, options, numbers)

    @property
    def cards(self) -> list[ZoneCard]:
        return [card for step in self.steps for card in step.cards]

    def is_valid(self) -> bool:
        """Read everything that was sent; afterwards ``errors`` names what is wrong and ``lines`` holds the entries."""
        self.lines: list[LineEntry] = []
        fine = self.visit.is_valid()
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
            return self._add_line(card, None, LineEntry(card.zone, not_done_reason=card.form.read_reason()))
        read = [self._read_coat(card, coat) for coat in filled]  # each, so that every error is told at once
        return all(read)

    def _read_coat(self, card: ZoneCard, coat: CoatForm) -> bool:
        values = coat.cleaned_data
        try:
            product, lot = self.materials.read(values["material"])
        except ValidationError as error:
            coat.add_error("material", error)
            return False
        if values["quantity"] is None:
            coat.add_error("quantity", _t("Write how much was applied."))
            return False
        if not values["unit"]:
            coat.add_error("unit", _t("Say in which unit."))
            return False
        entry = LineEntry(
            card.zone,
            product,
            lot,
            Volume(values["quantity"], VolumeUnit(values["unit"])),
            tool=values["tool"],
            pressure_kpa=coat.read_pressure_kpa(),
            wet_film_um=values["film"],
            access_points_used=values["points"],
            mist_seen_at_far_end=read_yes_no(values["mist"]),
        )
        return self._add_line(card, coat, entry)

    def _add_line(self, card: ZoneCard, coat: CoatForm | None, entry: LineEntry) -> bool:
        try:
            check_line(entry, self.vehicle.body_style)
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
                target = "id_reason" if name == "reason" else ""
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
            named += [(form, card.zone.name) for form in (card.form, *card.coats)]
        return self.others + list_form_errors(named)


def _list_coats(data: QueryDict, code: str) -> list[int]:
    """Return the numbers of the coats that were sent for a zone; no more than a page could ever show."""
    pattern = re.compile(rf"c-{re.escape(code)}-(\d)-quantity")
    return [int(match[1]) for name in data if (match := pattern.fullmatch(name))]


def _put_visit(treatment: Treatment) -> dict[str, Any]:
    reading = treatment.reading
    values: dict[str, Any] = {
        "kind": treatment.kind,
        "done_on": treatment.done_on.isoformat(),
        "temperature_unit": "c",
        "air": put_number(treatment.air_temperature_c),
        "surface": put_number(treatment.surface_temperature_c),
        "humidity": put_number(treatment.relative_humidity_percent),
        "clean_surface": put_yes_no(treatment.surface_clean),
        "dry_surface": put_yes_no(treatment.surface_dry),
        "note": treatment.note,
    }
    if reading:
        values |= {"odometer": put_number(reading.amount), "odometer_unit": reading.unit}
    return values


def _put_reason(text: str) -> dict[str, str]:
    for code, words in REASONS_ON_RECORD.items():
        if text == words or text.startswith(f"{words}: "):
            return {"reason": code, "words": text[len(words) + 2 :]}
    return {"reason": "other", "words": text}


def _put_coat(line: TreatmentLine) -> dict[str, Any]:
    kpa = line.pressure_kpa
    psi = convert_kpa_to_psi(kpa).quantize(Decimal("0.1")) if kpa is not None else None
    # In psi only where that says the very same pressure; else a change elsewhere would change it too.
    says_the_same = psi is not None and convert_psi_to_kpa(psi).quantize(Decimal("0.01")) == kpa
    return {
        "material": f"{line.product_id}:{line.lot_id or ''}",
        "quantity": put_number(line.quantity_amount),
        "unit": line.quantity_unit,
        "tool": line.tool,
        "pressure": put_number(psi if says_the_same else kpa),
        "pressure_unit": "psi" if says_the_same or kpa is None else "kpa",
        "points": "" if line.access_points_used is None else line.access_points_used,
        "mist": put_yes_no(line.mist_seen_at_far_end),
        "film": " ".join(str(reading) for reading in line.wet_film_um),
    }
