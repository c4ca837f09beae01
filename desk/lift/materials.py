"""The products and lots that the page by the lift offers for a zone, and reading back which one was chosen.

A choice is written ``product:lot`` by primary keys; ``product:`` says that the lot is not known.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

from django.core.exceptions import ValidationError
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from notifications.documents.job_sheets import render_quantity
from notifications.documents.units import Units, find_units
from treatments.enums import BodyStyle, ProductFamily
from treatments.models import Lot, Product, Site, TreatmentLine, Vehicle
from treatments.reference.queries import map_products
from treatments.rules.units import VolumeUnit
from treatments.rules.zone_catalogue import ZoneDescription
from treatments.shared.rendering import render_day

# Expired and recalled lots of a product that are offered, for work that is written down late; the usable ones all are.
UNUSABLE_LOTS_OFFERED = 5
LINES_LOOKED_AT = 300


class _LotOnOffer(NamedTuple):
    """What the page says of a lot."""

    pk: int
    product_id: int
    number: str
    expires_on: date | None
    recalled_on: date | None


class _ProductOnOffer(NamedTuple):
    """What the page says of a product and those of its lots that it offers."""

    pk: int
    name: str
    family: str
    target_dry_film_um: Decimal
    volume_solids_percent: Decimal
    loss_fraction: Decimal
    lots: tuple[_LotOnOffer, ...]


@dataclass(frozen=True)
class Offer:
    """Everything on offer."""

    products: tuple[_ProductOnOffer, ...]
    choices: dict[int, list[tuple[str, str]]]  # by product, each with its words
    codes: frozenset[str]
    units: Units

    @cached_property
    def options(self) -> dict[int, SafeString]:
        """The choices of each product as a page offers them; the same for every zone."""
        option = '<option value="{}">{}</option>'
        return {product: format_html_join("", option, choices) for product, choices in self.choices.items()}


def _make_offer(products: tuple[_ProductOnOffer, ...], today: date, language: str | None, units: Units) -> Offer:
    """Return the offer of these products, told in the language of the page and the units of the site."""
    choices = {}
    for product in products:
        named = [(f"{product.pk}:{lot.pk}", _name_lot(product, lot, today, language)) for lot in product.lots]
        named.append((f"{product.pk}:", _("%(product)s, lot not known") % {"product": product.name}))
        choices[product.pk] = named
    return Offer(products, choices, frozenset(code for named in choices.values() for code, _words in named), units)


def _name_lot(product: _ProductOnOffer, lot: _LotOnOffer, today: date, language: str | None) -> str:
    values = {"product": product.name, "lot": lot.number}
    if lot.recalled_on:
        return _("%(product)s, lot %(lot)s, RECALLED") % values
    if lot.expires_on and lot.expires_on < today:
        values["day"] = render_day(lot.expires_on)
        return _("%(product)s, lot %(lot)s, expired on %(day)s") % values
    return _("%(product)s, lot %(lot)s") % values


class Materials:
    """Everything that can be chosen, read once for the whole page."""

    def __init__(self, *, vehicle: Vehicle, site: Site, today: date, keep: set[int]) -> None:
        self.style = BodyStyle(vehicle.body_style) if vehicle.body_style else None
        self.today, self.language = today, get_language()
        self.products = list(map_products().values())
        self.by_name = {product.name: product for product in self.products}
        every = [_LotOnOffer(*row) for row in Lot.objects.values_list(*_LotOnOffer._fields)]
        by_key = {lot.pk: lot for lot in every}
        # What went on vehicles at the site, the last first.
        used = TreatmentLine.objects.filter(treatment__site=site, lot__isnull=False).order_by("-treatment_id", "-pk")
        last = list(used.values_list("product_id", "lot_id", "quantity_unit")[:LINES_LOOKED_AT])
        self.last_lots: dict[int, _LotOnOffer] = {}
        for product, key, _unit in last:
            if product and key in by_key and self._is_usable(by_key[key]):
                self.last_lots.setdefault(product, by_key[key])
        usual = VolumeUnit.US_QUART if site.country == "US" else VolumeUnit.MILLILITRE
        self.last_unit = next((unit for _product, _lot, unit in last if unit), usual)
        by_product: dict[int, list[_LotOnOffer]] = {product.pk: [] for product in self.products}
        for lot in every:
            by_product[lot.product_id].append(lot)
        self.lots = {product: self._choose_offered(lots, keep) for product, lots in by_product.items()}
        described = tuple([self._describe(product) for product in self.products])
        self.offer = _make_offer(described, today, self.language, find_units(site))

    def _is_usable(self, lot: _LotOnOffer) -> bool:
        return lot.recalled_on is None and (lot.expires_on is None or lot.expires_on >= self.today)

    def _choose_offered(self, lots: list[_LotOnOffer], keep: set[int]) -> list[_LotOnOffer]:
        # Usable ones first, what expires soonest at the head; then expired and recalled ones, the latest first.
        far = date.max
        usable = sorted((lot for lot in lots if self._is_usable(lot)), key=lambda lot: (lot.expires_on or far, -lot.pk))
        others = sorted((lot for lot in lots if not self._is_usable(lot)), key=lambda lot: -lot.pk)
        kept = [lot for lot in others[UNUSABLE_LOTS_OFFERED:] if lot.pk in keep]
        return [*usable, *others[:UNUSABLE_LOTS_OFFERED], *kept]

    def propose(self, product_name: str) -> str:
        """Return the choice of a product of the job sheet with the lot that was used last here."""
        product = self.by_name.get(product_name)
        if product is None:
            return ""
        lot = self.last_lots.get(product.pk)
        if lot is None:
            lot = next((lot for lot in self.lots[product.pk] if self._is_usable(lot)), None)
        return f"{product.pk}:{lot.pk if lot else ''}"

    def render_options(self, zone: ZoneDescription, chosen: str) -> SafeString:
        """Return the options for a zone: products of suited families first, each with the quantity expected."""
        return write_options(self.offer, zone.suited_families, zone.area_on(self.style), chosen, self.language)

    def _describe(self, product: Product) -> _ProductOnOffer:
        return _ProductOnOffer(
            product.pk,
            product.name,
            product.family,
            product.target_dry_film_um,
            product.volume_solids_percent,
            product.loss_fraction,
            tuple(self.lots[product.pk]),
        )

    @cached_property
    def _lots_on_offer(self) -> dict[str, Lot]:
        offered = Lot.objects.in_bulk([lot.pk for lots in self.lots.values() for lot in lots])
        return {str(key): lot for key, lot in offered.items()}

    def read(self, chosen: str) -> tuple[Product, Lot | None]:
        """Return the product and lot of a choice.

        Raises:
            ValidationError: where none was chosen, or there is none such.
        """
        product_key, _colon, lot_key = chosen.partition(":")
        product = next((product for product in self.products if str(product.pk) == product_key), None)
        if product is None:
            raise ValidationError(_("Choose the product that went on."))
        if not lot_key:
            return product, None
        lot = self._lots_on_offer.get(lot_key)
        if lot is None:
            # Typed on a tablet some time ago, the lot may have left the list since.
            lot = Lot.objects.filter(pk=lot_key).first() if lot_key.isdecimal() else None
        if lot is None or lot.product_id != product.pk:
            raise ValidationError(_("This lot is not one of %(product)s: choose it anew.") % {"product": product.name})
        return product, lot


def write_options(
    offer: Offer, suited: Sequence[ProductFamily], area_m2: Decimal | None, chosen: str, language: str | None
) -> SafeString:
    """Return what can be chosen for an area, with the choice marked where it is on offer.

    Args:
        suited: the families that are meant for the zone, the best first.
        area_m2: None where it is not known.
        language: that of the page, in which the offer is told too.
    """
    options = _render_options(offer, suited, area_m2, language)
    if chosen not in offer.codes:
        return options
    # A choice is made of digits and a colon, and a text of the shop's has no quotes left to end a value with.
    return mark_safe(options.replace(f'value="{chosen}"', f'value="{chosen}" selected', 1))


def _render_options(
    offer: Offer,
    suited: Sequence[ProductFamily],
    area_m2: Decimal | None,
    language: str | None,  # that in which the words are told
) -> SafeString:
    rank: dict[str, int] = {family: number for number, family in enumerate(suited)}
    parts = [format_html('<option value="">{}</option>', "–")]
    for product in sorted(offer.products, key=lambda product: (rank.get(product.family, len(rank)), product.pk)):
        expected = render_quantity(
            area_m2, product.target_dry_film_um, product.volume_solids_percent, product.loss_fraction, offer.units
        )
        label = f"{product.name} · {expected}"
        if product.family not in rank:
            label = _("%(product)s · not usual for this zone") % {"product": product.name}
        parts.append(
            format_html(
                '<optgroup label="{}" data-expected="{}">{}</optgroup>',
                label,
                expected,
                offer.options[product.pk],
            )
        )
    return mark_safe("".join(parts))
