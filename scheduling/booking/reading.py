"""Reads what booking needs: the hours, bays and people of sites with what is taken, and what is due. Reads what
booking must know of one vehicle: its owner, its size, its visits and what they serve. Finds one visit by its number
with what it names, and the cover that it was booked for.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db.models import BigIntegerField, F, QuerySet, Value
from django.db.models.functions import Cast

from scheduling.bays.queries import OpenSite, read_open_sites
from scheduling.booking.rules.opening import Span
from scheduling.booking.rules.slots import DueDates, PersonTimes, SiteTimes
from scheduling.covers.queries import CoverCase, list_covers_and_changes, read_short_case
from scheduling.covers.rules.due_item import DueItem, DueKind
from scheduling.enums import GIVES_ITS_PLACE_UP, Skill, VisitKind
from scheduling.models import (
    Absence,
    Appointment,
    AppointmentItem,
    AppointmentStatus,
    Bay,
    BayClosure,
    Cover,
    VehicleSize,
)
from treatments.models import Customer, Site, User, Vehicle
from treatments.queries import find_owner
from treatments.rules.site_days import MIDNIGHT, find_moment
from treatments.rules.site_settings import find_zone


def read_site_times(
    sites: Iterable[Site], first: date, last: date, *, leave_out: Appointment | None = None
) -> list[SiteTimes]:
    """Return each site with what is taken from ``first`` to ``last``, in a constant number of queries.

    Args:
        leave_out: an appointment that is to be moved and so is not in its own way.
    """
    wanted = {site.pk: site for site in sites}
    opened = read_open_sites(
        frozenset((site.pk, site.country, site.subdivision, site.time_zone) for site in wanted.values()), first, last
    )
    start = find_moment(first - timedelta(days=1), MIDNIGHT, UTC)
    end = find_moment(last + timedelta(days=2), MIDNIGHT, UTC)
    bay_taken: dict[int, list[Span]] = defaultdict(list)
    person_taken: dict[int, list[Span]] = defaultdict(list)
    taken = _list_taken(list(wanted), start, end, leave_out)
    for bay, person, starts_at, work_ends_at, bay_free_at in taken:
        if bay is not None:
            bay_taken[bay].append(Span(starts_at, bay_free_at))
        if person is not None and work_ends_at > starts_at:
            person_taken[person].append(Span(starts_at, work_ends_at))
    found = []
    for key, site in wanted.items():
        open_site = opened[key]
        found.append(
            SiteTimes(
                key,
                site.name,
                find_zone(site.time_zone),
                open_site.open_spans,
                tuple(replace(bay, taken=tuple(sorted(bay_taken[bay.key]))) for bay in open_site.bays),
                _describe_people(open_site, person_taken),
            )
        )
    return found


def _list_taken(
    sites: list[int], since: datetime, until: datetime, leave_out: Appointment | None
) -> "QuerySet[Any, Any]":
    """Return bay, person, and from when until when each is taken: by visits, by closures of bays, by absences."""
    held = list_holding_visits(leave_out=leave_out)
    visits = held.filter(site__in=sites, starts_at__lt=until, ready_at__gt=since)
    closures = BayClosure.objects.filter(bay__site__in=sites, bay__in_use=True, starts_at__lt=until, ends_at__gt=since)
    absences = Absence.objects.filter(person__site__in=sites, starts_at__lt=until, ends_at__gt=since)
    nobody = Cast(Value(None), BigIntegerField())
    return visits.order_by().values_list(
        "bay_id", "person_id", "starts_at", "work_ends_at", "bay_free_at"
    ).union(
        closures.order_by().values_list("bay_id", nobody, "starts_at", "ends_at", F("ends_at")),
        absences.order_by().values_list(nobody, "person_id", "starts_at", "ends_at", F("ends_at")),
        all=True,
    )  # fmt: skip


def list_holding_visits(*, leave_out: Appointment | None = None) -> QuerySet[Appointment]:
    """Return the visits that hold their places: neither cancelled nor without their vehicle."""
    held = Appointment.objects.exclude(status__in=GIVES_ITS_PLACE_UP)
    return held if leave_out is None else held.exclude(pk=leave_out.pk)


def find_place(bay: int, person: int | None) -> tuple[Bay, User | None]:
    """Return the bay and the person that a slot or a plan names by their keys.

    Raises:
        Bay.DoesNotExist, User.DoesNotExist: where one of them is gone.
    """
    found = Bay.objects.select_related("site").get(pk=bay)
    return found, User.objects.get(pk=person) if person is not None else None


def _describe_people(open_site: OpenSite, taken: dict[int, list[Span]]) -> tuple[PersonTimes, ...]:
    if not open_site.workers:
        # A shop that has written nobody's skills down is booked by its bays alone.
        return (PersonTimes(None, "", frozenset(Skill), open_site.open_spans),)
    return tuple(
        PersonTimes(worker.key, worker.name, worker.skills, worked, tuple(sorted(taken[worker.key])))
        for worker, worked in open_site.workers
    )


@dataclass(frozen=True, slots=True)
class WhatIsDue:
    """All that is due for a vehicle, what kind of visit serves it, and how many zones are to be recoated."""

    items: tuple[DueDates, ...]
    visit: VisitKind
    zones: int

    def served_by(self, visit: VisitKind) -> tuple[DueDates, ...]:
        """Return what a visit of this kind serves; a look at rust renews no film, however much of it is due."""
        return tuple(item for item in self.items if item.kind in SERVED_BY[visit])


# What each kind of visit does for a cover. The vehicle is looked over whenever its film is renewed.
SERVED_BY: dict[VisitKind, frozenset[DueKind]] = {
    VisitKind.FIRST_TREATMENT: frozenset(DueKind),
    VisitKind.ANNUAL_TOUCH_UP: frozenset(DueKind),
    VisitKind.REINSPECTION: frozenset({DueKind.REINSPECTION}),
    VisitKind.AFTER_REPAIR: frozenset(),
    VisitKind.LOOK_AT_RUST: frozenset(),
}
# What opens this soon is served by the same visit.
LOOKED_AHEAD_DAYS = 120


def read_what_is_due(case: CoverCase, today: date) -> WhatIsDue:
    """Return what a visit to this vehicle is to serve, from the records themselves."""
    return sum_up_due(case, choose_near(case.list_what_needs_doing(today), today))


def choose_near(items: Sequence[DueItem], today: date) -> list[DueItem]:
    """Return those of some items that open soon, or the first of them."""
    horizon = today + timedelta(days=LOOKED_AHEAD_DAYS)
    return [item for item in items if item.dates.opens_on <= horizon] or list(items[:1])


def sum_up_due(case: CoverCase, near: Sequence[DueItem]) -> WhatIsDue:
    """Return what a visit is to serve where these things are near."""
    zones = {zone for item in near if item.kind is DueKind.TOUCH_UP for zone in item.zones}
    if case.history.find_first_treatment() is None:
        visit = VisitKind.FIRST_TREATMENT
    else:
        visit = VisitKind.ANNUAL_TOUCH_UP if zones or not near else VisitKind.REINSPECTION
    return WhatIsDue(tuple(describe_due(item) for item in near), visit, len(zones))


NOTHING_DUE = WhatIsDue((), VisitKind.FIRST_TREATMENT, 0)


def read_what_is_due_for(cover: Cover | None, today: date) -> WhatIsDue:
    """Return what a visit is to serve for a cover; nothing where a vehicle has none."""
    return read_what_is_due(read_short_case(cover), today) if cover is not None else NOTHING_DUE


def describe_due(item: DueItem) -> DueDates:
    """Return the dates of a due item as the rules of booking read them."""
    dates = item.dates
    return DueDates(item.key, item.kind, dates.opens_on, dates.target_on, dates.last_on, dates.grace_until)


OPEN = (AppointmentStatus.BOOKED, AppointmentStatus.IN_THE_BAY)


@dataclass(frozen=True, slots=True)
class KnownVehicle:
    """What is on record of a vehicle where it is to be booked.

    Attributes:
        owner: who owns it now.
        size: as it was measured.
        visits: all that were not given up, by when they begin.
        served: cover and due item of each thing that a visit serves, by the visit's key.
    """

    owner: Customer | None
    size: VehicleSize | None
    visits: tuple[Appointment, ...]
    served: Mapping[int, Sequence[tuple[int, str]]]

    def list_stays(self, *, leave_out: Appointment | None = None) -> tuple[Span, ...]:
        """Return when the vehicle is with the shop, but for one visit."""
        left_out = leave_out.pk if leave_out is not None else None
        return tuple(Span(visit.starts_at, visit.ready_at) for visit in self.visits if visit.pk != left_out)

    def list_coming(self, start: datetime) -> list[Appointment]:
        """Return the visits from a moment on that stand and are not over."""
        return [visit for visit in self.visits if visit.status in OPEN and visit.starts_at >= start]

    def list_served_of(self, cover: Cover) -> set[str]:
        """Return the due items of a cover that some visit serves."""
        return {key for served in self.served.values() for of_cover, key in served if of_cover == cover.pk}

    def list_served_by(self, visit: Appointment) -> set[str]:
        """Return the due items that one visit serves."""
        return {key for _cover, key in self.served.get(visit.pk, ())}


def read_known_vehicle(vehicle: Vehicle) -> KnownVehicle:
    """Return what is on record of a vehicle where it is to be booked."""
    held = list_holding_visits().filter(vehicle=vehicle).select_related("site", "bay", "person")
    visits = tuple(held.order_by("starts_at", "pk"))
    served: dict[int, list[tuple[int, str]]] = defaultdict(list)
    for item in AppointmentItem.objects.filter(appointment__in=visits, serves=True).order_by("pk"):
        served[item.appointment_id].append((item.cover_id, item.due_key))
    for visit in visits:
        visit.vehicle = vehicle
    return KnownVehicle(find_owner(vehicle), VehicleSize.objects.filter(vehicle=vehicle).first(), visits, served)


def find_visit(number: str) -> Appointment | None:
    """Return the visit of this number with site, bay, person, vehicle, customer and the visit that it splits."""
    named = ("site", "bay", "person", "vehicle", "customer", "splits")
    return Appointment.objects.select_related(*named).filter(number=number).first()


def read_cover_of(visit: Appointment, today: date) -> tuple[Cover | None, WhatIsDue]:
    """Return the cover that a visit was booked for, with its site and terms, and what is due for it."""
    for cover, changes in list_covers_and_changes(visit.vehicle):
        if cover.pk == visit.cover_id:
            return cover, read_what_is_due(read_short_case(cover, changes), today)
    return None, NOTHING_DUE
