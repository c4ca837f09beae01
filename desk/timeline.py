"""Everything that ever happened to one vehicle, newest first, with filters and pages.

First only days and keys are read, one query for each kind; the records themselves are read for the page that is shown,
so that the number of queries stays the same whatever the history.
"""

import zoneinfo
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

from django.db.models import QuerySet

from claims.queries import list_claims_for
from desk.access import list_visits_for, may_open
from notifications.models import Message
from scheduling.models import CoverChange
from scheduling.queries import list_covers_for
from scheduling.rules.cover import CoverOnDay
from treatments.models import Inspection, Ownership, Role, Treatment, TreatmentLine, User, Vehicle
from treatments.rules.history import RecordedReading, VehicleHistory, ZoneLine
from treatments.rules.material import MaterialNeed, compare_zone
from treatments.rules.odometer import flag_backwards
from treatments.rules.rust_grade import grade_rust

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
class LineView:
    line: TreatmentLine
    material: str


@dataclass(slots=True)
class Timeline:
    """One page of entries; ``counts`` are of all there are, before any filter."""

    entries: list[Entry]
    counts: dict[EntryKind, int] = field(default_factory=dict)
    page: int = 1
    pages: int = 1
    total: int = 0


def list_kinds_for(user: User) -> tuple[EntryKind, ...]:
    """Return the kinds that a person may see."""
    hidden = set()
    if not may_open(user, "claims"):
        hidden.add(EntryKind.CLAIM)
    if user.role == Role.DEALERSHIP:
        hidden.add(EntryKind.MESSAGE)
    return tuple(kind for kind in EntryKind if kind not in hidden)


def read_timeline(
    vehicle: Vehicle,
    user: User,
    history: VehicleHistory,
    changes: Sequence[CoverOnDay],
    *,
    chosen: Iterable[EntryKind] = (),
    page: int = 1,
    at: str = "",
) -> Timeline:
    """Return one page of the timeline.

    Args:
        history: the vehicle's records, as known at the moment that the page shows.
        changes: the states that the cover went through so far.
        chosen: kinds to show; all where none is named.
        page: which page, from 1; one that is not there gives the nearest.
        at: the anchor of a record; the page that holds it is shown, whatever ``page`` and ``chosen`` say.
    """
    allowed = list_kinds_for(user)
    everything = sorted(
        (entry for kind in allowed for entry in _LISTED[kind](vehicle, user, history, changes)),
        key=lambda entry: entry.order,
        reverse=True,
    )
    counts: dict[EntryKind, int] = dict.fromkeys(allowed, 0)
    for entry in everything:
        counts[entry.kind] += 1
    wanted = {kind for kind in chosen if kind in counts} or set(allowed)
    place = next((number for number, entry in enumerate(everything) if at and entry.anchor == at), None)
    shown = everything if place is not None else [entry for entry in everything if entry.kind in wanted]
    pages = max(1, -(-len(shown) // PER_PAGE))
    number = place // PER_PAGE + 1 if place is not None else min(max(page, 1), pages)
    on_page = shown[(number - 1) * PER_PAGE : number * PER_PAGE]
    return Timeline(_fill(on_page, user, history), counts, number, pages, len(shown))


def _list_work(vehicle: Vehicle, user: User, history: VehicleHistory, changes: Sequence[CoverOnDay]) -> list[Entry]:
    rows = Treatment.objects.filter(vehicle=vehicle)
    if user.role == Role.DEALERSHIP:
        rows = rows.filter(signed_off_at__isnull=False)
    return [Entry(day, EntryKind.WORK, "treatment", key) for key, day in rows.values_list("pk", "done_on")]


def _list_inspections(
    vehicle: Vehicle, user: User, history: VehicleHistory, changes: Sequence[CoverOnDay]
) -> list[Entry]:
    rows = Inspection.objects.filter(vehicle=vehicle)
    return [Entry(day, EntryKind.INSPECTION, "inspection", key) for key, day in rows.values_list("pk", "done_on")]


def _list_visits(vehicle: Vehicle, user: User, history: VehicleHistory, changes: Sequence[CoverOnDay]) -> list[Entry]:
    rows = list_visits_for(user).filter(vehicle=vehicle).values_list("pk", "starts_at", "site__time_zone")
    return [
        Entry(starts_at.astimezone(zoneinfo.ZoneInfo(zone)).date(), EntryKind.VISIT, "visit", key)
        for key, starts_at, zone in rows
    ]


def _list_cover(vehicle: Vehicle, user: User, history: VehicleHistory, changes: Sequence[CoverOnDay]) -> list[Entry]:
    covers = list_covers_for(user).filter(vehicle=vehicle)
    entries = [Entry(cover.registered_on, EntryKind.COVER, "cover", cover.pk, cover) for cover in covers]
    made = CoverChange.objects.filter(cover__in=covers)
    entries += [Entry(day, EntryKind.COVER, "change", key) for key, day in made.values_list("pk", "day")]
    return entries + [Entry(state.day, EntryKind.COVER, "state", 0, state) for state in changes]


def _list_claims(vehicle: Vehicle, user: User, history: VehicleHistory, changes: Sequence[CoverOnDay]) -> list[Entry]:
    rows = list_claims_for(user).filter(cover__vehicle=vehicle)
    return [Entry(day, EntryKind.CLAIM, "claim", key) for key, day in rows.values_list("pk", "reported_on")]


def _list_messages(vehicle: Vehicle, user: User, history: VehicleHistory, changes: Sequence[CoverOnDay]) -> list[Entry]:
    rows = Message.objects.filter(cover__vehicle=vehicle).values_list("pk", "created_at")
    return [Entry(moment.date(), EntryKind.MESSAGE, "message", key) for key, moment in rows]


def _list_owners(vehicle: Vehicle, user: User, history: VehicleHistory, changes: Sequence[CoverOnDay]) -> list[Entry]:
    rows = Ownership.objects.filter(vehicle=vehicle)
    return [Entry(day, EntryKind.OWNER, "ownership", key) for key, day in rows.values_list("pk", "from_day")]


def _list_readings(vehicle: Vehicle, user: User, history: VehicleHistory, changes: Sequence[CoverOnDay]) -> list[Entry]:
    flagged = {
        backwards.reading: backwards.sentence
        for backwards in flag_backwards([recorded.reading for recorded in history.readings])
    }
    return [
        Entry(
            recorded.reading.day, EntryKind.READING, "reading", _find_key(recorded), recorded.reading,
            flagged.get(recorded.reading, ""),
        )
        for recorded in history.readings
    ]  # fmt: skip


def _find_key(recorded: RecordedReading) -> int:
    return int(recorded.reading.record.rpartition(" ")[2])


Lister = Callable[[Vehicle, User, VehicleHistory, Sequence[CoverOnDay]], list[Entry]]
# Where a further kind of record joins the timeline: a kind above, its days here, its records in _READ_BY.
_LISTED: dict[EntryKind, Lister] = {
    EntryKind.WORK: _list_work,
    EntryKind.INSPECTION: _list_inspections,
    EntryKind.VISIT: _list_visits,
    EntryKind.COVER: _list_cover,
    EntryKind.CLAIM: _list_claims,
    EntryKind.MESSAGE: _list_messages,
    EntryKind.OWNER: _list_owners,
    EntryKind.READING: _list_readings,
}


def _read_records(user: User) -> dict[str, QuerySet[Any]]:
    return {
        "treatment": Treatment.objects.select_related(
            "site", "applicator", "reading", "amended_by", "amends"
        ).prefetch_related("lines__zone", "lines__product", "lines__lot"),
        "inspection": Inspection.objects.select_related("site", "inspector").prefetch_related(
            "lines__zone", "lines__photos"
        ),
        "visit": list_visits_for(user),
        "change": CoverChange.objects.select_related("cover", "actor", "to_version__terms"),
        "claim": list_claims_for(user),
        "message": Message.objects.all(),
        "ownership": Ownership.objects.select_related("customer"),
    }


def _fill(entries: Sequence[Entry], user: User, history: VehicleHistory) -> list[Entry]:
    """Return the entries with their records; one query for each form of record on the page."""
    keys: dict[str, set[int]] = defaultdict(set)
    for entry in entries:
        keys[entry.form].add(entry.key)
    found = {form: rows.in_bulk(keys[form]) for form, rows in _read_records(user).items() if keys[form]}
    plain = {
        (treatment.record, line.zone, line.product, line.lot): line
        for treatment in history.treatments
        for line in treatment.lines
    }
    filled = []
    for entry in entries:
        record, more = entry.record, entry.more
        if record is None:
            record = found[entry.form][entry.key]
        if entry.form == "treatment":
            more = [_view_line(line, plain) for line in record.lines.all()]
        elif entry.form == "inspection":
            more = [
                (line, grade_rust(line.rusted_area_percent) if line.rusted_area_percent is not None else None)
                for line in record.lines.all()
            ]
        elif entry.form == "ownership" and user.role == Role.DEALERSHIP:
            record.customer.contact = ""
        elif entry.form == "visit":
            more = zoneinfo.ZoneInfo(record.site.time_zone)
        filled.append(Entry(entry.day, entry.kind, entry.form, entry.key, record, more))
    return filled


def _view_line(line: TreatmentLine, plain: dict[tuple[str, str, str | None, str | None], ZoneLine]) -> LineView:
    lot = line.lot.number if line.lot else None
    product = line.product.name if line.product else None
    return LineView(line, tell_material(plain.get((f"treatment {line.treatment_id}", line.zone.code, product, lot))))


def tell_material(line: ZoneLine | None) -> str:
    """Return how the film of a coated zone compares with its target, '' for one that was not coated."""
    if line is None or not line.applied:
        return ""
    if line.area_m2 is None or line.target_dry_film_um is None or line.volume_solids_percent is None:
        return "cannot be told: the body style is not recorded"
    need = MaterialNeed(
        line.zone, line.area_m2, line.target_dry_film_um, line.volume_solids_percent, line.loss_fraction
    )
    assert line.quantity_ml is not None
    finding = compare_zone(need, line.quantity_ml)
    return f"{finding.verdict}, about {finding.estimated_dry_film_um:.0f} µm dry"
