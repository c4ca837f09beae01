"""Empties some days of a plan and fills them anew, in another order, and keeps what is better: many times over.

The order of chances comes from a fixed seed and the number of times from the number of visits, so that the same season
always gets the same plan.
"""

import random
from collections.abc import Callable
from datetime import date

from scheduling.season.rules.costs import weigh_no_day
from scheduling.season.rules.mend import Mending
from scheduling.season.rules.season import Place, SeasonVisit

TURNS = 5
TIMES_A_TURN = 40
STRETCHES = 2
MOST_DAYS_IN_STRETCH = 5
# So many of those without a day are tried again each time.
MOST_WITHOUT = 25


def improve_plan(mending: Mending) -> None:
    """Improve a plan that is being mended; it never gets worse."""
    chance = random.Random(len(mending.free))
    if not mending.room.days or not mending.free:
        return
    for _ in range(TURNS):
        for _ in range(TIMES_A_TURN):
            _renew_some_days(mending, chance)
        mending.exchange()
        mending.move_to_better_days()
    mending.mend()


def _renew_some_days(mending: Mending, chance: random.Random) -> None:
    days = mending.room.days
    emptied: set[date] = set()
    for _ in range(STRETCHES):
        begin = chance.randrange(len(days))
        emptied.update(days[begin : begin + chance.randint(1, MOST_DAYS_IN_STRETCH)])
    keys = {key for day in emptied for bay in mending.room.bays for key in mending.there[bay.key, day]}
    without = [visit.key for visit in mending.free if mending.places[visit.key] is None]
    keys.update(chance.sample(without, min(len(without), MOST_WITHOUT)))
    _fill_anew(mending, [mending.visits[key] for key in sorted(keys)], _choose_order(mending, chance))


def _choose_order(mending: Mending, chance: random.Random) -> Callable[[SeasonVisit], tuple[float, ...]]:
    """Return an order in which visits choose their days: where a quarter saves most first, with some chance in it."""
    scatter = chance.choice([0.0, 0.2, 0.5])
    by_length = chance.random() < 0.3

    def order(visit: SeasonVisit) -> tuple[float, ...]:
        presses = weigh_no_day(visit, mending.season)[0]
        until = (visit.lapses_after or date.max).toordinal() if presses else date.max.toordinal()
        worth = -visit.risk_per_week / visit.quarters * (1 + scatter * chance.random())
        return (-visit.quarters, until, worth) if by_length else (until // 14, worth) if presses else (10**6, worth)

    return order


def _fill_anew(mending: Mending, visits: list[SeasonVisit], order: Callable[[SeasonVisit], tuple[float, ...]]) -> None:
    old: dict[str, Place | None] = {visit.key: mending.places[visit.key] for visit in visits}
    before = sum(mending.weigh(visit, old[visit.key]) for visit in visits)
    for visit in visits:
        mending.put(visit, None)
    after = 0
    for visit in sorted(visits, key=order):
        mending.put(visit, mending.find_cheapest(visit))
        after += mending.weigh(visit, mending.places[visit.key])
    if after < before:
        return
    for visit in visits:
        mending.put(visit, None)
    for visit in visits:
        mending.put(visit, old[visit.key])
