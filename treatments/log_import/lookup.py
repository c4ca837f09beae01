"""Finds the zone or product that a log means by its name, code or alias; where there is none, says what is near.

Also how much of a product a zone is expected to take, by the shop's own areas and data sheets.
"""

import difflib
from decimal import Decimal
from functools import lru_cache

from treatments.log_import.rules.columns import squeeze
from treatments.log_import.rules.material import KnownProduct, KnownZone
from treatments.models import Product, ZoneArea
from treatments.queries import read_zone_catalogue
from treatments.records.rules.material import MaterialNeed, compute_expected_ml
from treatments.rules.zone_catalogue import find_zone


class ZoneFinder:
    """Finds zones in the shop's catalogue."""

    def __init__(self, keys: dict[str, int]) -> None:
        self._catalogue = read_zone_catalogue()
        self._zones = {
            zone.code: KnownZone(
                keys[zone.code],
                zone.code,
                zone.name,
                zone.kind,
                frozenset(style.value for style, _ in zone.areas_m2),
                frozenset(propulsion.value for propulsion in zone.withheld_on),
            )
            for zone in self._catalogue
        }
        self.find = lru_cache(maxsize=4096)(self._find)

    def _find(self, text: str) -> KnownZone | str:
        match = find_zone(self._catalogue, text)
        return self._zones[match.zone.code] if match.zone else match.sentence


class ProductFinder:
    """Finds products by name or alias, without regard to case, spaces and punctuation."""

    def __init__(self) -> None:
        self._products: dict[str, KnownProduct] = {}
        self._names: list[str] = []
        for product in Product.objects.order_by("pk"):
            self._names.append(product.name)
            for name in (product.name, *product.aliases):
                self._products.setdefault(squeeze(name), KnownProduct(product.pk, product.name))
        self.find = lru_cache(maxsize=4096)(self._find)

    def _find(self, text: str) -> KnownProduct | str:
        found = self._products.get(squeeze(text))
        if found:
            return found
        near = difflib.get_close_matches(squeeze(text), self._products, n=3, cutoff=0.6)
        if near:
            names = ", ".join(dict.fromkeys(self._products[name].name for name in near))
            return f"No such product. Is it {names}? Correct the name, or add the product first."
        return f"No such product; the shop has: {', '.join(self._names) or 'none'}. Add the product first."


class ExpectedMaterial:
    """Tells the quantity in ml that a zone needs of a product, None where the area is not known."""

    def __init__(self) -> None:
        self._areas = {(area.zone_id, area.body_style): area.area_m2 for area in ZoneArea.objects.all()}
        self._products = {product.pk: product for product in Product.objects.all()}
        self.find = lru_cache(maxsize=4096)(self._find)

    def _find(self, zone: int, style: str, product: int) -> Decimal | None:
        area, sheet = self._areas.get((zone, style)), self._products.get(product)
        if area is None or sheet is None:
            return None
        return compute_expected_ml(
            MaterialNeed(str(zone), area, sheet.target_dry_film_um, sheet.volume_solids_percent, sheet.loss_fraction)
        )
