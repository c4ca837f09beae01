"""Which zones of one vehicle may be coated, and why not: by its body style, its propulsion and its standing facts.
Standing facts of one vehicle: its propulsion, fitted parts, and the zones that it lacks or that must not be coated.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from treatments.enums import BodyStyle, FactKind, FactSource, Propulsion, Training, WorkStage, ZoneKind
from treatments.rules.explanation import Explanation, Label, OwnWords, ZoneCode, explain, gettext_noop
from treatments.rules.zone_catalogue import ZoneDescription


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


class Bar(StrEnum):
    """Why a zone of a vehicle is not coated."""

    NEVER_COATED = "never_coated"
    NOT_ON_BODY_STYLE = "not_on_body_style"
    STANDING_FACT = "standing_fact"
    PROPULSION = "propulsion"
    PROPULSION_UNKNOWN = "propulsion_unknown"


@dataclass(frozen=True, slots=True)
class BarredZone:
    """A zone that is not to be coated, with the reason and the fact that it rests on."""

    zone: ZoneDescription
    why: Bar
    explanation: Explanation
    fact: StandingFact | None = None
    propulsion: Propulsion | None = None

    @property
    def reason(self) -> Explanation:
        """Why, without the zone's name, so that zones with one reason can be told together."""
        if self.fact:
            words = explain("zone_out.words", words=OwnWords(self.fact.words)) if self.fact.words else None
            source = explain("zone_out.source", source=Label(self.fact.source)) if self.fact.source else None
            return explain(
                "zone_out.by_fact", why=explain_why_out(self.fact), words=words, source=source, since_on=self.fact.day
            )
        if self.propulsion is Propulsion.UNKNOWN:
            return explain("zone_out.until_propulsion")
        if self.propulsion:
            return explain("zone_out.by_propulsion", propulsion=Label(self.propulsion))
        return self.explanation


# The stages that are worked beside what may carry high voltage or gas.
STOPPED_WHILE_UNKNOWN = (WorkStage.CAVITIES_FROM_BELOW, WorkStage.OPEN_UNDERSIDE)
ANSWER_FIRST = gettext_noop("Propulsion not recorded: no work on underside and sills until it is.")


@dataclass(frozen=True, slots=True)
class VehicleBody:
    """What decides on a day which zones of a vehicle may be coated.

    Attributes:
        style: None where it is not recorded.
        facts: all standing facts of the vehicle.
    """

    style: BodyStyle | None
    facts: tuple[StandingFact, ...]
    day: date

    @property
    def propulsion(self) -> Propulsion:
        return find_propulsion(self.facts, self.day)

    def find_bar(self, zone: ZoneDescription) -> BarredZone | None:
        """Return why a zone is not to be coated, None where it may be."""
        named = ZoneCode(zone.code)
        if zone.kind is ZoneKind.NEVER_COATED:
            return BarredZone(zone, Bar.NEVER_COATED, explain("zone_out.never_coated", zone=named))
        if self.style is not None and zone.areas_m2 and not zone.has(self.style):
            told = explain("zone_out.not_on_body_style", style=Label(self.style), zone=named)
            return BarredZone(zone, Bar.NOT_ON_BODY_STYLE, told)
        for fact in list_standing(self.facts, self.day):
            if fact.propulsion is None and zone.code in fact.zones:
                told = explain("zone_out.standing_fact", zone=named, why=explain_why_out(fact), since_on=fact.day)
                return BarredZone(zone, Bar.STANDING_FACT, told, fact)
        propulsion = self.propulsion
        if propulsion in zone.withheld_on:
            told = explain("zone_out.propulsion", zone=named, propulsion=Label(propulsion))
            return BarredZone(zone, Bar.PROPULSION, told, propulsion=propulsion)
        if propulsion is Propulsion.UNKNOWN and zone.stage in STOPPED_WHILE_UNKNOWN:
            told = explain("zone_out.propulsion_unknown", zone=named)
            return BarredZone(zone, Bar.PROPULSION_UNKNOWN, told, propulsion=propulsion)
        return None

    def list_coatable(self, catalogue: Iterable[ZoneDescription]) -> list[ZoneDescription]:
        """Return the zones that may be coated, in the order given."""
        return [zone for zone in catalogue if self.find_bar(zone) is None]

    def list_barred(self, catalogue: Iterable[ZoneDescription]) -> list[BarredZone]:
        """Return the zones of the body style that otherwise would be coated, with the reason why they are not."""
        bars = (self.find_bar(zone) for zone in catalogue)
        return [bar for bar in bars if bar and bar.why not in (Bar.NEVER_COATED, Bar.NOT_ON_BODY_STYLE)]

    def list_never_coated(self, catalogue: Iterable[ZoneDescription]) -> list[ZoneDescription]:
        """Return the parts of this vehicle that are never coated; where the propulsion is unknown, those of any."""
        propulsion = self.propulsion
        return [
            zone
            for zone in catalogue
            if zone.kind is ZoneKind.NEVER_COATED
            and (not zone.propulsions or propulsion is Propulsion.UNKNOWN or propulsion in zone.propulsions)
        ]

    @property
    def trainings(self) -> tuple[Training, ...]:
        """What somebody must be trained for who coats this vehicle."""
        return TRAININGS[self.propulsion]


TRAININGS: dict[Propulsion, tuple[Training, ...]] = {
    Propulsion.COMBUSTION: (),
    Propulsion.HYBRID: (Training.HIGH_VOLTAGE,),
    Propulsion.BATTERY: (Training.HIGH_VOLTAGE,),
    Propulsion.LPG_OR_CNG: (Training.GAS_SYSTEMS,),
    Propulsion.HYDROGEN: (Training.HIGH_VOLTAGE, Training.GAS_SYSTEMS),
    Propulsion.UNKNOWN: (),
}
