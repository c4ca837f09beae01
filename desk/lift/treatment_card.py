"""One zone of the form by the lift: whether it was done, what went on it, and how its card is written.

A card without errors is a mould, the same for every vehicle, with the values put in. The forms behind it are made where
something was sent, or has to be shown with what is wrong with it.
"""

import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict
from django.template import engines
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from markupsafe import Markup

from desk.forms.number_field import NumberField
from desk.lift.materials import Materials, Offer, write_options
from desk.lift.record_forms import YES_NO, put_number, put_yes_no, share_fields
from desk.rendering.moulds import Filling, Mould, join_markup, make_fields_with_holes, make_hole
from desk.rendering.telling import find_language
from notifications.documents.pdf.job_sheet import JobRow
from treatments.enums import ProductFamily, ZoneKind
from treatments.models import TreatmentLine
from treatments.rules.units import UNIT_WORDS, VolumeUnit, convert_kpa_to_psi, convert_psi_to_kpa
from treatments.rules.zone_catalogue import ZoneDescription

TEMPLATE = "desk/treatment_card.html"

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


# What the fields of a zone start with; a zone on record says more.
_NOTHING_SAID: dict[str, Any] = {"state": "", "reason": "", "words": ""}
_NOTHING_TOLD = {"state": ""}
_TEXTS_OF_COAT = ("quantity", "points", "pressure", "tool", "film")


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
        return self.row.is_wanted or bool(self.values["state"]) or self.has_errors

    @property
    def has_errors(self) -> bool:
        return self.data is not None and (bool(self.form.errors) or any(coat.errors for coat in self.coats))

    @property
    def values(self) -> Mapping[str, Any]:
        """What the fields of the zone itself show."""
        return _NOTHING_SAID | self.told if self.data is None else _read_values(self.form)

    @property
    def values_of_coats(self) -> list[Mapping[str, Any]]:
        """What the fields of what went on it show."""
        return list(self.told_of_coats) if self.data is None else [_read_values(coat) for coat in self.coats]

    @property
    def cautions(self) -> str:
        """The numbers of its cautions."""
        return ", ".join(str(number) for number in self.caution_numbers)

    @property
    def options(self) -> list[str]:
        """The products and lots to choose from, for each coat."""
        return [self.materials.render_options(self.zone, told.get("material") or "") for told in self.values_of_coats]

    def render(self) -> Markup:
        """Return the card as it stands on the page."""
        return join_markup(self.write())

    def write(self) -> list[str]:
        """Return the pieces of the card as it stands on the page."""
        if self.has_errors:
            return [engines["jinja2"].get_template(TEMPLATE).render({"card": self})]
        if self.data is None and self.told == _NOTHING_TOLD:
            return self._write_blank()
        row, values = self.row, self.values
        coats = self.values_of_coats
        filling = Filling()
        _put_row(filling, row.zone_name, row.product, row.expected, row.access, self.cautions)
        filling.put("last_treated", row.last_treated)
        filling.choose("state", values["state"], "checked")
        filling.choose("reason", values["reason"], "checked")
        filling.put("words", values["words"])
        for number, coat in enumerate(coats):
            filling[f"{number}.options"] = self.materials.render_options(self.zone, coat.get("material") or "")
            for name in _TEXTS_OF_COAT:
                filling.put(f"{number}.{name}", coat.get(name))
            filling.choose(f"{number}.unit", coat.get("unit"), "selected")
            filling.choose(f"{number}.pressure_unit", coat.get("pressure_unit"), "selected")
            filling.choose(f"{number}.mist", coat.get("mist"), "checked")
        mould = _make_mould(
            self.code, len(coats), self.is_cavity, row.is_wanted or bool(values["state"]), row.is_wanted,
            bool(row.access), bool(row.last_treated), bool(self.caution_numbers), find_language(),
        )  # fmt: skip
        return mould.fill(filling)

    def _write_blank(self) -> list[str]:
        """Return the card of a zone of which nothing is told yet: from vehicle to vehicle only a day is another."""
        row, zone, materials, coat = self.row, self.zone, self.materials, self.told_of_coats[0]
        mould = _make_blank(
            zone.code, self.is_cavity, row.is_wanted, bool(row.last_treated), row.zone_name, row.product, row.expected,
            row.access, self.cautions, coat["unit"], coat["pressure_unit"], coat.get("material") or "",
            materials.offer, zone.suited_families, zone.area_on(materials.style), find_language(),
        )  # fmt: skip
        filling = Filling()
        filling.put("last_treated", row.last_treated)
        return mould.fill(filling)


def _read_values(form: forms.Form) -> dict[str, Any]:
    return {name: form[name].value() for name in form.fields}


# A catalogue has some sixty zones, and a zone a few looks: due or not, treated before or not, in each language.
@functools.lru_cache(maxsize=1024)
def _make_mould(
    code: str,
    coats: int,
    is_cavity: bool,
    is_open: bool,
    is_wanted: bool,
    has_access: bool,
    was_treated: bool,
    has_cautions: bool,
    language: str | None,  # that in which the mould is made
) -> Mould:
    row = {name: make_hole(name) for name in ("zone_name", "product", "expected")} | {
        "is_wanted": is_wanted,
        "access": make_hole("access") if has_access else "",
        "last_treated": make_hole("last_treated") if was_treated else "",
    }
    card = {
        "code": code,
        "row": row,
        "is_open": is_open,
        "is_cavity": is_cavity,
        "cautions": make_hole("cautions") if has_cautions else "",
        "form": make_fields_with_holes(ZoneForm, prefix=f"z-{code}"),
        "coats": [
            make_fields_with_holes(CoatForm, prefix=f"c-{code}-{number}", lead=f"{number}.") for number in range(coats)
        ],
        "options": [make_hole(f"{number}.options") for number in range(coats)],
    }
    return Mould(TEMPLATE, card=card)


def _put_row(filling: Filling, zone_name: str, product: str, expected: str, access: str, cautions: str) -> None:
    filling.put("zone_name", zone_name)
    filling.put("product", product)
    filling.put("expected", expected)
    filling.put("access", access)
    filling.put("cautions", cautions)


# Some sixty zones, on a few body styles, due or not and in each language, with the material that is proposed now; a
# card has some four thousand letters.
@functools.lru_cache(maxsize=2048)
def _make_blank(
    code: str,
    is_cavity: bool,
    is_wanted: bool,
    was_treated: bool,
    zone_name: str,
    product: str,
    expected: str,
    access: str,
    cautions: str,
    unit: str,
    pressure_unit: str,
    material: str,
    offer: Offer,
    suited: tuple[ProductFamily, ...],
    area_m2: Decimal | None,
    language: str | None,  # that in which everything is told
) -> Mould:
    """Return the card of a zone of which nothing is told yet, with a hole for the day on which it was treated last."""
    filling = Filling()
    _put_row(filling, zone_name, product, expected, access, cautions)
    filling.choose("state", "", "checked")
    filling.choose("reason", "", "checked")
    filling["0.options"] = write_options(offer, suited, area_m2, material, language)
    filling.choose("0.unit", unit, "selected")
    filling.choose("0.pressure_unit", pressure_unit, "selected")
    filling.choose("0.mist", "", "checked")
    mould = _make_mould(code, 1, is_cavity, is_wanted, is_wanted, bool(access), was_treated, bool(cautions), language)
    return mould.fill_all_but("last_treated", filling)


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
