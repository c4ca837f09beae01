"""What was agreed about one cover and what a person changed since: the part of a cover that no treatment tells. Which
visits count as a reinspection: treatments, and inspections that answer for every zone that the cover needs.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from scheduling.terms.rules.terms import Terms
from treatments.enums import CorrosivityCategory, InspectionKind, TreatmentKind, ZoneKind
from treatments.records.rules.history import InspectionRecord, PlaceRecord, TreatmentRecord, VehicleHistory
from treatments.vehicles.rules.coatable import find_zones_out


@dataclass(frozen=True, slots=True)
class Waiver:
    """A due item that a person let off, with the day and the reason.

    Attributes:
        due_key: names the duty by its raw day as that was on ``day``, e.g. ``reinspection:2026-03-14`` or
            ``touch_up:cavity_wax:2026-03-14:2028-03-14``.
    """

    due_key: str
    day: date
    reason: str
    record: str

    @property
    def raw_day(self) -> date:
        """The raw day that the duty had when it was let off."""
        return date.fromisoformat(self.due_key.rpartition(":")[2])


@dataclass(frozen=True, slots=True)
class CoverFacts:
    """The cover as sold and as changed.

    Attributes:
        corrosivity: ISO 9223 category of the site, for days on which no place of use is known.
        places: where the vehicle is used from which day on, as written down, the first one first.
        transfers_notified_on: the days on which the shop was told of a new owner.
        ended_on: the first day without cover, where a person ended it.
    """

    number: str
    sold_on: date
    registered_on: date
    corrosivity: CorrosivityCategory = CorrosivityCategory.C3
    places: tuple[PlaceRecord, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    transfers_notified_on: tuple[date, ...] = ()
    ended_on: date | None = None
    end_reason: str = ""

    def find_place_of_use(self, day: date) -> CorrosivityCategory:
        """Return the category of the place of use on ``day``; the site's where none is known."""
        counting = [place for place in self.places if place.counts_from <= day]
        # Of those that begin on one day the one written down last, which corrects the others.
        latest = max(enumerate(counting), key=lambda place: (place[1].from_day, place[0]), default=None)
        return (latest[1].corrosivity if latest else None) or self.corrosivity

    def list_waivers(self, kind: str, as_of: date) -> list[Waiver]:
        """Return the waivers of one kind of duty that were given by ``as_of``, the first one given first."""
        given = [waiver for waiver in self.waivers if waiver.due_key.startswith(f"{kind}:") and waiver.day <= as_of]
        return sorted(given, key=lambda waiver: waiver.day)


class Visit(NamedTuple):
    """A visit that counts as a reinspection: a whole reinspection, or a treatment, at which it is looked at too."""

    day: date
    record: str


class PartialLook(NamedTuple):
    """A reinspection that does not count, since it leaves zones without an answer."""

    day: date
    record: str
    unanswered: tuple[str, ...]


class Visits(NamedTuple):
    """The visits to a vehicle after its first treatment, by day; of those that count one a day."""

    counting: list[Visit]
    partial: list[PartialLook]


def find_visits(terms: Terms, past: VehicleHistory, started_on: date) -> Visits:
    """Return the visits after the first treatment: those that count as a reinspection, and those that leave zones out.

    A treatment after a repair doesn't count: it restarts the clock of the zones that it retreats and nothing else.
    A second "first treatment" does: the vehicle was there and was treated.

    Args:
        past: the records up to the day asked about.
        started_on: the day of the first treatment.
    """
    treatments = past.current_treatments
    found: dict[date, str] = {}
    for treatment in treatments:
        if treatment.kind is not TreatmentKind.AFTER_REPAIR and treatment.day > started_on:
            found.setdefault(treatment.day, treatment.record)
    partial = []
    looks = [one for one in past.current_inspections if one.kind is InspectionKind.REINSPECTION]
    coated = find_coated_zones(terms, treatments, started_on) if looks else {}
    for look in looks:
        if look.day <= started_on:
            continue
        unanswered = find_needed_zones(coated, past, look.day) - look.answered
        if unanswered:
            partial.append(PartialLook(look.day, look.record, tuple(sorted(unanswered))))
        else:
            found.setdefault(look.day, look.record)
    return Visits([Visit(day, found[day]) for day in sorted(found)], partial)


def find_coated_zones(terms: Terms, treatments: Iterable[TreatmentRecord], started_on: date) -> dict[str, date]:
    """Return the zones that the cover is about, each with the day of its first coat from the first treatment on."""
    found: dict[str, date] = {}
    for treatment in treatments:
        if treatment.day < started_on:
            continue
        for line in treatment.lines:
            is_covered = line.zone_kind is not ZoneKind.NEVER_COATED and line.zone not in terms.claims.excluded_zones
            if line.applied and is_covered:
                found.setdefault(line.zone, treatment.day)
    return found


def find_needed_zones(coated: Mapping[str, date], past: VehicleHistory, day: date) -> set[str]:
    """Return the zones for which a reinspection on a day must answer: coated before, and not out of the work.

    Args:
        coated: as ``find_coated_zones`` gives them.
    """
    zones_out = find_zones_out(past.facts, day)
    return {zone for zone, first_coat in coated.items() if first_coat < day and zone not in zones_out}


def list_unanswered(terms: Terms, history: VehicleHistory, inspection: InspectionRecord) -> tuple[str, ...]:
    """Return the zones for which an inspection of any kind would still have to answer to count as a reinspection."""
    past = history.until(inspection.day)
    first = past.find_first_treatment()
    if first is None:
        return ()
    coated = find_coated_zones(terms, past.treatments, first.day)
    answered = {zone.zone for zone in inspection.zones if zone.is_answered}
    return tuple(sorted(find_needed_zones(coated, past, inspection.day) - answered))
