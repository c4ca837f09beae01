"""Plans invented seasons and compares with first come, first served, and with what no plan can beat.

    python -m tests.bench.bench_season_plan [VISITS …]      (200, 2000 and 20000 without)

Seconds are those of one processor core, and stated as a ratio to those of first come, first served, measured in the
same run. Every plan is checked quarter by quarter before a line is printed. Ends with 1 where a bar is missed.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from statistics import pstdev
from typing import TypeVar

from scheduling.season.rules.costs import Places, total
from scheduling.season.rules.exact import find_bound
from scheduling.season.rules.plan import Comparison, plan_season, read_places, serve_first_come
from scheduling.season.rules.season import Season, SeasonSite
from tests.scheduling.season_cases import make_season
from tests.scheduling.season_faults import list_faults

SIZES = (200, 2_000, 20_000)
HEADING = (
    "vehicles  how                      lapses  without a day     risk  wishes unmet  fullest day  mean day  spread  "
    "seconds  x floor"
)
# Lapses beyond the bound, per cent of the risk beyond it, and seconds for the plan of one size.
MOST_LAPSES_OVER = 0
MOST_RISK_OVER = 4.0
MOST_SECONDS = {20_000: 120}
# Wishes that the planner before day patterns left unmet, on the same seasons.
MOST_UNMET = {200: 44, 2_000: 515, 20_000: 5_436}
T = TypeVar("T")


def measure_seconds(work: Callable[[Season], T], season: Season) -> tuple[T, float]:
    """Return what some work gives and the seconds of the processor that it took, since others use the machine too."""
    began = time.process_time()
    result = work(season)
    return result, time.process_time() - began


@dataclass(frozen=True, slots=True)
class Load:
    """How full the days are, in per cent of the quarters that bays and people can work on each.

    Attributes:
        fullest: the share of the fullest day.
        mean: of all days of all sites.
        spread: the standard deviation over them.
    """

    fullest: float
    mean: float
    spread: float


def measure_load(season: Season, places: Places) -> Load:
    """Return how full the days of a season are."""
    used: dict[tuple[int, date], int] = {}
    for visit in season.visits:
        place = places[visit.key]
        if place is not None:
            used[visit.site, place.day] = used.get((visit.site, place.day), 0) + visit.quarters
    shares = [
        100 * used.get((site.key, day), 0) / most
        for site in season.sites
        for day, most in _count_workable(site).items()
        if most
    ]
    if not shares:
        return Load(0.0, 0.0, 0.0)
    return Load(max(shares), sum(shares) / len(shares), pstdev(shares))


def _count_workable(site: SeasonSite) -> dict[date, int]:
    """Return for each day the quarters that people work or that bays are free, whichever is less."""
    found = {}
    for day in site.list_days():
        anybody = 0
        for person in site.people:
            anybody |= person.worked.get(day, 0)
        bays = sum((anybody & ~bay.taken.get(day, 0)).bit_count() for bay in site.bays)
        people = sum(
            bays if person.key is None else (person.worked.get(day, 0) & ~person.taken.get(day, 0)).bit_count()
            for person in site.people
        )
        found[day] = min(bays, people)
    return found


def list_missed(size: int, found: Comparison, seconds: float) -> list[str]:
    """Print each bar with what was measured, and return those that were missed."""
    bars = [
        ("lapses over the bound", found.lapses_over_bound, MOST_LAPSES_OVER),
        ("per cent of risk over the bound", round(100 * found.risk_over_bound, 1), MOST_RISK_OVER),
        ("wishes unmet", found.plan.totals.unmet, MOST_UNMET.get(size)),
        ("seconds", round(seconds, 1), MOST_SECONDS.get(size)),
    ]
    missed = []
    for what, measured, most in bars:
        if most is not None:
            is_missed = measured > most
            print(f"{'':10}{what}: {measured}, at most {most}{', MISSED' if is_missed else ''}")
            missed += [f"{size}: {what}"] if is_missed else []
    return missed


def main() -> int:
    sizes = [int(text) for text in sys.argv[1:]] or SIZES
    print(HEADING)
    missed: list[str] = []
    for size in sizes:
        season = make_season(size)
        called, floor = measure_seconds(serve_first_come, season)
        plan, took = measure_seconds(plan_season, season)
        bound, bound_took = measure_seconds(find_bound, season)
        places = read_places(plan)
        assert not list_faults(season, places) and not list_faults(season, called)
        found = Comparison(plan, total(season, called), bound)
        for how, sums, load, seconds in (
            ("first come, first served", found.first_come, measure_load(season, called), floor),
            ("plan", plan.totals, measure_load(season, places), took),
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
        print(f"{'':10}lapses avoided: {found.lapses_avoided} of at most {possible}")
        missed += list_missed(size, found, took)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
