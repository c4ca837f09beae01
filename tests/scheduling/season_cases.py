"""Invented seasons, from a seed, for tests and for the bench of the planner."""

import random
from datetime import date, timedelta

from scheduling.rules.booking_words import BayKind
from scheduling.rules.season.season import Season, SeasonBay, SeasonSite, SeasonVisit

FIRST = date(2027, 3, 1)  # a Monday
DAYS = 119  # to the end of June
VISITS_A_SITE = 1_000


def list_working_days(first: date, days: int, weekdays: int) -> list[date]:
    return [day for step in range(days) if (day := first + timedelta(days=step)).isoweekday() <= weekdays]


def make_season(visits: int, seed: int = 1) -> Season:
    """Make a spring rush: most windows open with the season, a third of the covers stops if nobody comes in time.

    A site has two lifts and two people, of whom one is away for two weeks in the rush. About as much work falls due as
    the bays can do, so that what is done first matters.
    """
    chance = random.Random(seed)
    sites = max(1, round(visits / VISITS_A_SITE))
    a_site = visits / sites
    last = FIRST + timedelta(days=DAYS - 1)
    # A small shop works fewer days of the week, so that its season is as full as a large one's.
    weekdays = max(1, min(5, round(5 * a_site / VISITS_A_SITE)))
    hours = 480
    found_sites = []
    for number in range(sites):
        days = list_working_days(FIRST, DAYS, weekdays)
        away = set(days[6 * weekdays : 8 * weekdays])
        minutes = dict.fromkeys(days, hours)
        found_sites.append(
            SeasonSite(
                number,
                (
                    SeasonBay(number * 2, "Low lift", BayKind.LIFT, minutes, 2000, 3000),
                    SeasonBay(number * 2 + 1, "Tall lift", BayKind.LIFT, minutes, 2800, 4000),
                ),
                {day: hours if day in away else hours * 2 for day in days},
            )
        )
    found = []
    for number in range(visits):
        opens = FIRST + timedelta(days=min(DAYS - 1, int(chance.expovariate(1 / 25))))
        window = chance.choice([30, 45, 60, 60, 90])
        grace = chance.choice([0, 14, 30, 30])
        opened = opens - timedelta(days=chance.randrange(0, 40))
        last_on = opened + timedelta(days=window)
        lapses = last_on + timedelta(days=grace) if chance.random() < 0.35 else None
        if lapses is not None and lapses < FIRST + timedelta(days=3):
            lapses = None
        van = chance.random() < 0.15
        found.append(
            SeasonVisit(
                key=f"v{number}",
                site=number % sites,
                minutes=chance.choice([60, 75, 90, 90, 105, 120, 150, 180]) + (30 if van else 0),
                bay_kind=BayKind.LIFT,
                opens_on=opened,
                last_on=last_on,
                lapses_after=lapses,
                risk_per_week=chance.choice([1, 1, 2, 3]),
                weekdays=frozenset({chance.randint(1, 5)}) if chance.random() < 0.3 else frozenset(),
                height_mm=2600 if van else 1600,
                mass_kg=3400 if van else 1900,
            )
        )
    return Season(FIRST, last, tuple(found_sites), tuple(found))
