"""Sets the plan of a season beside first come, first served, and beside what no plan can beat."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from statistics import pstdev

from scheduling.enums import SeasonStep
from scheduling.season.rules.bound import Bound, find_bound
from scheduling.season.rules.costs import Places, total
from scheduling.season.rules.first_come import serve_first_come
from scheduling.season.rules.plan import plan_season
from scheduling.season.rules.season import Place, Season, SeasonPlan, SeasonSite, Totals


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


@dataclass(frozen=True, slots=True)
class Comparison:
    """A season planned, called in order, and bounded."""

    plan: SeasonPlan
    first_come: Totals
    bound: Bound
    plan_load: Load
    first_come_load: Load

    @property
    def lapses_avoided(self) -> int:
        return self.first_come.lapses - self.plan.totals.lapses

    @property
    def lapses_over_bound(self) -> int:
        """How many more covers lapse than the bound; 0 where no plan can lapse fewer."""
        return self.plan.totals.lapses - self.bound.lapses

    @property
    def risk_over_bound(self) -> float:
        """How far the risk lies over what no plan with as many lapses can beat, as a share of that."""
        least = self.bound.find_risk_at(self.plan.totals.lapses)
        return (self.plan.totals.risk - least) / max(1, least)


def compare_season(season: Season, *, tell_step: Callable[[SeasonStep], None] = lambda step: None) -> Comparison:
    """Plan a season and measure the plan against doing without one and against the bound.

    Args:
        tell_step: is called as each step begins, since a large season takes minutes.
    """
    tell_step(SeasonStep.CALLING_IN_ORDER)
    called = serve_first_come(season)
    tell_step(SeasonStep.PLANNING)
    plan = plan_season(season)
    tell_step(SeasonStep.BOUNDING)
    return Comparison(
        plan,
        total(season, called),
        find_bound(season),
        measure_load(season, read_places(plan)),
        measure_load(season, called),
    )


def read_places(plan: SeasonPlan) -> dict[str, Place | None]:
    """Return the places that a plan proposes, by the key of the visit."""
    return {proposal.key: proposal.place for proposal in plan.proposals}


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


def _count_workable(site: SeasonSite) -> Mapping[date, int]:
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
