"""The demo shop for a test, through the same steps that the demo command takes.

Loading takes seconds and every test wants it, so the rows of the first load are kept and put back as they are for the
tests after it.
"""

from contextlib import suppress
from datetime import date, datetime, time
from io import StringIO
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.management import call_command
from django.core.management.base import CommandError
from django.core.management.color import no_style
from django.db import connection, transaction

from desk.demo.build_log import write_demo_log
from desk.demo.load import DemoShop, find_demo_day, load_claims, load_intakes_and_covers, load_shop, read_fixture
from scheduling.index.service import recompute
from tests.conftest import FIXTURES
from treatments.models import Event, Site
from treatments.queries import find_today, read_zone_catalogue

Rows = dict[str, tuple[list[str], list[tuple[Any, ...]]]]
ROWS_AT_ONCE = 200
_kept: dict[datetime, Rows] = {}


def load_demo(folder: Path, now: datetime) -> DemoShop:
    """Load the demo shop as of ``now``, or as of a moment of the same hour at which it was loaded before."""
    hour = now.replace(minute=0, second=0, microsecond=0)
    if Event.objects.exists():
        return _load(folder, now)
    if hour in _kept:
        _put_back(_kept[hour])
        site = Site.objects.get(code="quay-street")
        shop = DemoShop(
            site, find_demo_day(find_today(now, site)), read_fixture(FIXTURES, "demo", "vehicles.toml")["vehicle"]
        )
        write_demo_log(folder / "log.csv", shop.day, FIXTURES, read_zone_catalogue())
        return shop
    before = _read_rows()
    shop = _load(folder, now)
    _kept.clear()
    _kept[hour] = {table: rows for table, rows in _read_rows().items() if table not in before}
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


def _read_rows() -> Rows:
    """Return the rows of every table that has any, as the database keeps them."""
    found: Rows = {}
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            rows = cursor.fetchall()
            if rows:
                found[table] = ([column[0] for column in cursor.description], rows)
    return found


def _write(value: Any) -> Any:
    """Return a value as it was written: SQLite keeps days and times as text, and reads them back as objects."""
    is_time = isinstance(value, date | time)  # a datetime is a date too
    return str(value) if is_time and connection.vendor == "sqlite" else value


@transaction.atomic  # references between tables are looked at when all rows are there
def _put_back(kept: Rows) -> None:
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        for table, (columns, rows) in kept.items():
            names = ", ".join(quote(name) for name in columns)
            marks = f"({', '.join(['%s'] * len(columns))})"
            # SQLite takes only so many values in one statement.
            step = max(1, min(ROWS_AT_ONCE, 900 // len(columns)))
            for start in range(0, len(rows), step):
                part = rows[start : start + step]
                cursor.execute(
                    f"INSERT INTO {quote(table)} ({names}) VALUES {', '.join([marks] * len(part))}",
                    [_write(value) for row in part for value in row],
                )
        for statement in connection.ops.sequence_reset_sql(no_style(), list(apps.get_models())):
            cursor.execute(statement)
