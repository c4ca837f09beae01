"""Times a page of the due list under every filter and order that the desk offers, against reading rows by their key.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_due_list [COVERS …]``. The floor reads as many
covers with the same joins by a range of their primary key, in the same process; a sequential scan is an error.
"""

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

from tests.bench.made_records import TODAY, Bench, make_database

SIZES = (10_000, 100_000, 1_000_000)
ROWS = 26  # a page and the row that tells whether there is another
REPEATS = 30
ONE_BOOKED_IN = 20


def measure(ask: Callable[[], Any]) -> float:
    """Return the median seconds of a call."""
    ask()
    times = []
    for _ in range(REPEATS):
        started = time.perf_counter()
        ask()
        times.append(time.perf_counter() - started)
    return statistics.median(times)


def find_sequential_scans(plan: dict[str, Any], least_rows: int) -> list[str]:
    """Return the tables of some size that a plan reads from end to end."""
    found = []
    if plan["Node Type"] == "Seq Scan" and plan["Plan Rows"] + plan.get("Rows Removed by Filter", 0) >= least_rows:
        found.append(plan["Relation Name"])
    for part in plan.get("Plans", ()):
        found += find_sequential_scans(part, least_rows)
    return found


def run(bench: Bench, covers: int) -> None:
    """Print the table of one size; called in a process whose settings point at the bench's database."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from scheduling.covers.rules.due_item import DueKind
    from scheduling.due_list.queries import (
        BOOKED_OR_NOT,
        URGENCIES,
        DueFilter,
        Order,
        count_by_urgency,
        list_due_covers,
        read_due_page,
    )
    from scheduling.models import CoverState
    from treatments.models import Ownership, Site, User, Vehicle

    user = User(username="bench", role="owner")
    keys = list(CoverState.objects.order_by("pk").values_list("pk", flat=True)[covers // 2 : covers // 2 + ROWS])
    by_key = CoverState.objects.filter(pk__gte=keys[0], pk__lte=keys[-1]).select_related("cover__vehicle", "site")
    floor = measure(lambda: list(by_key.all()))
    print(f"{covers} covers; floor, {ROWS} rows by key: {floor * 1000:.2f} ms")
    due = list_due_covers(user, TODAY, DueFilter())[covers // 50]
    some = Vehicle.objects.get(covers=due.cover_id)
    customer = Ownership.objects.select_related("customer").get(vehicle=some).customer
    owner, phone = customer.name, customer.phone
    site = Site.objects.order_by("pk")[1].code
    asked: dict[str, DueFilter] = {"all": DueFilter(), "all, by risk": DueFilter(order=Order.RISK)}
    for urgency in URGENCIES:
        asked[urgency] = DueFilter(urgency=urgency)
        asked[f"{urgency}, by risk"] = DueFilter(urgency=urgency, order=Order.RISK)
        asked[f"{urgency}, one site"] = DueFilter(urgency=urgency, site=site)
    for kind in DueKind:
        asked[f"{kind}"] = DueFilter(kind=kind)
        asked[f"{kind}, by risk"] = DueFilter(kind=kind, order=Order.RISK)
    for booked in BOOKED_OR_NOT:
        asked[booked.replace("_", " ")] = DueFilter(booked=booked)
        asked[f"{booked.replace('_', ' ')}, by risk"] = DueFilter(booked=booked, order=Order.RISK)
        asked[f"{booked.replace('_', ' ')}, in its window"] = DueFilter(booked=booked, urgency="in_window")
    asked["one site"] = DueFilter(site=site)
    asked["one site, by risk"] = DueFilter(site=site, order=Order.RISK)
    asked["one site, kind, urgency, by risk"] = DueFilter(
        site=site, kind=DueKind.TOUCH_UP, urgency="in_grace", order=Order.RISK
    )
    asked["whole VIN"] = DueFilter(text=some.vin)
    asked["part of a VIN"] = DueFilter(text=some.vin[-6:])
    asked["plate"] = DueFilter(text=some.plate)
    asked["plate without its gap"] = DueFilter(text=some.plate.replace("-", ""))
    asked["part of a plate with a gap"] = DueFilter(text=some.plate.replace("-", " ")[:-1])
    asked["telephone without its gaps"] = DueFilter(text=phone.replace(" ", ""))
    asked["a name that many have"] = DueFilter(text="Hazel")
    asked["three words of a name"] = DueFilter(text=owner)
    asked["two letters"] = DueFilter(text="QX")
    asked["a word that nobody has"] = DueFilter(text="zzyzx")
    worst = 0.0
    for name, wanted in asked.items():
        seconds = measure(lambda wanted=wanted: read_due_page(user, TODAY, wanted))
        rows = len(read_due_page(user, TODAY, wanted).rows)
        with CaptureQueriesContext(connection) as captured:
            read_due_page(user, TODAY, wanted)
        scans = []
        for query in captured.captured_queries:
            with connection.cursor() as cursor:
                cursor.execute(f"EXPLAIN (ANALYZE, FORMAT json) {query['sql']}")
                scans += find_sequential_scans(cursor.fetchone()[0][0]["Plan"], 1_000)
        worst = max(worst, seconds / floor)
        told = f"  SEQUENTIAL SCAN of {', '.join(scans)}" if scans else ""
        print(f"  {name:<34} {rows:>3} rows {seconds * 1000:>8.2f} ms {seconds / floor:>6.1f} x{told}")
    counts = measure(lambda: count_by_urgency(user, TODAY))
    print(f"  {'the four counts':<34} {'':>8} {counts * 1000:>8.2f} ms {counts / floor:>6.1f} x")
    print(f"  worst: {worst:.1f} x", flush=True)


def run_apart(bench: Bench, covers: int) -> None:
    """Run the measuring in a process whose settings point at the bench's database."""
    with bench.connect() as connection:
        connection.autocommit = True
        # Some are booked, as in a shop that is at work.
        connection.execute(
            "UPDATE scheduling_coverstate SET booked_on = due_opens_on "
            "WHERE due_opens_on IS NOT NULL AND cover_id %% %s = 0",
            [ONE_BOOKED_IN],
        )
        connection.execute("VACUUM ANALYZE")
    environment = os.environ | {"DATABASE_URL": bench.url, "DJANGO_SETTINGS_MODULE": "config.settings"}
    command = [sys.executable, "-m", "tests.bench.bench_due_list", "--inside", str(covers)]
    subprocess.run(command, env=environment, check=True)


def main() -> None:
    if sys.argv[1:2] == ["--inside"]:
        import django

        django.setup()
        run(Bench(os.environ["DATABASE_URL"], ""), int(sys.argv[2]))
        return
    sizes = [int(text.replace("_", "")) for text in sys.argv[1:]] or SIZES
    for covers in sizes:
        bench = make_database(covers, "bench_due_list")
        bench.manage("recompute", "--as-of", str(TODAY), "--processes", "2")
        run_apart(bench, covers)
        bench.drop()


if __name__ == "__main__":
    main()
