"""The products and lots that the page by the lift offers for a zone, and reading back which one was chosen.

A choice is written ``product:lot`` by primary keys; ``product:`` says that the lot is not known.
"""

from datetime import date

from django.core.exceptions import ValidationError
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from notifications.queries import tell_expected
from treatments.models import Lot, Product, Site, TreatmentLine, Vehicle, Zone
from treatments.queries import describe_zone
from treatments.rules.speaking import speak_day
from treatments.rules.units import VolumeUnit
from treatments.rules.words import BodyStyle

# Lots of a product that are offered; more would only lengthen the list, and an older one is found by its number.
LOTS_OFFERED = 5
LINES_LOOKED_AT = 300


class Materials:
    """Everything that can be chosen, read once for the whole page."""

    def __init__(self, *, vehicle: Vehicle, site: Site, today: date, keep: set[int]) -> None:
        self.style = BodyStyle(vehicle.body_style) if vehicle.body_style else None
        self.today = today
        self.products = list(Product.objects.order_by("pk"))
        self.by_name = {product.name: product for product in self.products}
        self.lots: dict[int, list[Lot]] = {product.pk: [] for product in self.products}
        for lot in Lot.objects.all():
            self.lots[lot.product_id].append(lot)
        last = list(
            TreatmentLine.objects.filter(treatment__site=site, lot__isnull=False)
            .select_related("lot")
            .order_by("-treatment_id", "-pk")[:LINES_LOOKED_AT]
        )
        self.last_lots: dict[int, Lot] = {}
        for line in last:
            if line.lot and line.product_id and self._is_usable(line.lot):
                self.last_lots.setdefault(line.product_id, line.lot)
        usual = VolumeUnit.US_QUART if site.country == "US" else VolumeUnit.MILLILITRE
        self.last_unit = last[0].quantity_unit if last else usual
        for product in self.products:
            self.lots[product.pk] = self._choose_offered(self.lots[product.pk], keep)
        self._rendered: dict[tuple[int, str], SafeString] = {}
        self.offered = {lot.pk: lot for lots in self.lots.values() for lot in lots}

    def _is_usable(self, lot: Lot) -> bool:
        return lot.recalled_on is None and (lot.expires_on is None or lot.expires_on >= self.today)

    def _choose_offered(self, lots: list[Lot], keep: set[int]) -> list[Lot]:
        # Usable ones first, what expires soonest at the head; then expired and recalled ones, the latest first.
        far = date.max
        usable = sorted((lot for lot in lots if self._is_usable(lot)), key=lambda lot: (lot.expires_on or far, lot.pk))
        others = sorted((lot for lot in lots if not self._is_usable(lot)), key=lambda lot: -lot.pk)
        last = {lot.pk for lot in self.last_lots.values()}
        offered = [*usable, *others]
        return offered[:LOTS_OFFERED] + [lot for lot in offered[LOTS_OFFERED:] if lot.pk in keep or lot.pk in last]

    def propose(self, product_name: str) -> str:
        """Return the choice of a product of the job sheet with the lot that was used last here."""
        product = self.by_name.get(product_name)
        if product is None:
            return ""
        lot = self.last_lots.get(product.pk)
        if lot is None:
            lot = next((lot for lot in self.lots[product.pk] if self._is_usable(lot)), None)
        return f"{product.pk}:{lot.pk if lot else ''}"

    def render_options(self, zone: Zone, chosen: str) -> SafeString:
        """Return the options for a zone: products of suited families first, each with the quantity expected."""
        plain = describe_zone(zone)
        rank = {family: number for number, family in enumerate(zone.suited_families)}
        parts = [format_html('<option value="">{}</option>', "–")]
        for product in sorted(self.products, key=lambda product: (rank.get(product.family, len(rank)), product.pk)):
            expected = tell_expected(plain, self.style, product)
            label = f"{product.name} · {expected}"
            if product.family not in rank:
                label = _("%(product)s · not usual for this zone") % {"product": product.name}
            rendered = self._render_lots(product, chosen if chosen.startswith(f"{product.pk}:") else "")
            parts.append(
                format_html('<optgroup label="{}" data-expected="{}">{}</optgroup>', label, expected, rendered)
            )
        return mark_safe("".join(parts))

    def _render_lots(self, product: Product, chosen: str) -> SafeString:
        # Every zone of the page offers the same lots.
        found = self._rendered.get((product.pk, chosen))
        if found is None:
            options = [(f"{product.pk}:{lot.pk}", self._name(product, lot)) for lot in self.lots[product.pk]]
            options.append((f"{product.pk}:", _("%(product)s, lot not known") % {"product": product.name}))
            found = self._rendered[product.pk, chosen] = format_html_join(
                "",
                '<option value="{}"{}>{}</option>',
                ((value, mark_safe(" selected") if value == chosen else "", name) for value, name in options),
            )
        return found

    def _name(self, product: Product, lot: Lot) -> str:
        values = {"product": product.name, "lot": lot.number}
        if lot.recalled_on:
            return _("%(product)s, lot %(lot)s, RECALLED") % values
        if lot.expires_on and lot.expires_on < self.today:
            values["day"] = speak_day(lot.expires_on, get_language())
            return _("%(product)s, lot %(lot)s, expired on %(day)s") % values
        return _("%(product)s, lot %(lot)s") % values

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
        lot = next((lot for lot in self.offered.values() if str(lot.pk) == lot_key), None)
        if lot is None:
            # Typed on a tablet some time ago, the lot may have left the list since.
            lot = Lot.objects.filter(pk=lot_key).first() if lot_key.isdecimal() else None
        if lot is None or lot.product_id != product.pk:
            raise ValidationError(_("This lot is not one of %(product)s: choose it anew.") % {"product": product.name})
        return product, lot
