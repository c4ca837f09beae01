"""Which zones of one vehicle may be coated, and why not: by its body style, its propulsion and its standing facts."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from treatments.enums import BodyStyle, Propulsion, Training, WorkStage, ZoneKind, say
from treatments.rules.wording import tell_day
from treatments.rules.zone_catalogue import ZoneDescription
from treatments.vehicles.rules.standing_facts import StandingFact, find_propulsion, list_standing, say_why_out


class Bar(StrEnum):
    """Why a zone of a vehicle is not coated."""

    NEVER_COATED = "never_coated"
    NOT_ON_BODY_STYLE = "not_on_body_style"
    STANDING_FACT = "standing_fact"
    PROPULSION = "propulsion"
    PROPULSION_UNKNOWN = "propulsion_unknown"


@dataclass(frozen=True, slots=True)
class BarredZone:
    """A zone that is not to be coated, with the reason in words and the fact that it rests on."""

    zone: ZoneDescription
    why: Bar
    sentence: str
    fact: StandingFact | None = None
    propulsion: Propulsion | None = None

    @property
    def reason(self) -> str:
        """Why, without the zone's name, so that zones with one reason can be told together."""
        if self.fact:
            words = f": “{self.fact.words}”" if self.fact.words else ""
            source = f"{say(self.fact.source)}, " if self.fact.source else ""
            return f"{say_why_out(self.fact)}{words} ({source}{tell_day(self.fact.day)})"
        if self.propulsion is Propulsion.UNKNOWN:
            return "no work on underside and sills until the propulsion is recorded"
        if self.propulsion:
            return f"not there, or high voltage or gas lies there ({say(self.propulsion)})"
        return self.sentence


# The stages that are worked beside what may carry high voltage or gas.
STOPPED_WHILE_UNKNOWN = (WorkStage.CAVITIES_FROM_BELOW, WorkStage.OPEN_UNDERSIDE)
ANSWER_FIRST = "Propulsion not recorded: no work on underside and sills until it is."


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
        if zone.kind is ZoneKind.NEVER_COATED:
            return BarredZone(zone, Bar.NEVER_COATED, f"{zone.name} is never coated.")
        if self.style is not None and zone.areas_m2 and not zone.has(self.style):
            return BarredZone(zone, Bar.NOT_ON_BODY_STYLE, f"A {say(self.style)} has no {zone.name}.")
        for fact in list_standing(self.facts, self.day):
            if fact.propulsion is None and zone.code in fact.zones:
                sentence = f"{zone.name} is not coated: {say_why_out(fact)}, on record since {fact.day}."
                return BarredZone(zone, Bar.STANDING_FACT, sentence, fact)
        propulsion = self.propulsion
        if propulsion in zone.withheld_on:
            sentence = f"{zone.name} is not coated on a vehicle with this propulsion: {say(propulsion)}."
            return BarredZone(zone, Bar.PROPULSION, sentence, propulsion=propulsion)
        if propulsion is Propulsion.UNKNOWN and zone.stage in STOPPED_WHILE_UNKNOWN:
            sentence = f"{zone.name} waits: the propulsion of this vehicle is not recorded."
            return BarredZone(zone, Bar.PROPULSION_UNKNOWN, sentence, propulsion=propulsion)
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
