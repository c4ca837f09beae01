"""Plans a season anew around what was promised to customers meanwhile."""

from collections.abc import Mapping
from dataclasses import replace

from scheduling.season.rules.plan import plan_season
from scheduling.season.rules.season import Place, Season, SeasonPlan


def replan(season: Season, promised: Mapping[str, Place]) -> SeasonPlan:
    """Return a plan in which what was promised stays, and everything else is planned around it.

    Args:
        promised: the places that were accepted and told to customers, by the key of the visit.

    Raises:
        KeyError: where a promise is for a visit that is not in the season.
    """
    unknown = sorted(promised.keys() - {visit.key for visit in season.visits})
    if unknown:
        raise KeyError(f"Promised, but not in the season: {', '.join(unknown)}.")
    visits = tuple(replace(visit, promised=promised.get(visit.key, visit.promised)) for visit in season.visits)
    return plan_season(replace(season, visits=visits))
