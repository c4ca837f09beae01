"""Counts every report on PostgreSQL and states the time as a ratio to one sequential read of what they rest on.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_reports [--keep] [COVERS …]``. One cover in 20 has a
claim for two zones, one look in 50 finds rust. The floor is COPY TO of every input table, which nobody parses. It
fails where the bar is missed.
"""

import os
import subprocess
import sys
import time

from tests.bench.made_records import TODAY, Bench, find_commit, open_database, read_sizes

SIZES = (10_000, 100_000, 1_000_000)
BAR = 5.0
INPUTS = (
    "treatments_treatment",
    "treatments_treatmentline",
    "treatments_inspection",
    "treatments_inspectionline",
    "scheduling_cover",
    "scheduling_coverstate",
    "claims_claim",
    "claims_claim_zones",
)
STATEMENTS = (
    "UPDATE treatments_inspectionline SET rusted_area_percent = 0.5 WHERE inspection_id % 50 = 0",
    f"""INSERT INTO claims_claim (number, cover_id, reported_on, damage, description, odometer_unit, estimate_currency,
        recorded_at) SELECT 'R' || id, id, DATE '{TODAY}' - (id % 1000)::int, 'perforation_from_within', '', '', '',
        now() FROM scheduling_cover WHERE id % 20 = 7""",
    """INSERT INTO claims_claim_zones (claim_id, zone_id) SELECT claim.id, zone.id FROM claims_claim claim
        CROSS JOIN (SELECT id FROM treatments_zone WHERE kind = 'enclosed_cavity' ORDER BY id LIMIT 2) zone""",
)


def add_claims(bench: Bench) -> None:
    """Add the claims and the rust, unless a run before this one did."""
    with bench.connect() as connection:
        if connection.execute("SELECT FROM claims_claim LIMIT 1").rowcount:
            return
        connection.execute("SET session_replication_role = replica")
        for statement in STATEMENTS:
            connection.execute(statement)
    with bench.connect() as connection:
        connection.autocommit = True
        connection.execute("VACUUM ANALYZE")


def read_inputs(bench: Bench) -> float:
    """Return the seconds of one sequential read of every input table."""
    started = time.perf_counter()
    with bench.connect() as connection, connection.cursor() as cursor:
        for table in INPUTS:
            with cursor.copy(f"COPY {table} TO STDOUT (FORMAT binary)") as copy:
                for _ in copy:
                    pass
    return time.perf_counter() - started


def run(bench: Bench, covers: int) -> bool:
    """Print one line for each report and one for all; say whether the bar is met."""
    from claims.reports.services import REPORT_NAMES, compute_document

    # Before and after, since others use the machine too.
    floor = read_inputs(bench)
    seconds = {}
    for name in REPORT_NAMES:
        started = time.perf_counter()
        compute_document(name, TODAY)
        seconds[name] = time.perf_counter() - started
    floor = (floor + read_inputs(bench)) / 2
    total = sum(seconds.values())
    print(f"{covers} covers, commit {find_commit()}; one read of the inputs: {floor:.2f} s")
    for name, taken in seconds.items():
        print(f"  {name:<34} {taken:>8.2f} s {taken / floor:>6.1f} x")
    told = "" if total <= BAR * floor else "  MISSED"
    print(f"  {'all':<34} {total:>8.2f} s {total / floor:>6.1f} x of at most {BAR:.0f} x{told}", flush=True)
    return total <= BAR * floor


def run_apart(bench: Bench, covers: int) -> bool:
    """Run the measuring in a process whose settings point at the bench's database; say whether the bar is met."""
    add_claims(bench)
    environment = os.environ | {"DATABASE_URL": bench.url, "DJANGO_SETTINGS_MODULE": "config.settings"}
    command = [sys.executable, "-m", "tests.bench.bench_reports", "--inside", str(covers)]
    return subprocess.run(command, env=environment, check=False).returncode == 0


def main() -> None:
    if sys.argv[1:2] == ["--inside"]:
        import django

        django.setup()
        server, _, name = os.environ["DATABASE_URL"].rpartition("/")
        sys.exit(not run(Bench(f"{server}/postgres", name), int(sys.argv[2])))
    sizes, keep = read_sizes(sys.argv[1:], SIZES)
    met = True
    for covers in sizes:
        with open_database(covers, keep=keep) as bench:
            met = run_apart(bench, covers) and met
    sys.exit(not met)


if __name__ == "__main__":
    main()
