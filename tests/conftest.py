"""What every test may use: a small shop loaded through the services, on whichever database the run was given.

Tests marked ``full`` need PostgreSQL and a broker; an embedded run leaves them out and counts them as deselected.
"""

import os
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from django.conf import settings
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

hypothesis_settings.register_profile(
    "ci", max_examples=500, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
hypothesis_settings.register_profile(
    "nightly", max_examples=20_000, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
hypothesis_settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
NOW = datetime(2026, 5, 20, 15, 0, tzinfo=UTC)
TODAY = date(2026, 5, 20)


def is_full() -> bool:
    return "postgresql" in settings.DATABASES["default"]["ENGINE"] and settings.CELERY_BROKER_URL != "memory://"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if is_full():
        return
    left_out = [item for item in items if item.get_closest_marker("full")]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


def pytest_report_header() -> str:
    engine = settings.DATABASES["default"]["ENGINE"].rpartition(".")[2]
    return f"back ends: {engine}, broker {settings.CELERY_BROKER_URL.partition(':')[0]}"


@pytest.fixture(autouse=True)
def own_folders(tmp_path: Path, settings: object) -> Iterator[None]:
    """Mail, documents and photos of a test lie in a folder of its own."""
    settings.EMAIL_BACKEND = "notifications.mail_files.EmlFileBackend"  # type: ignore[attr-defined]
    settings.EMAIL_FILE_PATH = str(tmp_path / "mail")  # type: ignore[attr-defined]
    settings.MEDIA_ROOT = tmp_path / "media"  # type: ignore[attr-defined]
    # The usual hasher is slow on purpose.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # type: ignore[attr-defined]
    yield


@dataclass(frozen=True)
class ShopForTests:
    site: object
    wax: object
    film: object


@pytest.fixture
def shop(db: None) -> ShopForTests:
    """A site with the zone catalogue, products (two with a lot each), and the sample terms published."""
    from scheduling.models import SiteCalendar, SiteTerms, TermsVersion
    from scheduling.services import publish_terms
    from treatments.models import Lot, Product, Site
    from treatments.rules.zone_catalogue import read_catalogue
    from treatments.services import load_zone_catalogue

    site = Site.objects.create(
        code="mill-lane", name="Mill Lane Rust Protection", country="US", time_zone="America/New_York",
        email="desk@example.org", phone="+1 555 0101",
    )  # fmt: skip
    SiteCalendar.objects.create(site=site)
    load_zone_catalogue(catalogue=read_catalogue(tomllib.loads((FIXTURES / "zones.toml").read_text("utf-8"))))
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
    return ShopForTests(site, wax, film)
