"""The shop in which the stories take place: its products with a lot of each, its calendar, and the zones it works on.

These rows have no service of their own; an administrator adds them in the admin pages.
"""

import tomllib
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from typing import Any

from scheduling.models import ClosedDay, SiteCalendar
from tests.conftest import FIXTURES
from treatments.models import Lot, Product, Site
from treatments.reference.queries import load_zone_catalogue
from treatments.rules.zone_catalogue import ZoneDescription, read_catalogue

# The shop's products with what their data sheets say, and the lot of each that is used unless a story names another.
SHEETS: Mapping[str, Mapping[str, Any]] = {
    "Fenwax Cavity 40": {
        "family": "cavity_wax", "volume_solids_percent": 40, "target_dry_film_um": 50,
        "loss_fraction": Decimal("0.2"), "surface_min_c": 5, "surface_max_c": 35,
    },
    "Creepline Film": {
        "family": "penetrating_film", "volume_solids_percent": 55, "target_dry_film_um": 25,
        "loss_fraction": Decimal("0.2"), "water_displacing": True,
    },
    "Marlock Underbody 60": {
        "family": "underbody_wax", "volume_solids_percent": 60, "target_dry_film_um": 200, "loss_fraction": Decimal(0),
    },
}  # fmt: skip
USUAL_LOTS = {"Fenwax Cavity 40": "FC-1", "Creepline Film": "CF-1", "Marlock Underbody 60": "MU-1"}
SOUND_UNTIL = date(2035, 1, 1)


@cache
def describe_zones() -> dict[str, ZoneDescription]:
    catalogue = read_catalogue(tomllib.loads((FIXTURES / "zones.toml").read_text("utf-8")))
    return {zone.code: zone for zone in catalogue}


def open_shop(zones: Iterable[str], lots: Iterable[Mapping[str, Any]], closed: Iterable[date]) -> Site:
    """Return a site with its calendar, products and lots.

    Args:
        zones: codes of the zones that are loaded; loading all of them takes longer than a story itself.
        lots: lots besides the usual ones: number, product and the day on which each expires, None where not known.
        closed: days on which the site is closed besides its weekdays off and the public holidays.
    """
    site = Site.objects.create(code="mill-lane", name="Mill Lane Rust Protection", country="US")
    SiteCalendar.objects.create(site=site)
    ClosedDay.objects.bulk_create(ClosedDay(site=site, day=day, reason="closed in the story") for day in closed)
    load_zone_catalogue(
        catalogue=[describe_zones()[code] for code in sorted(zones)], now=datetime(2000, 1, 1, tzinfo=UTC)
    )
    Product.objects.bulk_create(Product(name=name, **sheet) for name, sheet in SHEETS.items())
    products = {product.name: product for product in Product.objects.all()}
    known = [(product, number, SOUND_UNTIL) for product, number in USUAL_LOTS.items()]
    known += [(lot["product"], lot["number"], lot["expires"]) for lot in lots]
    Lot.objects.bulk_create(
        Lot(product=products[product], number=number, expires_on=expires) for product, number, expires in known
    )
    return site
