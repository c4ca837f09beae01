"""Recomputes covers of three sizes on PostgreSQL and states the time as a ratio to reading the inputs and copying rows.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_recompute [COVERS …]``; it makes and drops a
database of its own. The floor is one sequential read of every input table (COPY TO, not even parsed) and one COPY of
the same output rows into empty tables with the same keys and indexes. "per core" is core seconds by the floor.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time

from tests.bench.made_records import TODAY, Bench, make_database

SIZES = (10_000, 100_000, 1_000_000)
PROCESSES = 2
INPUTS = (
    "scheduling_cover",
    "treatments_treatment",
    "treatments_treatmentline",
    "treatments_inspection",
    "treatments_odometerreading",
    "treatments_ownership",
)
OUTPUTS = ("scheduling_coverstate", "scheduling_dueitem")
CHANGED_SHARE = 0.005

CHANGE = """
from django.utils import timezone
from treatments.models import Site, Vehicle, Inspection
from treatments.records.inspections import record_inspection
from datetime import date
count, step = {count}, {step}
now = timezone.now()
site = Site.objects.first()
from django.db import transaction
for start in range(0, count, 500):
    with transaction.atomic():
        for key in range(start, min(start + 500, count)):
            record_inspection(vehicle=Vehicle.objects.get(pk=1 + key * step), site=site, done_on=date({year}, {month},
                {day}), kind="reinspection", zones=[], now=now, actor=None)
"""


def read_inputs(bench: Bench) -> float:
    """Return the seconds of one sequential read of every input table, as bytes that nobody parses."""
    started = time.perf_counter()
    with bench.connect() as connection, connection.cursor() as cursor:
        for table in INPUTS:
            with cursor.copy(f"COPY {table} TO STDOUT (FORMAT binary)") as copy:
                for _ in copy:
                    pass
    return time.perf_counter() - started


def copy_outputs(bench: Bench) -> tuple[float, int]:
    """Return the seconds of one COPY of the rows of the index into empty tables like it, and how many rows."""
    seconds, rows = 0.0, 0
    for table in OUTPUTS:
        with bench.connect() as connection, connection.cursor() as cursor:
            content = tempfile.TemporaryFile()  # noqa: SIM115 - closed with the function
            with cursor.copy(f"COPY {table} TO STDOUT (FORMAT binary)") as copy:
                for block in copy:
                    content.write(block)
            content.seek(0)
            cursor.execute(f"CREATE TABLE floor (LIKE {table} INCLUDING ALL)")
            connection.commit()
            started = time.perf_counter()
            with cursor.copy("COPY floor FROM STDIN (FORMAT binary)") as copy:
                while block := content.read(1 << 20):
                    copy.write(block)
            rows += cursor.rowcount
            connection.commit()
            seconds += time.perf_counter() - started
            cursor.execute("DROP TABLE floor")
    return seconds, rows


def recompute(bench: Bench, *options: str) -> tuple[float, float, str]:
    """Return the seconds of a recompute, the peak memory of its largest process in MB, and what it printed."""
    environment = os.environ | {"DATABASE_URL": bench.url, "DJANGO_SETTINGS_MODULE": "config.settings"}
    environment.pop("CELERY_BROKER_URL", None)
    program = (
        "import resource, sys; from django.core.management import execute_from_command_line as go; "
        "go(['manage.py', *sys.argv[1:]]); "
        "own = next(int(line.split()[1]) for line in open('/proc/self/status') if line.startswith('VmHWM')); "
        "print(max(own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss), file=sys.stderr)"
    )
    command = [sys.executable, "-c", program, "recompute", *options]
    started = time.perf_counter()
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    seconds = time.perf_counter() - started
    if done.returncode:
        raise RuntimeError(done.stderr)
    return seconds, int(done.stderr.split()[-1]) / 1024, done.stdout.strip().splitlines()[-1]


HEADINGS = (
    f"{'covers':>9} {'read s':>7} {'COPY s':>7} {'rows out':>9} {'first s':>8} {'ratio':>6} {'per core':>8} "
    f"{'nightly s':>9} {'computed':>8} {'of first':>8} {'peak MB':>8}"
)


def run(bench: Bench, covers: int) -> None:
    """Print one line of the table; leaves the index filled for the day after TODAY."""
    read = read_inputs(bench)
    first, peak, said = recompute(bench, "--as-of", str(TODAY), "--processes", str(PROCESSES))
    copied, rows = copy_outputs(bench)
    count = int(covers * CHANGED_SHARE)
    change = CHANGE.format(count=count, step=covers // count, year=TODAY.year, month=TODAY.month, day=TODAY.day)
    bench.manage("shell", "--no-imports", "-c", change)
    tomorrow = TODAY.replace(day=TODAY.day + 1)
    nightly, nightly_peak, said = recompute(bench, "--as-of", str(tomorrow), "--processes", str(PROCESSES))
    floor = read + copied
    print(
        f"{covers:>9} {read:>7.2f} {copied:>7.2f} {rows:>9} {first:>8.1f} {first / floor:>6.1f} "
        f"{first * PROCESSES / floor:>8.1f} {nightly:>9.1f} {said.split()[0]:>8} {nightly / first:>8.1%} "
        f"{max(peak, nightly_peak):>8.0f}",
        flush=True,
    )


def main() -> None:
    sizes = [int(text.replace("_", "")) for text in sys.argv[1:]] or SIZES
    print(HEADINGS)
    for covers in sizes:
        bench = make_database(covers)
        run(bench, covers)
        bench.drop()


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    main()
