"""Which records speak on a day, by fixtures/terms/MEANING.md: what was known, amended, dated later or not believed.

A part of the oracle, so nothing of the rules under test is imported.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from fractions import Fraction

from tests.scheduling.oracle_inputs import Case, Fact, Look, Odometer, Owner, Place


@dataclass
class Knowledge:
    """The records that speak on the day asked about, sorted out once before the walk."""

    first: date | None = None
    visits: set[date] = field(default_factory=set)
    coats: dict[date, set[tuple[str, str, str]]] = field(default_factory=dict)
    owner_changes: list[Owner] = field(default_factory=list)
    all_changes: list[date] = field(default_factory=list)
    readings: list[tuple[date, Fraction]] = field(default_factory=list)
    places: list[Place] = field(default_factory=list)
    at_shop: set[date] = field(default_factory=set)
    facts: tuple[Fact, ...] = ()


def sort_out(case: Case) -> Knowledge:
    """Leave out what was not known yet, then amended versions, then what is dated after the day asked about."""

    def known(written_at: datetime | None) -> bool:
        return written_at is None or case.known_at is None or written_at <= case.known_at

    works = [work for work in case.works if known(work.written_at)]
    amended = {work.amends for work in works}
    works = [work for work in works if work.record not in amended and work.day <= case.asked_on]
    facts = [
        fact if known(fact.withdrawal_written_at) else replace(fact, withdrawn_on=None)
        for fact in case.facts
        if known(fact.written_at)
    ]
    places = [place for place in case.places if known(place.written_at)]
    knowledge = Knowledge(readings=believe(case.odometer, known), facts=tuple(facts), places=places)
    firsts = [work.day for work in works if work.kind == "first_treatment"]
    if not firsts:
        return knowledge
    first = knowledge.first = min(firsts)
    for work in works:
        if work.kind in ("annual_touch_up", "first_treatment") and work.day > first:
            knowledge.visits.add(work.day)
        for zone in work.zones:
            if zone.family is not None and work.day >= first:
                knowledge.coats.setdefault(work.day, set()).add((zone.zone, zone.kind, zone.family))
    looks = [look for look in case.looks if known(look.written_at)]
    replaced = {look.amends for look in looks if look.amends}
    looks = [look for look in looks if look.record not in replaced and look.day <= case.asked_on]
    for look in looks:
        if look.kind == "reinspection" and look.day > first and answers_for_all(look, knowledge, case):
            knowledge.visits.add(look.day)
    knowledge.at_shop = {work.day for work in works} | {look.day for look in looks}
    for stay in case.stays:
        day = stay.first
        while known(stay.written_at) and day <= min(stay.last, case.asked_on):
            knowledge.at_shop.add(day)
            day += timedelta(days=1)
    owners = sorted((owner for owner in case.owners if known(owner.written_at)), key=lambda owner: owner.from_day)
    knowledge.all_changes = [owner.from_day for owner in owners[1:]]
    knowledge.owner_changes = [owner for owner in owners[1:] if first < owner.from_day <= case.asked_on]
    return knowledge


def answers_for_all(look: Look, knowledge: Knowledge, case: Case) -> bool:
    """Say whether an inspection answers for every zone that the cover needs on its day."""
    if look.zones is None:
        return True
    answered = {one.zone for one in look.zones if (one.film and one.rust) or one.why_not}
    out = find_zones_out(knowledge.facts, look.day)
    for day, coats in knowledge.coats.items():
        for zone, kind, _family in coats:
            counts = kind != "never_coated" and zone not in case.promise.excluded_zones and zone not in out
            if day < look.day and counts and zone not in answered:
                return False
    return True


def find_zones_out(facts: tuple[Fact, ...], asked: date) -> dict[str, date]:
    """Return the zones out of the work on a day, each with the day since which it is."""
    standing = [fact for fact in facts if fact.day <= asked and not (fact.withdrawn_on and fact.withdrawn_on <= asked)]
    last_propulsion: Fact | None = None
    for fact in standing:
        if fact.is_propulsion and (last_propulsion is None or fact.day >= last_propulsion.day):
            last_propulsion = fact
    out: dict[str, date] = {}
    for fact in standing:
        if fact.is_propulsion and fact is not last_propulsion:
            continue
        for zone in fact.zones:
            out[zone] = min(out.get(zone, fact.day), fact.day)
    return out


def believe(odometer: tuple[Odometer, ...], known: Callable[[datetime | None], bool]) -> list[tuple[date, Fraction]]:
    """Return one reading a day: not those below an earlier one, and the highest of several on a day."""
    believed: dict[date, Fraction] = {}
    highest = Fraction(-1)
    for reading in sorted(odometer, key=lambda reading: (reading.day, reading.kilometres)):
        if known(reading.written_at) and reading.kilometres >= highest:
            believed[reading.day] = highest = Fraction(reading.kilometres)
    return sorted(believed.items())


def kilometres_on(readings: list[tuple[date, Fraction]], day: date) -> Fraction | None:
    """Return the reading of the day or the straight line between the readings around it, None outside of them."""
    for (day_1, km_1), (day_2, km_2) in zip(readings, readings[1:] or readings, strict=False):
        if day_1 <= day <= day_2:
            days = (day_2 - day_1).days
            return km_1 + (km_2 - km_1) * (day - day_1).days / days if days else km_1
    return None
