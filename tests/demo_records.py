"""The demo shop loaded once for a test, through the same steps that the demo command takes."""

from contextlib import suppress
from datetime import datetime
from io import StringIO
from pathlib import Path

from django.core.management import call_command
from django.core.management.base import CommandError

from desk.demo.build_log import write_demo_log
from desk.demo.load import DemoShop, load_claims, load_intakes_and_covers, load_shop
from scheduling.index.service import recompute
from tests.conftest import FIXTURES
from treatments.queries import find_today, read_zone_catalogue


def load_demo(folder: Path, now: datetime) -> DemoShop:
    """Load the demo shop as of ``now``."""
    shop = load_shop(fixtures=FIXTURES, now=now)
    log = folder / "log.csv"
    write_demo_log(log, shop.day, FIXTURES, read_zone_catalogue())
    with suppress(CommandError):  # the demo log has faulty rows on purpose
        call_command("import_treatments", str(log), stdout=StringIO())
    load_intakes_and_covers(shop=shop, now=now)
    recompute(as_of=find_today(now, shop.site), now=now)
    load_claims(shop=shop, now=now)
    return shop
