"""Standing facts of one vehicle: its propulsion, fitted parts, and the zones that it lacks or that must not be coated.

Facts are never changed. A later one of the same kind, or a withdrawal from a day on, takes the place of an earlier one.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from treatments.enums import FactKind, FactSource, Propulsion
from treatments.rules.explanation import Explanation, Label, explain


@dataclass(frozen=True, slots=True)
class StandingFact:
    """One fact with the day from which on it holds.

    Attributes:
        order: tells of two on one day which was written down later.
        zones: codes of the zones that it takes out of the work; of a propulsion those that the catalogue names.
        withdraws: the record that this one withdraws from its day on.
    """

    record: str
    kind: FactKind
    day: date
    order: int = 0
    zones: tuple[str, ...] = ()
    propulsion: Propulsion | None = None
    source: FactSource | None = None
    words: str = ""
    withdraws: str | None = None
    recorded_at: datetime | None = None


def list_standing(facts: Iterable[StandingFact], day: date) -> list[StandingFact]:
    """Return the facts that stand on ``day``, oldest first; of several propulsions only the last."""
    told = sorted((fact for fact in facts if fact.day <= day), key=lambda fact: (fact.day, fact.order))
    withdrawn = {fact.withdraws for fact in told}
    standing = [fact for fact in told if fact.kind is not FactKind.WITHDRAWN and fact.record not in withdrawn]
    propulsions = [fact for fact in standing if fact.kind is FactKind.PROPULSION]
    return [fact for fact in standing if fact.kind is not FactKind.PROPULSION or fact is propulsions[-1]]


def find_propulsion(facts: Iterable[StandingFact], day: date) -> Propulsion:
    """Return the propulsion on ``day``; before the first day on which it was told, what was told then."""
    listed = list(facts)
    told = [fact.propulsion for fact in list_standing(listed, day) if fact.propulsion]
    if told:
        return told[0]
    later = sorted({fact.day for fact in listed if fact.kind is FactKind.PROPULSION and fact.day > day})
    for first in later:
        found = [fact.propulsion for fact in list_standing(listed, first) if fact.propulsion]
        if found:
            return found[0]
    return Propulsion.UNKNOWN


def find_zones_out(facts: Iterable[StandingFact], day: date) -> dict[str, date]:
    """Return the zones that are out of the work on ``day``, each with the day of the earliest fact about it."""
    found: dict[str, date] = {}
    for fact in list_standing(facts, day):
        for zone in fact.zones:
            found.setdefault(zone, fact.day)
    return found


def explain_why_out(fact: StandingFact) -> Explanation:
    """Return in a few words why a fact takes zones out of the work."""
    if fact.kind is FactKind.PROPULSION and fact.propulsion:
        return explain("fact.propulsion", propulsion=Label(fact.propulsion))
    if fact.kind in (FactKind.ZONE_ABSENT, FactKind.ZONE_FORBIDDEN, FactKind.FITTED_PART):
        return explain(f"fact.{fact.kind}")
    return explain("fact.other")
