"""Everything that ever happened to one vehicle, newest first, with filters and pages.

Where everything stands is told by ``vehicle_records``; records that it has not whole are read for the page that is
shown, so that the number of queries stays the same whatever the history.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, tzinfo
from enum import StrEnum
from typing import Any

from desk.shared.access import may_open
from desk.vehicle.records import Owner, Place, VehicleRecords
from desk.vehicle.timeline_records import (
    Records,
    read_changes,
    read_claims,
    read_messages,
    read_visits,
    view_inspections,
    view_treatments,
)
from scheduling.covers.rules.cover import CoverOnDay
from scheduling.models import Cover
from scheduling.visibility import list_owners_for, may_read_reasons
from treatments.models import User
from treatments.records.rules.history import RecordedReading, VehicleHistory
from treatments.records.rules.odometer import Reading, find_doubt, flag_backwards
from treatments.rules.site_days import find_day

PER_PAGE = 25


class EntryKind(StrEnum):
    """What an entry is about; the filters of the timeline."""

    WORK = "work"
    INSPECTION = "inspection"
    VISIT = "visit"
    COVER = "cover"
    CLAIM = "claim"
    MESSAGE = "message"
    OWNER = "owner"
    READING = "reading"


# On one day, what comes first in the list: what was decided stands above what it rests on.
RANK = {kind: rank for rank, kind in enumerate(reversed(EntryKind))}


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that happened.

    Attributes:
        form: which of the forms of its kind it has, for the template.
        key: the primary key of its record, 0 where it is computed.
        record: the record, once it was read for the page; a computed one from the start.
    """

    day: date
    kind: EntryKind
    form: str
    key: int = 0
    record: Any = None
    more: Any = None

    @property
    def anchor(self) -> str:
        """Where the page shows it, e.g. treatment-12."""
        return f"{self.form}-{self.key}" if self.key else f"{self.form}-{self.day}"

    @property
    def order(self) -> tuple[date, int, int]:
        return self.day, RANK[self.kind], self.key


@dataclass(frozen=True, slots=True)
class Past:
    """What the timeline of a vehicle is made of.

    Attributes:
        covers: those that the person may see.
        records: all that is on record of it, and of these covers.
        history: its history as known at the moment that the page shows.
        changes: the states that the cover went through so far.
        clock: that of the site of the person who looks.
    """

    user: User
    covers: Sequence[Cover]
    records: VehicleRecords
    history: VehicleHistory
    changes: Sequence[CoverOnDay]
    clock: tzinfo


@dataclass(slots=True)
class Timeline:
    """One page of entries; ``owners`` and ``counts`` are of all that the person may see, before any filter."""

    entries: list[Entry]
    owners: list[Owner]
    counts: dict[EntryKind, int] = field(default_factory=dict)
    page: int = 1
    pages: int = 1
    total: int = 0


def list_kinds_for(user: User) -> tuple[EntryKind, ...]:
    """Return the kinds that a person may see."""
    hidden = set()
    if not may_open(user, "claims"):
        hidden.add(EntryKind.CLAIM)
    if user.is_dealership:
        hidden.add(EntryKind.MESSAGE)
    return tuple(kind for kind in EntryKind if kind not in hidden)


def read_timeline(past: Past, *, chosen: Iterable[EntryKind] = (), page: int = 1, at: str = "") -> Timeline:
    """Return one page of the timeline.

    Args:
        past: what there is to tell.
        chosen: kinds to show; all where none is named.
        page: which page, from 1; one that is not there gives the nearest.
        at: the anchor of a record; the page that holds it is shown, whatever ``page`` and ``chosen`` say.
    """
    allowed = list_kinds_for(past.user)
    places = {(place.form, place.key): place for place in past.records.places}
    everything = [entry for entry in _list_entries(past, places.values()) if entry.kind in allowed]
    everything.sort(key=lambda entry: entry.order, reverse=True)
    counts: dict[EntryKind, int] = dict.fromkeys(allowed, 0)
    for entry in everything:
        counts[entry.kind] += 1
    wanted = {kind for kind in chosen if kind in counts} or set(allowed)
    place = next((number for number, entry in enumerate(everything) if at and entry.anchor == at), None)
    shown = everything if place is not None else [entry for entry in everything if entry.kind in wanted]
    pages = max(1, -(-len(shown) // PER_PAGE))
    number = place // PER_PAGE + 1 if place is not None else min(max(page, 1), pages)
    on_page = shown[(number - 1) * PER_PAGE : number * PER_PAGE]
    return Timeline(_fill(on_page, past, places), _list_owners(past), counts, number, pages, len(shown))


# Where a further kind of record joins the timeline: a kind above, its form here, its place and its records in
# ``timeline_records``, and its words in ``timeline_entries.html``.
KIND_OF = {
    "treatment": EntryKind.WORK,
    "inspection": EntryKind.INSPECTION,
    "visit": EntryKind.VISIT,
    "change": EntryKind.COVER,
    "claim": EntryKind.CLAIM,
    "message": EntryKind.MESSAGE,
}


def _find_day(place: Place, clock: tzinfo) -> date:
    """Return the day under which a record stands; that of a message on the clock by which the person reads it."""
    if place.form == "message" and place.moment:
        return find_day(place.moment, clock)
    return place.day


def _list_entries(past: Past, places: Iterable[Place]) -> list[Entry]:
    """Return an entry for everything that the person may see of the vehicle, in no order."""
    entries = [
        Entry(_find_day(place, past.clock), KIND_OF[place.form], place.form, place.key)
        for place in _list_seen(past, places)
    ]
    entries += [Entry(cover.registered_on, EntryKind.COVER, "cover", cover.pk, cover) for cover in past.covers]
    entries += [Entry(state.day, EntryKind.COVER, "state", 0, state) for state in past.changes]
    entries += [Entry(owner.from_day, EntryKind.OWNER, "ownership", owner.key, owner) for owner in _list_owners(past)]
    flagged = {
        backwards.reading: backwards.explanation
        for backwards in flag_backwards([recorded.reading for recorded in past.history.readings])
    }
    earlier: list[Reading] = []
    for recorded in sorted(past.history.readings, key=lambda one: one.reading.day):
        reading = recorded.reading
        told = flagged.get(reading) or find_doubt(earlier, reading)
        earlier.append(reading)
        entries.append(Entry(reading.day, EntryKind.READING, "reading", _find_key(recorded), reading, told))
    return entries


def _list_owners(past: Past) -> list[Owner]:
    return list_owners_for(past.user, past.records.owners, past.covers)


def _list_seen(past: Past, places: Iterable[Place]) -> Iterable[Place]:
    """Return the places whose record a person may see: a dealership no drafts, and visits of its own covers only."""
    if not past.user.is_dealership:
        return places
    own = {cover.pk for cover in past.covers}
    return [
        place
        for place in places
        if not (place.form in ("treatment", "inspection") and place.moment is None)
        and not (place.form == "visit" and place.other not in own)
    ]


def _find_key(recorded: RecordedReading) -> int:
    return int(recorded.reading.record.rpartition(" ")[2])


def _fill(entries: Sequence[Entry], past: Past, places: dict[tuple[str, int], Place]) -> list[Entry]:
    """Return the entries with their records; at most one query for each form of record on the page."""
    keys: dict[str, set[int]] = defaultdict(set)
    for entry in entries:
        if entry.record is None:
            keys[entry.form].add(entry.key)
    found = {form: _read_records(form, wanted, past, places) for form, wanted in keys.items()}
    return [
        entry
        if entry.record is not None
        else Entry(entry.day, entry.kind, entry.form, entry.key, found[entry.form][entry.key])
        for entry in entries
    ]


def _read_records(form: str, keys: set[int], past: Past, places: dict[tuple[str, int], Place]) -> Records:
    match form:
        case "treatment":
            return view_treatments(keys, past.records.treatments, past.history)
        case "inspection":
            return view_inspections(keys, past.records.inspections)
        case "visit":
            return read_visits(keys, with_reasons=may_read_reasons(past.user))
        case "change":
            return read_changes(keys, with_reasons=may_read_reasons(past.user))
        case "claim":
            return read_claims(keys)
        case _:
            return read_messages(keys)
