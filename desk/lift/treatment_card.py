"""One zone of the form by the lift: whether it was done, and what went on it.

Its card is the template ``lift/treatment_card.html``.
"""

import functools
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from desk.forms.fields import NumberField
from desk.lift.materials import Materials
from desk.lift.record_forms import YES_NO, put_number, put_yes_no, share_fields
from notifications.documents.pdf.job_sheet import JobRow
from treatments.enums import ZoneKind
from treatments.models import TreatmentLine
from treatments.rules.units import VolumeUnit, convert_kpa_to_psi, convert_psi_to_kpa
from treatments.rules.zone_catalogue import ZoneDescription
from treatments.shared.amounts import UNIT_NAMES

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
    unit = forms.ChoiceField(label=_("Unit"), choices=[(unit, UNIT_NAMES[unit]) for unit in VolumeUnit], required=False)
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
    """One zone on the page.

    ``told`` and ``told_of_coats`` are what its fields start with; ``data`` is what was sent, None where nothing was.
    """

    row: JobRow
    zone: ZoneDescription
    data: QueryDict | None
    told: dict[str, Any]
    told_of_coats: list[dict[str, Any]]
    materials: Materials
    caution_numbers: list[int]

    @property
    def code(self) -> str:
        return self.zone.code

    @functools.cached_property
    def form(self) -> ZoneForm:
        """The form of the zone itself."""
        return ZoneForm(self.data, prefix=f"z-{self.code}", initial=self.told)

    @functools.cached_property
    def coats(self) -> list[CoatForm]:
        """The forms of what went on it."""
        return [
            CoatForm(self.data, prefix=f"c-{self.code}-{number}", initial=told)
            for number, told in enumerate(self.told_of_coats)
        ]

    @property
    def is_cavity(self) -> bool:
        """Whether reach is asked for."""
        return self.zone.kind is ZoneKind.ENCLOSED_CAVITY

    @property
    def is_open(self) -> bool:
        """Whether the card starts unfolded: the zone is on the job sheet, or something is typed about it."""
        return self.row.is_wanted or bool(self.form["state"].value()) or self.has_errors

    @property
    def has_errors(self) -> bool:
        return self.data is not None and (bool(self.form.errors) or any(coat.errors for coat in self.coats))

    @property
    def cautions(self) -> str:
        """The numbers of its cautions."""
        return ", ".join(str(number) for number in self.caution_numbers)

    @property
    def options(self) -> list[SafeString]:
        """The products and lots to choose from, for each coat."""
        return [self.materials.render_options(self.zone, coat["material"].value() or "") for coat in self.coats]


def put_reason(text: str) -> dict[str, str]:
    """Return a reason on record as the fields of a zone show it."""
    for code, words in REASONS_ON_RECORD.items():
        if text == words or text.startswith(f"{words}: "):
            return {"reason": code, "words": text[len(words) + 2 :]}
    return {"reason": "other", "words": text}


def put_coat(line: TreatmentLine) -> dict[str, Any]:
    """Return a line on record as the fields of a coat show it."""
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
