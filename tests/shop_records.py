"""A small shop loaded through the services, for tests and benches: a site, zones, products with lots, and terms."""

import tomllib
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from django.db import connection

from tests.kept_rows import Rows, put_back, read_rows, read_rows_added

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
NOW = datetime(2026, 5, 20, 15, 0, tzinfo=UTC)
TODAY = date(2026, 5, 20)


_kept: Rows = {}


@dataclass(frozen=True)
class ShopForTests:
    site: object
    wax: object
    film: object


def load_shop() -> ShopForTests:
    """Load what ``make_shop`` makes; after the first time from the rows that were kept.

    A test that commits, or that has records of its own before, gets a shop by the services.
    """
    from treatments.models import Event, Product, Site

    if not connection.in_atomic_block or Event.objects.exists() or Site.objects.exists():
        return make_shop()
    if not _kept:
        before = read_rows()
        make_shop()
        _kept.update(read_rows_added(before))
    else:
        put_back(_kept)
    return ShopForTests(
        Site.objects.get(code="mill-lane"),
        Product.objects.get(name="Fenwax Cavity 40"),
        Product.objects.get(name="Creepline Film"),
    )


def make_shop() -> ShopForTests:
    """Load a site with the zone catalogue, products (two with a lot each), and the sample terms published.

    Its owner lets reminders out.
    """
    from notifications.models import Release
    from scheduling.covers.services import publish_terms
    from scheduling.models import SiteCalendar, SiteTerms, TermsVersion
    from treatments.models import Lot, Product, Site
    from treatments.reference.queries import load_zone_catalogue
    from treatments.rules.zone_catalogue import read_catalogue

    site = Site.objects.create(
        code="mill-lane", name="Mill Lane Rust Protection", country="US", time_zone="America/New_York",
        email="desk@example.org", phone="+1 555 0101",
    )  # fmt: skip
    SiteCalendar.objects.create(site=site)
    load_zone_catalogue(catalogue=read_catalogue(tomllib.loads((FIXTURES / "zones.toml").read_text("utf-8"))), now=NOW)
    wax = Product.objects.create(
        name="Fenwax Cavity 40", family="cavity_wax", volume_solids_percent=40, target_dry_film_um=50,
        loss_fraction="0.2", aliases=["fenwax"], surface_min_c=5, surface_max_c=35,
    )  # fmt: skip
    film = Product.objects.create(
        name="Creepline Film", family="penetrating_film", volume_solids_percent=55, target_dry_film_um=25,
        loss_fraction="0.2", water_displacing=True,
    )  # fmt: skip
    # The sample terms name a touch-up of this family.
    Product.objects.create(
        name="Marlock Underbody 60", family="underbody_wax", volume_solids_percent=60, target_dry_film_um=200,
    )  # fmt: skip
    Lot.objects.create(product=wax, number="FC-1", expires_on=date(2030, 1, 1))
    Lot.objects.create(product=film, number="CF-1", expires_on=date(2030, 1, 1))
    for path in sorted((FIXTURES / "terms").glob("*.toml")):
        publish_terms(document=tomllib.loads(path.read_text("utf-8")), now=NOW, actor=None)
    SiteTerms.objects.create(site=site, terms_version=TermsVersion.objects.get(terms__code="lifetime-yearly"))
    Release.objects.create(
        missed_since=date(2000, 1, 1), daily_portion=1000, usual_per_day=1000,
        released_at=datetime(2020, 1, 1, tzinfo=UTC),
    )  # fmt: skip
    return ShopForTests(site, wax, film)
