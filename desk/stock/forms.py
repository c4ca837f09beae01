"""The forms of the stock: what is looked for, a lot that came, a recall and taking it back."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from desk.forms.fields import DayField, NumberField, format_days
from desk.lift.record_forms import EARLIEST_DAY
from treatments.models import Product
from treatments.rules.stock import LotStanding
from treatments.rules.units import Volume, VolumeUnit
from treatments.shared.amounts import UNIT_NAMES
from treatments.stock.queries import LotSearch, UseSearch

STANDINGS = [
    ("", _("all")),
    (LotStanding.USABLE, _("usable")),
    (LotStanding.EXPIRES_SOON, _("expires soon")),
    (LotStanding.EXPIRED, _("expired")),
    (LotStanding.RECALLED, _("recalled")),
]


class ProductChoice(forms.TypedChoiceField):
    """A choice among the shop's products; reads as a primary key, None where none is chosen."""

    def __init__(self, products: Sequence[Product], none: Any, **options: Any) -> None:
        choices = [("", none), *((str(product.pk), product.name) for product in products)]
        super().__init__(choices=choices, coerce=int, empty_value=None, **options)


class PlainText(forms.CharField):
    """Text without the signs that no database keeps."""

    def to_python(self, value: Any) -> Any:
        return super().to_python(value.replace("\x00", "") if isinstance(value, str) else value)


class LotSearchForm(forms.Form):
    """What the list of lots is narrowed by."""

    q = PlainText(label=_("Lot number or product"), required=False, max_length=100)
    standing = forms.ChoiceField(label=_("Which lots"), choices=STANDINGS, required=False)

    def __init__(self, data: Any, *, products: Sequence[Product]) -> None:
        super().__init__(data)
        self.fields["product"] = ProductChoice(products, _("any"), label=_("Product"), required=False)

    def read(self) -> LotSearch:
        """Return what was asked for; what could not be read asks for nothing."""
        self.is_valid()
        standing = self.cleaned_data.get("standing")
        return LotSearch(
            text=self.cleaned_data.get("q", ""),
            product=self.cleaned_data.get("product"),
            standing=LotStanding(standing) if standing else None,
        )


class UseSearchForm(forms.Form):
    """Where material went: by lot, product and the day on which it was used."""

    lot = PlainText(label=_("Lot number, any part"), required=False, max_length=60)
    used_from = DayField(label=_("Used from"), required=False)
    used_until = DayField(label=_("Used until"), required=False)
    without_lot = forms.BooleanField(
        label=_("Also work with the product whose lot was not recorded; it may be of the same lot"), required=False
    )

    def __init__(self, data: Any, *, products: Sequence[Product]) -> None:
        super().__init__(data)
        self.fields["product"] = ProductChoice(products, _("any"), label=_("Product"), required=False)
        self.order_fields(["lot", "product", "used_from", "used_until", "without_lot"])

    def clean(self) -> dict[str, Any]:
        values: dict[str, Any] = super().clean() or self.cleaned_data
        first, last = values.get("used_from"), values.get("used_until")
        if first and last and last < first:
            self.add_error("used_until", _("“Used until” is before “Used from”; exchange them."))
        if values.get("without_lot") and not values.get("product") and "product" not in self.errors:
            self.add_error("product", _("Choose the product, so that work without a lot can be found."))
        return values

    def read(self) -> UseSearch:
        """Return what was asked for; call it on a valid form."""
        values = self.cleaned_data
        return UseSearch(
            text=values["lot"],
            product=values["product"],
            without_lot=values["without_lot"],
            used_from=values["used_from"],
            used_until=values["used_until"],
        )


class ReceiveForm(forms.Form):
    """A lot that came."""

    number = PlainText(label=_("Lot number"), max_length=60, help_text=_("as it stands on the label"))
    received_on = DayField(label=_("Received on"))
    expires_on = DayField(
        label=_("Use until"), required=False, help_text=_("leave it out where the label names no day")
    )
    quantity = NumberField(
        label=_("Quantity received"),
        required=False,
        max_digits=9,
        decimal_places=3,
        min_value=Decimal("0.001"),
        help_text=_("without it nobody can tell what is left"),
    )
    unit = forms.ChoiceField(label=_("Unit"), choices=[(unit, UNIT_NAMES[unit]) for unit in VolumeUnit])

    def __init__(self, *args: Any, products: Sequence[Product], today: date, **options: Any) -> None:
        super().__init__(*args, **options)
        self.today = today
        self.products = {product.pk: product for product in products}
        self.fields["product"] = ProductChoice(products, _("choose one"), label=_("Product"))
        self.order_fields(["product", "number", "received_on", "expires_on", "quantity", "unit"])

    def clean_received_on(self) -> date:
        day: date = self.cleaned_data["received_on"]
        if day > self.today:
            raise forms.ValidationError(
                _("%(day)s has not come yet: today is %(today)s."), params=format_days(day=day, today=self.today)
            )
        if day < EARLIEST_DAY:
            raise forms.ValidationError(_("%(day)s is too long ago: correct the year."), params=format_days(day=day))
        return day

    def read_product(self) -> Product:
        """Return the product that was chosen."""
        return self.products[self.cleaned_data["product"]]

    def read_quantity(self) -> Volume | None:
        """Return what came as entered, None where it was left out."""
        amount = self.cleaned_data["quantity"]
        return None if amount is None else Volume(amount, VolumeUnit(self.cleaned_data["unit"]))


class RecallForm(forms.Form):
    """Marks a lot as recalled."""

    recalled_on = DayField(label=_("Recalled on"))
    reason = PlainText(
        label=_("Reason"), max_length=200, help_text=_("as the maker's notice gives it; it shows on every vehicle")
    )


class TakeBackForm(forms.Form):
    """Takes a recall back that was marked by mistake."""

    reason = PlainText(label=_("Why the recall is taken back"), max_length=200)
