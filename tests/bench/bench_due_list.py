"""Times a page of the due list under every filter and order that the desk offers, against reading rows by their key.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_due_list [--keep] [COVERS …]``. The floor reads as
many covers with the same joins by a range of their primary key, in the same process. It fails where a bar is missed.
"""

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from itertools import product
from typing import TYPE_CHECKING, Any

from tests.bench.made_records import TODAY, Bench, find_commit, open_database, read_sizes

if TYPE_CHECKING:
    from scheduling.due_list.queries import DueFilter

SIZES = (10_000, 100_000, 1_000_000)
ROWS = 26  # a page and the row that tells whether there is another
REPEATS = 30
LONGEST = 1.0
ONE_BOOKED_IN = 19  # prime to the numbers of sites and terms
FILTER_BAR, SEARCH_BAR = 3.0, 20.0
SHOWN = 12  # so many of the dearest filters are printed, and every one over the bar


def measure(ask: Callable[[], Any]) -> float:
    """Return the median seconds of a call."""
    ask()
    times = []
    for _ in range(REPEATS):
        started = time.perf_counter()
        ask()
        times.append(time.perf_counter() - started)
    return statistics.median(times)


def compare(ask: Callable[[], Any], floor: Callable[[], Any]) -> tuple[float, float]:
    """Return the median seconds of a call and how many times those of a floor that is, measured turn by turn."""
    ask()
    pairs: list[tuple[float, float]] = []
    while len(pairs) < REPEATS and sum(taken for taken, _of_floor in pairs) < LONGEST:
        moments = [time.perf_counter()]
        for call in (ask, floor):
            call()
            moments.append(time.perf_counter())
        pairs.append((moments[1] - moments[0], moments[2] - moments[1]))
    taken, of_floor = (statistics.median(times) for times in zip(*pairs, strict=True))
    return taken, taken / of_floor


def find_sequential_scans(plan: dict[str, Any], least_rows: int) -> list[str]:
    """Return the tables of some size that a plan reads from end to end."""
    found = []
    if plan["Node Type"] == "Seq Scan" and plan["Plan Rows"] + plan.get("Rows Removed by Filter", 0) >= least_rows:
        found.append(plan["Relation Name"])
    for part in plan.get("Plans", ()):
        found += find_sequential_scans(part, least_rows)
    return found


def list_filters(site: str) -> dict[str, "DueFilter"]:
    """Return every filter and order that can be chosen together, by what it narrows to."""
    from scheduling.covers.rules.due_item import DueKind
    from scheduling.due_list.queries import BOOKED_OR_NOT, URGENCIES, DueFilter, Order

    asked = {}
    choices = product(("", site), ("", *URGENCIES), ("", *DueKind), ("", *BOOKED_OR_NOT), Order)
    for of_site, urgency, kind, booked, order in choices:
        parts = [urgency, kind, booked, of_site and "one site", "by risk" if order is Order.RISK else ""]
        name = ", ".join(part.replace("_", " ") for part in parts if part) or "all"
        asked[name] = DueFilter(urgency=urgency, kind=kind, booked=booked, site=of_site, order=order)
    return asked


def list_searches(cover_id: int) -> dict[str, "DueFilter"]:
    """Return the searches, by what is typed; most are about one cover."""
    from scheduling.due_list.queries import DueFilter
    from treatments.models import Ownership, Vehicle

    some = Vehicle.objects.get(covers=cover_id)
    customer = Ownership.objects.select_related("customer").get(vehicle=some).customer
    typed = {
        "whole VIN": some.vin,
        "part of a VIN": some.vin[-6:],
        "plate": some.plate,
        "plate without its gap": some.plate.replace("-", ""),
        "part of a plate with a gap": some.plate.replace("-", " ")[:-1],
        "telephone without its gaps": customer.phone.replace(" ", ""),
        "a name that many have": "Hazel",
        "two names that many have": "Ada Birch",
        "three words of a name": customer.name,
        "two letters": "QX",
        "a word that nobody has": "zzyzx",
    }
    return {name: DueFilter(text=text) for name, text in typed.items()}


def run(covers: int) -> bool:
    """Print the table of one size and say whether every bar is met; needs settings of the bench's database."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from scheduling.due_list.queries import DueFilter, count_by_urgency, list_due_covers, read_due_page
    from scheduling.models import CoverState
    from treatments.models import Site, User

    user = User(username="bench", role="owner")
    keys = list(CoverState.objects.order_by("pk").values_list("pk", flat=True)[covers // 2 : covers // 2 + ROWS])
    by_key = CoverState.objects.filter(pk__gte=keys[0], pk__lte=keys[-1]).select_related("cover__vehicle", "site")

    def read_by_key() -> list[CoverState]:
        return list(by_key.all())

    floor = measure(read_by_key) * 1000
    print(f"{covers} covers, commit {find_commit()}; floor, {ROWS} rows by key: {floor:.2f} ms", flush=True)

    def find_scans(wanted: "DueFilter") -> str:
        with CaptureQueriesContext(connection) as captured:
            read_due_page(user, TODAY, wanted)
        scans = []
        for query in captured.captured_queries:
            with connection.cursor() as cursor:
                cursor.execute(f"EXPLAIN (ANALYZE, FORMAT json) {query['sql']}")
                scans += find_sequential_scans(cursor.fetchone()[0][0]["Plan"], 1_000)
        return f"  SEQUENTIAL SCAN of {', '.join(scans)}" if scans else ""

    def measure_all(asked: dict[str, DueFilter], bar: float, shown: int) -> list[str]:
        lines = []
        for name, wanted in asked.items():
            seconds, times = compare(lambda wanted=wanted: read_due_page(user, TODAY, wanted), read_by_key)
            rows = len(read_due_page(user, TODAY, wanted).rows)
            missed = "  MISSED" if times > bar else ""
            told = f"  {name:<58} {rows:>3} rows {seconds * 1000:>8.2f} ms {times:>6.1f} x"
            lines.append((times, f"{told}{missed}{find_scans(wanted)}"))
        lines.sort(reverse=True)
        missed_lines = [line for times, line in lines if times > bar]
        print(f"  {len(asked)} asked, at most {bar:.0f} x wanted; {len(missed_lines)} missed it; the dearest:")
        print("\n".join(line for _times, line in lines[: max(shown, len(missed_lines))]), flush=True)
        return missed_lines

    due = list_due_covers(user, TODAY, DueFilter())[covers // 50]
    missed = measure_all(list_filters(Site.objects.order_by("pk")[1].code), FILTER_BAR, SHOWN)
    searches = list_searches(due.cover_id)
    missed += measure_all(searches, SEARCH_BAR, len(searches))
    seconds, times = compare(lambda: count_by_urgency(user, TODAY), read_by_key)
    print(f"  {'the four counts':<58} {'':>8} {seconds * 1000:>8.2f} ms {times:>6.1f} x", flush=True)
    return not missed


def run_apart(bench: Bench, covers: int) -> bool:
    """Run the measuring in a process whose settings point at the bench's database; say whether every bar is met."""
    with bench.connect() as connection:
        connection.autocommit = True
        # Some are booked, as in a shop that is at work.
        connection.execute(
            "UPDATE scheduling_coverstate SET booked_on = due_opens_on WHERE due_opens_on IS NOT NULL "
            "AND cover_id %% %s = 0 AND booked_on IS DISTINCT FROM due_opens_on",
            [ONE_BOOKED_IN],
        )
        connection.execute("VACUUM ANALYZE scheduling_coverstate")
    environment = os.environ | {"DATABASE_URL": bench.url, "DJANGO_SETTINGS_MODULE": "config.settings"}
    command = [sys.executable, "-m", "tests.bench.bench_due_list", "--inside", str(covers)]
    return subprocess.run(command, env=environment, check=False).returncode == 0


def main() -> None:
    if sys.argv[1:2] == ["--inside"]:
        import django

        django.setup()
        sys.exit(not run(int(sys.argv[2])))
    sizes, keep = read_sizes(sys.argv[1:], SIZES)
    met = True
    for covers in sizes:
        with open_database(covers, keep=keep) as bench:
            met = run_apart(bench, covers) and met
    sys.exit(not met)


if __name__ == "__main__":
    main()
