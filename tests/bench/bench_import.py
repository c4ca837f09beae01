"""Imports logs of three sizes into PostgreSQL and states the processor time as a ratio to a COPY of what it wrote.

The floor copies the rows of every table that the import filled into empty tables like them, with the same primary,
unique and foreign keys, indexes and checks. Processor seconds are those of both processes, the program and its server.
Exit status 1 where the ratio at 20,000 rows is over the goal.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_import``; it makes and drops a database of its own.
"""

import csv
import os
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import psycopg

from tests.treatments.dirty_log import HEADINGS, ZONES, make_row, make_vin

SIZES = (1_000, 20_000, 100_000)
GOAL_AT, GOAL = 20_000, 8
CLOCK_TICKS = os.sysconf("SC_CLK_TCK")
DATABASE = "bench_import"
# What stands before the import: the catalogue and the site.
FILLED_BEFORE = {"treatments_zone", "treatments_zonearea", "treatments_site", "treatments_product"}


def write_log(path: Path, rows: int) -> None:
    """Write a log in the order of its days, five zones a visit, as a shop keeps it."""
    start = date(2024, 1, 1)
    with path.open("w", encoding="utf-8", newline="") as text:
        writer = csv.DictWriter(text, HEADINGS)
        writer.writeheader()
        for number in range(rows // len(ZONES)):
            for zone in ZONES:
                day = start + timedelta(days=number % 700)
                writer.writerow(make_row(number, zone, day, "first treatment", "1000") | {"VIN": make_vin(number)})


def read_server_seconds(pid: int) -> float:
    """Return the processor seconds that a server process has used so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / CLOCK_TICKS


def copy_rows(url: str) -> float:
    """Return the processor seconds of a COPY of all that the import wrote into empty tables like those it wrote to."""
    with psycopg.connect(url, autocommit=True) as connection:
        pid = connection.info.backend_pid
        found = connection.execute("SELECT relname FROM pg_stat_user_tables WHERE relname LIKE 'treatments_%'")
        floors: list[tuple[str, bytes]] = []
        for (table,) in found.fetchall():
            with connection.cursor().copy(f'COPY "{table}" TO STDOUT') as copy:
                rows = b"".join(bytes(block) for block in copy)
            if table in FILLED_BEFORE or not rows:
                continue
            connection.execute(f'CREATE TABLE "floor_{table}" (LIKE "{table}" INCLUDING ALL)')
            keys = connection.execute(
                "SELECT pg_get_constraintdef(oid) FROM pg_constraint WHERE contype = 'f' AND conrelid = %s::regclass",
                (table,),
            )
            for (key,) in keys.fetchall():
                connection.execute(f'ALTER TABLE "floor_{table}" ADD {key}')
            floors.append((table, rows))
        before = read_server_seconds(pid) + time.process_time()
        for table, rows in floors:
            with connection.cursor().copy(f'COPY "floor_{table}" FROM STDIN') as copy:
                copy.write(rows)
        seconds = read_server_seconds(pid) + time.process_time() - before
        for table, _ in floors:
            connection.execute(f'DROP TABLE "floor_{table}"')
    return seconds


PROGRAM = """
import resource, sys, time
from pathlib import Path
import django
django.setup()
from django.core.management import call_command
from django.db import connection
from tests.bench.bench_import import read_server_seconds
server = None
if sys.argv[1] == "import_treatments":
    connection.ensure_connection()
    server = connection.connection.info.backend_pid
started = time.perf_counter()
call_command(*sys.argv[1:])
wall = time.perf_counter() - started
used = time.process_time() + (read_server_seconds(server) if server else 0)
print("USED", wall, used, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, file=sys.stderr)
"""


def run(url: str, *command: str) -> tuple[float, float, float]:
    """Run a command of manage.py; return its seconds, its processor seconds with its server, and its peak in MB."""
    environment = os.environ | {"DATABASE_URL": url, "DJANGO_SETTINGS_MODULE": "config.settings"}
    environment.pop("CELERY_BROKER_URL", None)
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *command], env=environment, capture_output=True, text=True, check=True
    )
    used = next(line for line in done.stderr.splitlines() if line.startswith("USED"))
    wall, processor, peak = (float(text) for text in used.split()[1:])
    return wall, processor, peak


def main() -> int:
    base = os.environ["DATABASE_URL"]
    server, _, _ = base.rpartition("/")
    url = f"{server}/{DATABASE}"
    worst = 0.0
    headings = ("rows", "COPY cpu s", "import cpu s", "ratio", "import s", "again s", "peak MB")
    print("".join(f"{heading:>14}" for heading in headings))
    for rows in SIZES:
        with psycopg.connect(base, autocommit=True) as admin:
            admin.execute(f"DROP DATABASE IF EXISTS {DATABASE}")
            admin.execute(f"CREATE DATABASE {DATABASE}")
        run(url, "migrate", "--verbosity", "0")
        run(url, "load_catalogue")
        program = (
            "from treatments.models import Product, Site; Site.objects.create(code='bench', name='Bench'); "
            "Product.objects.create(name='Fenwax Cavity 40', family='cavity_wax', volume_solids_percent=40, "
            "target_dry_film_um=50)"
        )
        run(url, "shell", "--no-imports", "-c", program)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "log.csv"
            write_log(path, rows)
            seconds, used, peak = run(url, "import_treatments", str(path))
            floor = copy_rows(url)
            again, _, _ = run(url, "import_treatments", str(path))
        ratio = used / floor
        if rows == GOAL_AT:
            worst = ratio
        figures = (f"{floor:.3f}", f"{used:.2f}", f"{ratio:.1f}", f"{seconds:.1f}", f"{again:.1f}", f"{peak:.0f}")
        print(f"{rows:>14}" + "".join(f"{figure:>14}" for figure in figures), flush=True)
    with psycopg.connect(base, autocommit=True) as admin:
        admin.execute(f"DROP DATABASE IF EXISTS {DATABASE}")
    print(f"At {GOAL_AT} rows {worst:.1f} times a COPY (goal: {GOAL})")
    return 0 if worst <= GOAL else 1


if __name__ == "__main__":
    sys.exit(main())
