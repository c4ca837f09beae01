"""Sets the plan of a season beside first come, first served, and beside what no plan can beat."""

from collections.abc import Callable
from dataclasses import dataclass

from scheduling.enums import SeasonStep
from scheduling.season.rules.bound import Bound, find_bound
from scheduling.season.rules.costs import total
from scheduling.season.rules.first_come import serve_first_come
from scheduling.season.rules.plan import plan_season
from scheduling.season.rules.season import Place, Season, SeasonPlan, Totals


@dataclass(frozen=True, slots=True)
class Comparison:
    """A season planned, called in order, and bounded."""

    plan: SeasonPlan
    first_come: Totals
    bound: Bound

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
    return Comparison(plan, total(season, called), find_bound(season))


def read_places(plan: SeasonPlan) -> dict[str, Place | None]:
    """Return the places that a plan proposes, by the key of the visit."""
    return {proposal.key: proposal.place for proposal in plan.proposals}
