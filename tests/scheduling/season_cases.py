"""Invented seasons, from a seed, for tests and for the bench of the planner."""

import random
from datetime import date, timedelta

from scheduling.enums import BayKind, Skill
from scheduling.season.rules.hours import mark
from scheduling.season.rules.season import Season, SeasonBay, SeasonPerson, SeasonSite, SeasonVisit

FIRST = date(2027, 3, 1)  # a Monday
DAYS = 119  # to the end of June
VISITS_A_SITE = 1_250
FORENOON, AFTERNOON = mark(8 * 4, 12 * 4), mark(13 * 4, 17 * 4)
WHOLE_DAY = FORENOON | AFTERNOON
BOTH = frozenset(Skill)


def list_working_days(first: date, days: int, weekdays: int) -> list[date]:
    return [day for step in range(days) if (day := first + timedelta(days=step)).isoweekday() <= weekdays]


def make_site(number: int, days: list[date], weekdays: int, chance: random.Random) -> SeasonSite:
    """Make two lifts, two bays on the ground and three people, one of whom is away for two weeks in the rush.

    One of twenty bay days is taken for a while already, and a person with it now and then.
    """

    def take_some() -> dict[date, int]:
        return {
            day: mark(start, start + 8) for day in days if chance.random() < 0.05 for start in [chance.randint(32, 56)]
        }

    away = dict.fromkeys(days[6 * weekdays : 8 * weekdays], WHOLE_DAY)
    whole = dict.fromkeys(days, WHOLE_DAY)
    key = number * 10
    return SeasonSite(
        number,
        (
            SeasonBay(key, "Low lift", BayKind.LIFT, take_some(), 2000, 3000),
            SeasonBay(key + 1, "Tall lift", BayKind.LIFT, take_some(), 2800, 4000),
            SeasonBay(key + 2, "Ground bay 1", BayKind.GROUND, take_some()),
            SeasonBay(key + 3, "Ground bay 2", BayKind.GROUND, take_some()),
        ),
        (
            SeasonPerson(key, BOTH, whole, take_some()),
            SeasonPerson(key + 1, BOTH, whole, away),
            SeasonPerson(key + 2, frozenset({Skill.INSPECTING}), whole, take_some()),
        ),
    )


def make_season(visits: int, seed: int = 1) -> Season:
    """Make a spring rush: most windows open with the season, many covers stop if nobody comes in time.

    More work falls due in the first weeks than the bays and people can do, so that what is done first matters and some
    covers can't be saved. Half the visits look the vehicle over on the ground, half renew its film on a lift.
    """
    chance = random.Random(seed)
    sites = max(1, round(visits / VISITS_A_SITE))
    # A small shop works fewer days of the week, so that its season is about as full as a large one's.
    weekdays = max(1, min(5, round(5 * visits / sites / VISITS_A_SITE)))
    days = list_working_days(FIRST, DAYS, weekdays)
    found_sites = tuple(make_site(number, days, weekdays, chance) for number in range(sites))
    found = tuple(make_visit(number, number % sites, chance) for number in range(visits))
    return Season(FIRST, FIRST + timedelta(days=DAYS - 1), found_sites, found)


def make_visit(number: int, site: int, chance: random.Random) -> SeasonVisit:
    opens_on = FIRST + timedelta(days=min(DAYS - 1, int(chance.expovariate(1 / 20))) - chance.randrange(0, 40))
    last_on = opens_on + timedelta(days=chance.choice([30, 30, 45, 60, 90]))
    lapses: date | None = last_on + timedelta(days=chance.choice([0, 14, 30, 30]))
    if chance.random() < 0.45 or (lapses is not None and lapses < FIRST + timedelta(days=3)):
        lapses = None
    van = chance.random() < 0.15
    on_lift = chance.random() < 0.5
    asks = chance.random()
    minutes = chance.choice([90, 120, 120, 150, 180, 210]) if on_lift else chance.choice([60, 75, 90, 90])
    away = opens_on + timedelta(days=chance.randrange(0, 60))
    return SeasonVisit(
        key=f"v{number}",
        site=site,
        minutes=minutes + (30 if van else 0),
        bay_kind=BayKind.LIFT if on_lift else BayKind.GROUND,
        opens_on=opens_on,
        last_on=last_on,
        lapses_after=lapses,
        risk_per_week=chance.choice([1, 1, 2, 3, 4]),
        weekdays=frozenset({chance.randint(1, 5)}) if asks < 0.3 else frozenset(),
        height_mm=2600 if van else 1600,
        mass_kg=3400 if van else 1900,
        skill=Skill.SPRAYING if on_lift else Skill.INSPECTING,
        part_of_day=chance.choice(["morning", "afternoon"]) if 0.2 < asks < 0.45 else "",
        avoid=((away, away + timedelta(days=13)),) if asks > 0.9 else (),
    )
