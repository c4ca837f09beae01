"""Reads of the scheduling app: a cover's state on any day, its due items, and the due list. Reads when vehicles stood
at the shop for booked visits; a claim asks whether the shop had the chance to coat.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import QuerySet

from scheduling.bays.queries import choose_terms, read_calendars, read_terms_of
from scheduling.covers.changes import describe_facts, list_versions
from scheduling.covers.rules import due as due_rules
from scheduling.covers.rules.cover import (
    NO_MORE_COVER,
    Assessment,
    CoverOnDay,
    TermsByDay,
    assess_cover,
    cover_on,
    find_terms_on,
    list_cover_changes,
)
from scheduling.covers.rules.dates import WorkingCalendar, make_table
from scheduling.covers.rules.ends import foresee_distance
from scheduling.covers.rules.facts import CoverFacts, list_unanswered
from scheduling.enums import AppointmentStatus
from scheduling.models import (
    Appointment,
    Cover,
    CoverChange,
)
from scheduling.terms.rules.terms import Terms
from scheduling.visibility import limit_to_own
from treatments.enums import CorrosivityCategory, InspectionKind
from treatments.models import Inspection, User, Vehicle
from treatments.queries import find_today
from treatments.records.histories import describe_inspection, read_histories
from treatments.records.rules.history import StayRecord, VehicleHistory
from treatments.records.short_histories import read_short_histories
from treatments.reference.queries import map_sites
from treatments.rules.explanation import Explanation
from treatments.shared.faults import log_fault, work_apart


def read_stays(vehicles: Iterable[int]) -> dict[int, tuple[StayRecord, ...]]:
    """Return the finished visits of each vehicle by its primary key, in one query; a vehicle without any is left out.

    A visit changes no more once it is finished, so its last change is when that was written down.
    """
    finished = Appointment.objects.filter(vehicle__in=set(vehicles), status=AppointmentStatus.DONE)
    rows = finished.order_by("starts_at", "pk").values_list(
        "vehicle_id", "pk", "site_id", "starts_at", "work_ends_at", "changed_at"
    )
    sites = map_sites()
    found: dict[int, list[StayRecord]] = defaultdict(list)
    for vehicle, key, site, starts_at, work_ends_at, changed_at in rows:
        first, last = find_today(starts_at, sites[site]), find_today(work_ends_at, sites[site])
        found[vehicle].append(StayRecord(f"visit {key}", first, last, changed_at))
    return {vehicle: tuple(stays) for vehicle, stays in found.items()}


COVERS_AT_ONCE = 2_000
"""SQLite as it comes takes 32,766 values in one query; that of short histories names each vehicle seven times."""


@dataclass(frozen=True, slots=True)
class CoverCase:
    """Everything that the rules need to speak about one cover."""

    cover: Cover
    terms_by_day: TermsByDay
    facts: CoverFacts
    history: VehicleHistory
    calendar: WorkingCalendar

    def find_terms(self, day: date) -> Terms:
        """Return the version of terms that the cover was under on ``day``."""
        return find_terms_on(self.terms_by_day, day)

    def read_state(self, day: date) -> CoverOnDay:
        return cover_on(self.find_terms(day), self.facts, self.history, self.calendar, day)

    def assess(self, day: date) -> Assessment:
        """Return the state on a day with all duties, by one walk over the records."""
        return assess_cover(make_table(self.find_terms(day), self.calendar), self.facts, self.history, day)

    def read_due_items(self, as_of: date) -> tuple[due_rules.DueItem, ...]:
        return due_rules.compute_due_items(self.find_terms(as_of), self.facts, self.history, self.calendar, as_of)

    def list_what_needs_doing(self, day: date, *, opens_by: date = date.max) -> list[due_rules.DueItem]:
        """Return the due items for which somebody must still come, but for those that open later than ``opens_by``."""
        terms, facts, history, calendar = self.find_terms(day), self.facts, self.history, self.calendar
        return list(due_rules.compute_what_needs_doing(terms, facts, history, calendar, day, opens_by=opens_by))

    def list_open_items(self, day: date) -> list[due_rules.DueItem]:
        """Return what is to be done and whose window is open on a day."""
        return self.list_what_needs_doing(day, opens_by=day)

    def list_open_kinds(self, day: date) -> list[tuple[due_rules.DueKind, int]]:
        """Return kind and number of zones of each of ``list_open_items``, which takes no sentences."""
        return due_rules.list_open_kinds(self.find_terms(day), self.facts, self.history, self.calendar, day)

    def foresee_distance(self, day: date) -> tuple[Explanation, ...]:
        """Return when the distance limit will be reached, as a projection, nothing where none is in sight."""
        return foresee_distance(self.find_terms(day), self.history.until(day))

    def read_changes(self, first: date, last: date) -> tuple[CoverOnDay, ...]:
        return list_cover_changes(self.terms_by_day, self.facts, self.history, self.calendar, first, last)


def read_cover_cases(covers: Iterable[Cover], *, known_at: datetime | None = None) -> list[CoverCase]:
    """Return the case of each cover, in a constant number of queries.

    Args:
        covers: covers with ``vehicle`` and ``site`` loaded.
        known_at: leave out what was written down after this moment.
    """
    wanted = list(covers)
    histories = read_histories(cover.vehicle for cover in wanted)
    for vehicle, stays in read_stays(histories).items():
        histories[vehicle] = replace(histories[vehicle], stays=stays)
    return _make_cases(wanted, histories, known_at)


def read_short_cases(covers: Iterable[Cover]) -> list[CoverCase]:
    """Return the case of each cover with a short history, in half the time: what its state and due items rest on.

    Args:
        covers: covers with ``site`` loaded.
    """
    wanted = list(covers)
    return _make_cases(wanted, read_short_histories(cover.vehicle_id for cover in wanted), None)


def read_cases_apart(
    covers: Iterable[Cover], read: Callable[[Sequence[Cover]], list[CoverCase]] = read_short_cases
) -> tuple[list[CoverCase], dict[int, tuple[Explanation, ...]]]:
    """Return the case of each cover, and by key why others have none; see ``read_short_cases``."""
    faults: dict[int, tuple[Explanation, ...]] = {}
    found: list[CoverCase] = []
    wanted = list(covers)
    for first in range(0, len(wanted), COVERS_AT_ONCE):
        done = work_apart(
            wanted[first : first + COVERS_AT_ONCE],
            read,
            name=lambda cover: f"Cover {cover.number}",
            tell=lambda cover, why: faults.__setitem__(cover.pk, why),
            writes=False,
        )
        found += [case for cases in done for case in cases]
    return found, faults


def list_open_kinds(covers: Iterable[Cover], day: date) -> dict[int, list[tuple[due_rules.DueKind, int]]]:
    """Return kind and number of zones of each thing to be done for a cover whose window is open, by target day.

    Nothing is told of a cover that can't be computed.

    Args:
        covers: covers with ``site`` loaded.
        day: today at the shop.
    """
    wanted = list(covers)
    found: dict[int, list[tuple[due_rules.DueKind, int]]] = {cover.pk: [] for cover in wanted}
    for case in read_cases_apart(wanted)[0]:
        try:
            found[case.cover.pk] = case.list_open_kinds(day)
        except Exception as error:
            log_fault(error, f"Cover {case.cover.number}")
    return found


def read_short_case(cover: Cover, changes: list[CoverChange] | None = None) -> CoverCase:
    """Return the case of one cover with a short history; see ``read_short_cases``.

    Args:
        changes: those of the cover, by day, where ``list_covers_and_changes`` has just read them.
    """
    histories = read_short_histories([cover.vehicle_id])
    return _make_cases([cover], histories, None, None if changes is None else {cover.pk: changes})[0]


def _make_cases(
    wanted: list[Cover],
    histories: Mapping[int, VehicleHistory],
    known_at: datetime | None,
    changes: Mapping[int, list[CoverChange]] | None = None,
) -> list[CoverCase]:
    calendars = read_calendars([cover.site for cover in wanted])
    if changes is None:
        changes = _read_changes(wanted)
    versions: set[int] = {cover.terms_version_id for cover in wanted}
    for listed in changes.values():
        versions |= {key for change in listed for key in (change.from_version_id, change.to_version_id) if key}
    terms = read_terms_of(frozenset(versions))
    cases = []
    for cover in wanted:
        history = histories[cover.vehicle_id]
        if known_at:
            history = history.known_at(known_at)
        cases.append(
            CoverCase(
                cover=cover,
                terms_by_day=tuple(
                    (from_day, choose_terms(terms, version))
                    for from_day, version in list_versions(cover.terms_version_id, changes[cover.pk], known_at)
                ),
                facts=describe_facts(
                    cover.number,
                    cover.sold_on,
                    cover.registered_on,
                    CorrosivityCategory(cover.site.corrosivity),
                    changes[cover.pk],
                    known_at,
                    history.places,
                ),
                history=history,
                calendar=calendars[cover.site_id],
            )
        )
    return cases


def _read_changes(covers: list[Cover]) -> dict[int, list[CoverChange]]:
    changes: dict[int, list[CoverChange]] = defaultdict(list)
    for change in CoverChange.objects.filter(cover__in=covers).order_by("day", "id"):
        changes[change.cover_id].append(change)
    return changes


def read_cover_case(cover: Cover, *, known_at: datetime | None = None) -> CoverCase:
    """Return the case of one cover."""
    return read_cover_cases([cover], known_at=known_at)[0]


def make_cover_case(cover: Cover, history: VehicleHistory, *, known_at: datetime | None = None) -> CoverCase:
    """Return the case of one cover of a vehicle whose whole history was read already."""
    return make_cover_cases([cover], history, known_at=known_at)[0]


def make_cover_cases(
    covers: Sequence[Cover], history: VehicleHistory, *, known_at: datetime | None = None
) -> list[CoverCase]:
    """Return the case of each cover of one vehicle whose whole history was read already."""
    return _make_cases(list(covers), {cover.vehicle_id: history for cover in covers}, known_at)


def is_over(cover: Cover, day: date) -> bool:
    """Say whether a cover is over on a day for certain: by a person or its own terms, and not by a projection alone."""
    state = read_short_case(cover).read_state(day)
    return state.status in NO_MORE_COVER and not state.projected


# What pages and rules want to know of a cover besides its vehicle.
NAMED = ("site", "terms_version__terms", "dealership")


def list_covers_of(vehicle: Vehicle) -> list[Cover]:
    """Return all covers of a vehicle, the newest first, with their site, terms and dealership."""
    return list(vehicle.covers.select_related(*NAMED).order_by("-pk"))


def list_covers_and_changes(vehicle: Vehicle) -> list[tuple[Cover, list[CoverChange]]]:
    """Return all covers of a vehicle as ``list_covers_of`` does, each with its changes by day."""
    covers = list_covers_of(vehicle)
    changes = _read_changes(covers)
    return [(cover, changes[cover.pk]) for cover in covers]


def find_vehicle_and_covers(vin: str) -> tuple[Vehicle, list[Cover]] | None:
    """Return the vehicle of this VIN with all its covers as ``list_covers_of`` does, None where there is none."""
    vehicle = Vehicle.objects.filter(vin=vin).first()
    return (vehicle, list_covers_of(vehicle)) if vehicle else None


def find_covers(user: User, numbers: Sequence[str]) -> list[Cover]:
    """Return those of some covers that a person may see, the most pressing first, with vehicle, site and terms."""
    # No number holds the sign that no database takes in a text.
    asked = [number for number in numbers if "\x00" not in number]
    return list(list_covers_for(user).filter(number__in=asked).order_by("last_state__due_grace_until", "pk"))


def find_cover(number: str) -> Cover | None:
    """Return the cover of this number with its vehicle, site, terms and dealership, None where there is none."""
    return Cover.objects.select_related("vehicle", *NAMED).filter(number=number).first()


def list_covers_for(user: User) -> QuerySet[Cover]:
    """Return the covers that a person may see, with their vehicle and what ``NAMED`` names."""
    return limit_to_own(user, Cover.objects.select_related("vehicle", *NAMED))


def list_unanswered_zones(inspection: Inspection) -> tuple[str, ...]:
    """Return the zones that an inspection, signed off or not, leaves without an answer, by the vehicle's newest cover.

    They are told of a reinspection only, and only where the vehicle has a cover that asks for one.
    """
    cover = (
        Cover.objects.filter(vehicle=inspection.vehicle_id).select_related("vehicle", "site").order_by("-pk").first()
    )
    if cover is None or inspection.kind != InspectionKind.REINSPECTION:
        return ()
    case = read_cover_case(cover)
    terms = case.find_terms(inspection.done_on)
    return list_unanswered(terms, case.history, describe_inspection(inspection)) if terms.reinspection else ()
