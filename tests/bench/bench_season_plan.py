"""Plans invented seasons and compares with first come, first served, and with what no plan can beat.

    python -m tests.bench.bench_season_plan [VISITS …]      (200, 2000 and 20000 without)

Seconds are those of one processor core, and stated as a ratio to those of first come, first served, measured in the
same run. Every plan is checked quarter by quarter before a line is printed.
"""

import sys
import time
from collections.abc import Callable
from typing import TypeVar

from scheduling.season.rules.bound import find_bound
from scheduling.season.rules.checking import list_faults
from scheduling.season.rules.costs import total
from scheduling.season.rules.first_come import serve_first_come
from scheduling.season.rules.measures import Comparison, measure_load, read_places
from scheduling.season.rules.plan import plan_season
from scheduling.season.rules.season import Season
from tests.scheduling.season_cases import make_season

SIZES = (200, 2_000, 20_000)
HEADING = (
    "vehicles  how                      lapses  without a day     risk  wishes unmet  fullest day  mean day  spread  "
    "seconds  x floor"
)
T = TypeVar("T")


def measure_seconds(work: Callable[[Season], T], season: Season) -> tuple[T, float]:
    """Return what some work gives and the seconds of the processor that it took, since others use the machine too."""
    began = time.process_time()
    result = work(season)
    return result, time.process_time() - began


def main() -> None:
    sizes = [int(text) for text in sys.argv[1:]] or SIZES
    print(HEADING)
    for size in sizes:
        season = make_season(size)
        called, floor = measure_seconds(serve_first_come, season)
        plan, took = measure_seconds(plan_season, season)
        bound, bound_took = measure_seconds(find_bound, season)
        places = read_places(plan)
        assert not list_faults(season, places) and not list_faults(season, called)
        found = Comparison(
            plan, total(season, called), bound, measure_load(season, places), measure_load(season, called)
        )
        for how, sums, load, seconds in (
            ("first come, first served", found.first_come, found.first_come_load, floor),
            ("plan", plan.totals, found.plan_load, took),
        ):
            print(
                f"{size:8}  {how:24} {sums.lapses:6}  {sums.unplaced:13}  {sums.risk:7}  {sums.unmet:12}  "
                f"{load.fullest:9.0f} %  {load.mean:6.0f} %  {load.spread:4.0f} %  "
                f"{seconds:7.2f}  {seconds / floor:7.1f}"
            )
        print(
            f"{size:8}  {'no plan can beat':24} {bound.lapses:6}  {'':13}  {bound.find_risk_at(plan.totals.lapses):7}"
            f"{'':46}  {bound_took:7.2f}  {bound_took / floor:7.1f}"
        )
        possible = found.first_come.lapses - bound.lapses
        print(
            f"{'':10}lapses avoided: {found.lapses_avoided} of at most {possible}; over the bound: "
            f"{found.lapses_over_bound} lapses, {100 * found.risk_over_bound:.1f} % of the risk"
        )


if __name__ == "__main__":
    main()
