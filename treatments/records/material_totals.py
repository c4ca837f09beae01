"""How much of a product and lot a whole vehicle took, beside or instead of the quantities of its zones."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from treatments.enums import MeasuredBy
from treatments.models import Lot, MaterialTotal, Product, Treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.shared.labels import translate_catalogue

if TYPE_CHECKING:
    from treatments.records.services import LineEntry


@dataclass(frozen=True, slots=True)
class TotalEntry:
    """What is to be written of one product and lot for the whole vehicle."""

    product: Product
    lot: Lot | None
    quantity: Volume
    measured_by: MeasuredBy

    @property
    def material(self) -> tuple[int, int | None]:
        return self.product.pk, self.lot.pk if self.lot else None


def check_quantities(lines: Iterable["LineEntry"], totals: Sequence[TotalEntry]) -> None:
    """Refuse totals that can't be true, and a coat of which neither zone nor vehicle has a quantity.

    Raises:
        ValidationError: naming the product, the quantity and the way out.
    """
    coats = [(line, (line.product.pk, line.lot.pk if line.lot else None)) for line in lines if line.product]
    told = {total.material for total in totals}
    for total in totals:
        name = _name_material(total.product, total.lot)
        if total.quantity.millilitres <= 0:
            nothing = _("%(material)s: give the total for the vehicle, more than 0, with its unit.")
            raise _refuse("totals", nothing, "required", material=name)
        if total.lot and total.lot.product_id != total.product.pk:
            other = _("Lot %(lot)s is not a lot of %(product)s.")
            raise _refuse("totals", other, "other_lot", lot=total.lot.number, product=total.product)
        if not any(material == total.material for _line, material in coats):
            unused = _("%(material)s: no zone names it. Mark where it went, or empty the total.")
            raise _refuse("totals", unused, "unused", material=name)
    if len(told) < len(totals):
        twice = _("A product and lot stands twice among the totals: add the quantities up.")
        raise _refuse("totals", twice, "twice")
    for line, material in coats:
        if line.quantity is None and material not in told:
            missing = _("%(zone)s: give the quantity applied, or the total of its product and lot.")
            raise _refuse("quantity", missing, "required", zone=translate_catalogue(line.zone.name))


def _refuse(field: str, text: str, code: str, **params: object) -> ValidationError:
    return ValidationError({field: ValidationError(text, code=code, params=params)})


def make_total(treatment: Treatment, entry: TotalEntry) -> MaterialTotal:
    """Return an unsaved total of a treatment, its quantity kept as entered and in millilitres."""
    return MaterialTotal(
        treatment=treatment,
        product=entry.product,
        lot=entry.lot,
        quantity_amount=entry.quantity.amount,
        quantity_unit=entry.quantity.unit,
        quantity_ml=entry.quantity.millilitres.quantize(Decimal("0.0001")),
        measured_by=entry.measured_by,
    )


def write_totals(treatment: Treatment, entries: Iterable[TotalEntry]) -> None:
    """Write the totals of a saved treatment that has none yet."""
    MaterialTotal.objects.bulk_create(make_total(treatment, entry) for entry in entries)


def list_totals(treatment: Treatment) -> list[MaterialTotal]:
    """Return the totals of a treatment with product and lot, in the order in which they were written down."""
    return list(treatment.totals.select_related("product", "lot").order_by("pk"))


def read_total_entries(treatment: Treatment) -> list[TotalEntry]:
    """Return the totals of a treatment as entries, for a version that keeps them."""
    return [
        TotalEntry(
            total.product,
            total.lot,
            Volume(total.quantity_amount, VolumeUnit(total.quantity_unit)),
            MeasuredBy(total.measured_by),
        )
        for total in list_totals(treatment)
    ]


def _name_material(product: Product, lot: Lot | None) -> str:
    if lot is None:
        return _("%(product)s, lot not known") % {"product": product.name}
    return _("%(product)s, lot %(lot)s") % {"product": product.name, "lot": lot.number}
