"""Imports logs of three sizes into PostgreSQL and states the time as a ratio to a plain COPY of the same rows.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_import``; it makes and drops a database of its own.
"""

import csv
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import psycopg

from tests.treatments.dirty_log import HEADINGS, ZONES, make_row, make_vin

SIZES = (1_000, 10_000, 100_000)
DATABASE = "bench_import"


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


def copy_rows(url: str, path: Path) -> float:
    """Return the seconds of a plain COPY of the same rows as text."""
    with psycopg.connect(url) as connection, connection.cursor() as cursor:
        columns = ", ".join(f"c{number} text" for number in range(len(HEADINGS)))
        cursor.execute(f"CREATE TABLE floor ({columns})")
        started = time.perf_counter()
        with cursor.copy("COPY floor FROM STDIN WITH (FORMAT csv, HEADER)") as copy:
            copy.write(path.read_bytes())
        connection.commit()
        seconds = time.perf_counter() - started
        cursor.execute("DROP TABLE floor")
    return seconds


def run(url: str, *command: str) -> tuple[float, float]:
    """Run a command of manage.py; return its seconds and its peak memory in MB."""
    environment = os.environ | {"DATABASE_URL": url}
    environment.pop("CELERY_BROKER_URL", None)
    program = (
        "import resource, sys; from django.core.management import execute_from_command_line as go; "
        "go(['manage.py', *sys.argv[1:]]); "
        "print('PEAK', resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)"
    )
    environment["DJANGO_SETTINGS_MODULE"] = "config.settings"
    started = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", program, *command], env=environment, capture_output=True, text=True, check=True
    )
    seconds = time.perf_counter() - started
    peak = next(line for line in done.stderr.splitlines() if line.startswith("PEAK"))
    return seconds, int(peak.split()[1]) / 1024


def main() -> None:
    base = os.environ["DATABASE_URL"]
    server, _, _ = base.rpartition("/")
    url = f"{server}/{DATABASE}"
    print(f"{'rows':>8} {'COPY s':>8} {'import s':>9} {'rows/s':>8} {'ratio':>7} {'again s':>8} {'peak MB':>8}")
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
            floor = copy_rows(url, path)
            seconds, peak = run(url, "import_treatments", str(path))
            again, _ = run(url, "import_treatments", str(path))
        print(
            f"{rows:>8} {floor:>8.3f} {seconds:>9.1f} {rows / seconds:>8.0f} {seconds / floor:>7.0f} "
            f"{again:>8.1f} {peak:>8.0f}"
        )
    with psycopg.connect(base, autocommit=True) as admin:
        admin.execute(f"DROP DATABASE IF EXISTS {DATABASE}")


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    main()
