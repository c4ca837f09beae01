"""Plans invented seasons and compares with first come, first served, and with what no plan can beat.

    python -m tests.bench.bench_season_plan [VISITS …]      (200, 2000 and 20000 without)

The seconds of a plan are stated as a ratio to those of first come, first served, measured in the same run.
"""

import sys
import time
from statistics import pstdev

from scheduling.rules.season.bound import find_bound
from scheduling.rules.season.costs import Places, count_quarters, list_faults, total
from scheduling.rules.season.first_come import serve_first_come
from scheduling.rules.season.plan import plan_season
from scheduling.rules.season.season import Season
from tests.scheduling.season_cases import make_season

SIZES = (200, 2_000, 20_000)
HEADING = (
    "visits  how                      lapses  without a day     risk  wishes unmet  fullest day  spread  "
    "seconds  x floor"
)


def measure_load(season: Season, places: Places) -> tuple[float, float]:
    """Return the fullest day and the spread of all days, in per cent of what the people can do on a day."""
    used: dict[tuple[int, object], int] = {}
    for visit in season.visits:
        place = places[visit.key]
        if place is not None:
            key = (visit.site, place.day)
            used[key] = used.get(key, 0) + count_quarters(visit.minutes) * 15
    shares = [
        100 * used.get((site.key, day), 0) / minutes
        for site in season.sites
        for day, minutes in site.people_minutes.items()
        if minutes
    ]
    return max(shares), pstdev(shares)


def main() -> None:
    sizes = [int(text) for text in sys.argv[1:]] or SIZES
    print(HEADING)
    for size in sizes:
        season = make_season(size)
        began = time.perf_counter()
        called = serve_first_come(season)
        floor = time.perf_counter() - began
        began = time.perf_counter()
        plan = plan_season(season)
        took = time.perf_counter() - began
        began = time.perf_counter()
        bound = find_bound(season)
        bound_took = time.perf_counter() - began
        places = {proposal.key: proposal.place for proposal in plan.proposals}
        assert not list_faults(season, places) and not list_faults(season, called)
        for how, found, seconds in (("first come, first served", called, floor), ("plan", places, took)):
            sums = total(season, found)
            fullest, spread = measure_load(season, found)
            print(
                f"{size:6}  {how:24} {sums.lapses:6}  {sums.unplaced:13}  {sums.risk:7}  {sums.unmet:12}  "
                f"{fullest:9.0f} %  {spread:4.0f} %  {seconds:7.2f}  {seconds / floor:7.1f}"
            )
        print(
            f"{size:6}  {'no plan can beat':24} {bound.lapses:6}  {'':13}  {bound.risk_at_fewest_lapses:7}"
            f"{'':36}  {bound_took:7.2f}"
        )
        saved = total(season, called).lapses - plan.totals.lapses
        possible = total(season, called).lapses - bound.lapses
        gap = plan.totals.lapses - bound.lapses
        least = bound.risk_at_fewest_lapses if gap == 0 else bound.risk
        risk_gap = 100 * (plan.totals.risk - least) / max(1, least)
        print(
            f"{'':8}lapses avoided: {saved} of at most {possible}; gap to the bound: {gap}; "
            f"risk over its bound: {risk_gap:.1f} %"
        )


if __name__ == "__main__":
    main()
