"""Reads what spraying vehicles needs by way of certificates, and which people hold them until when."""

from collections import defaultdict
from collections.abc import Collection
from datetime import date

from scheduling.booking.rules.site_times import NeededTraining
from treatments.enums import Training
from treatments.vehicles.fact_queries import map_trainings, read_facts
from treatments.vehicles.rules.coatable import TRAININGS
from treatments.vehicles.rules.standing_facts import find_propulsion


def read_needed_trainings(vehicles: Collection[int]) -> dict[int, NeededTraining]:
    """Return what each vehicle needs that needs any, by its primary key; by the last propulsion on record."""
    propulsions = {key: find_propulsion(facts, date.max) for key, facts in read_facts(vehicles).items()}
    asked = {key: TRAININGS[propulsion] for key, propulsion in propulsions.items() if TRAININGS[propulsion]}
    if not asked:
        return {}
    held: dict[int, dict[Training, date]] = defaultdict(dict)
    for person, rows in map_trainings().items():
        held[person] = {Training(row.training): row.expires_on for row in rows}
    return {key: NeededTraining(trainings, _list_holders(trainings, held)) for key, trainings in asked.items()}


def _list_holders(
    trainings: tuple[Training, ...], held: dict[int, dict[Training, date]]
) -> tuple[tuple[int, date], ...]:
    return tuple(
        (person, min(theirs[training] for training in trainings))
        for person, theirs in sorted(held.items())
        if all(training in theirs for training in trainings)
    )
