"""The fields for what the whole vehicle took of a product and lot, on the form by the lift."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from desk.forms.fields import NumberField
from desk.lift.materials import Materials
from desk.lift.record_forms import put_number
from treatments.enums import MeasuredBy
from treatments.models import MaterialTotal
from treatments.models.enum_columns import choices_of
from treatments.records.material_totals import TotalEntry
from treatments.rules.units import Volume, VolumeUnit
from treatments.shared.amounts import UNIT_NAMES

MOST_TOTALS = 9
MORE = "totals"
"""What the button for the fields of one more total sends; no zone has this code."""


class TotalForm(forms.Form):
    """One product and lot: how much the vehicle took, and how that was measured."""

    material = forms.ChoiceField(label=_("Product and lot"), required=False)
    quantity = NumberField(
        label=_("Total for the vehicle"), required=False, max_digits=10, decimal_places=3, min_value=Decimal("0.001")
    )
    unit = forms.ChoiceField(label=_("Unit"), choices=[(u, UNIT_NAMES[u]) for u in VolumeUnit], required=False)
    measured_by = forms.ChoiceField(
        label=_("How it was measured"), choices=[("", "–"), *choices_of(MeasuredBy)], required=False
    )

    def __init__(self, *args: Any, materials: Materials, **options: Any) -> None:
        super().__init__(*args, **options)
        self.materials = materials
        choices = [choice for product in materials.offer.products for choice in materials.offer.choices[product.pk]]
        known = {code for code, _words in choices}
        # Typed on a tablet some time ago, a lot may have left the list since; reading it says what became of it.
        sent = self["material"].value() or ""
        material = self.fields["material"]
        assert isinstance(material, forms.ChoiceField)
        material.choices = [("", "–"), *choices, *([(sent, sent)] if sent and sent not in known else [])]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        self.entry: TotalEntry | None = None
        if self.errors or not (cleaned.get("material") or cleaned.get("quantity") is not None):
            return cleaned
        if cleaned["quantity"] is None:
            self.add_error("quantity", _t("Write how much the vehicle took, or choose no product here."))
        if not cleaned["unit"]:
            self.add_error("unit", _t("Say in which unit."))
        if not cleaned["measured_by"]:
            self.add_error("measured_by", _t("Say how it was measured: a canister is exact, a pump is not."))
        try:
            product, lot = self.materials.read(cleaned["material"])
        except ValidationError as error:
            self.add_error("material", error)
        if not self.errors:
            quantity = Volume(cleaned["quantity"], VolumeUnit(cleaned["unit"]))
            self.entry = TotalEntry(product, lot, quantity, MeasuredBy(cleaned["measured_by"]))
        return cleaned


def make_total_forms(data: QueryDict | None, totals: Iterable[MaterialTotal], materials: Materials) -> list[TotalForm]:
    """Return the fields of the totals on record, of those sent, and of one more."""
    values = [
        {
            "material": f"{total.product_id}:{total.lot_id or ''}",
            "quantity": put_number(total.quantity_amount),
            "unit": total.quantity_unit,
            "measured_by": total.measured_by,
        }
        for total in totals
    ]
    count = len(values) + 1
    if data is not None:
        count = max(1, sum(f"t-{number}-material" in data for number in range(MOST_TOTALS)))
        count += data.get("more") == MORE
    blank = {"unit": materials.last_unit}
    return [
        TotalForm(
            data, prefix=f"t-{number}", initial=values[number] if number < len(values) else blank, materials=materials
        )
        for number in range(min(count, MOST_TOTALS))
    ]
