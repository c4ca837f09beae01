"""The demo shop for a test, through the same steps that the demo command takes.

Loading takes seconds and every test wants it, so the rows of the first load are kept and put back as they are for the
tests after it.
"""

from contextlib import suppress
from datetime import datetime
from io import StringIO
from pathlib import Path

from django.core.management import call_command
from django.core.management.base import CommandError

from desk.demo.build_log import write_demo_log
from desk.demo.load import DemoShop, find_demo_day, load_claims, load_intakes_and_covers, load_shop, read_fixture
from scheduling.index.service import recompute
from tests.conftest import FIXTURES
from tests.kept_rows import Rows, put_back, read_rows, read_rows_added
from treatments.models import Event, Site
from treatments.queries import find_today, read_zone_catalogue

_kept: dict[datetime, Rows] = {}


def load_demo(folder: Path, now: datetime) -> DemoShop:
    """Load the demo shop as of ``now``, or as of a moment of the same hour at which it was loaded before."""
    hour = now.replace(minute=0, second=0, microsecond=0)
    if Event.objects.exists():
        return _load(folder, now)
    if hour in _kept:
        put_back(_kept[hour])
        site = Site.objects.get(code="quay-street")
        shop = DemoShop(
            site, find_demo_day(find_today(now, site)), read_fixture(FIXTURES, "demo", "vehicles.toml")["vehicle"]
        )
        write_demo_log(folder / "log.csv", shop.day, FIXTURES, read_zone_catalogue())
        return shop
    before = read_rows()
    shop = _load(folder, now)
    _kept.clear()
    _kept[hour] = read_rows_added(before)
    return shop


def _load(folder: Path, now: datetime) -> DemoShop:
    shop = load_shop(fixtures=FIXTURES, now=now)
    log = folder / "log.csv"
    write_demo_log(log, shop.day, FIXTURES, read_zone_catalogue())
    with suppress(CommandError):  # the demo log has faulty rows on purpose
        call_command("import_treatments", str(log), stdout=StringIO())
    load_intakes_and_covers(shop=shop, now=now)
    recompute(as_of=find_today(now, shop.site), now=now)
    load_claims(shop=shop, now=now)
    return shop
