"""Reads what booking needs: the hours, bays and people of sites with what is taken, and what a visit takes.

Everything is read for a range of days in a constant number of queries and handed to the rules as plain values.
"""

import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from django.core.exceptions import ValidationError

from scheduling.models import (
    Absence,
    Appointment,
    AppointmentItem,
    Bay,
    BayClosure,
    BodyStyleSize,
    Cover,
    PersonHours,
    SiteHours,
    VehicleSize,
    WorkDuration,
)
from scheduling.queries import CoverCase, read_calendars
from scheduling.rules.booking_words import GIVES_ITS_PLACE_UP, BayKind, Skill, VisitKind
from scheduling.rules.due_item import DueItem, DueKind
from scheduling.rules.opening import Span, list_open_spans, list_worked_spans
from scheduling.rules.slots import BayTimes, DueDates, PersonTimes, SiteTimes, VisitWork
from treatments.models import Site, User, Vehicle

# A vehicle that stands over a long weekend is handed over on the first open day after it.
DAYS_TO_HAND_OVER = 14


def read_site_times(
    sites: Iterable[Site], first: date, last: date, *, leave_out: Appointment | None = None
) -> list[SiteTimes]:
    """Return each site with what is taken from ``first`` to ``last``, in a constant number of queries.

    Args:
        leave_out: an appointment that is to be moved and so is not in its own way.
    """
    wanted = {site.pk: site for site in sites}
    calendars = read_calendars(wanted.values())
    hours: dict[int, dict[int, list[tuple[time, time]]]] = defaultdict(lambda: defaultdict(list))
    for row in SiteHours.objects.filter(site__in=wanted):
        hours[row.site_id][row.weekday].append((row.opens_at, row.closes_at))
    start = datetime.combine(first - timedelta(days=1), time(), UTC)
    end = datetime.combine(last + timedelta(days=2), time(), UTC)
    bays = list(Bay.objects.filter(site__in=wanted, in_use=True).order_by("site_id", "code"))
    people = list(
        User.objects.filter(site__in=wanted, is_active=True, skills__isnull=False)
        .distinct()
        .prefetch_related("skills")
        .order_by("pk")
    )
    bay_taken: dict[int, list[Span]] = defaultdict(list)
    person_taken: dict[int, list[Span]] = defaultdict(list)
    for stay in _list_stays(wanted, start, end, leave_out):
        bay_taken[stay.bay_id].append(Span(stay.starts_at, stay.bay_free_at))
        if stay.person_id is not None and stay.work_ends_at > stay.starts_at:
            person_taken[stay.person_id].append(Span(stay.starts_at, stay.work_ends_at))
    for closure in BayClosure.objects.filter(bay__in=bays, starts_at__lt=end, ends_at__gt=start):
        bay_taken[closure.bay_id].append(Span(closure.starts_at, closure.ends_at))
    for absence in Absence.objects.filter(person__in=people, starts_at__lt=end, ends_at__gt=start):
        person_taken[absence.person_id].append(Span(absence.starts_at, absence.ends_at))
    own_hours: dict[int, dict[int, list[tuple[time, time]]]] = defaultdict(lambda: defaultdict(list))
    for own in PersonHours.objects.filter(person__in=people):
        own_hours[own.person_id][own.weekday].append((own.starts_at, own.ends_at))
    found = []
    for key, site in wanted.items():
        zone = zoneinfo.ZoneInfo(site.time_zone)
        open_spans = list_open_spans(hours[key], calendars[key], zone, first, last + timedelta(days=DAYS_TO_HAND_OVER))
        found.append(
            SiteTimes(
                key,
                site.name,
                zone,
                open_spans,
                tuple(_describe_bay(bay, bay_taken[bay.pk]) for bay in bays if bay.site_id == key),
                _describe_people(
                    [person for person in people if person.site_id == key], own_hours, person_taken, zone, open_spans
                ),
            )
        )
    return found


def _list_stays(
    sites: Iterable[int], start: datetime, end: datetime, leave_out: Appointment | None
) -> Iterable[Appointment]:
    stays = Appointment.objects.filter(site__in=list(sites), starts_at__lt=end, ready_at__gt=start).exclude(
        status__in=GIVES_ITS_PLACE_UP
    )
    if leave_out is not None:
        stays = stays.exclude(pk=leave_out.pk)
    return stays.only("bay_id", "person_id", "starts_at", "work_ends_at", "bay_free_at")


def _describe_bay(bay: Bay, taken: list[Span]) -> BayTimes:
    return BayTimes(bay.pk, bay.name, BayKind(bay.kind), bay.most_height_mm, bay.most_mass_kg, tuple(sorted(taken)))


def _describe_people(
    people: Sequence[User],
    own_hours: dict[int, dict[int, list[tuple[time, time]]]],
    taken: dict[int, list[Span]],
    zone: zoneinfo.ZoneInfo,
    open_spans: dict[date, tuple[Span, ...]],
) -> tuple[PersonTimes, ...]:
    if not people:
        # A shop that has written nobody's skills down is booked by its bays alone.
        return (PersonTimes(None, "", frozenset(Skill), open_spans),)
    return tuple(
        PersonTimes(
            person.pk,
            person.get_full_name() or person.username,
            frozenset(Skill(row.skill) for row in person.skills.all()),
            list_worked_spans(own_hours[person.pk], zone, open_spans),
            tuple(sorted(taken[person.pk])),
        )
        for person in people
    )


def choose_duration(rows: Iterable[WorkDuration], visit: VisitKind, site: int, body_style: str) -> WorkDuration | None:
    """Return the row that says most about a visit of this kind, body style and site, or None where none does."""
    fitting = [
        row for row in rows if row.visit == visit and row.body_style in ("", body_style) and row.site_id in (None, site)
    ]
    return max(fitting, key=lambda row: (row.body_style != "", row.site_id is not None), default=None)


def list_bookable_people(site: Site) -> list[User]:
    """Return the people of a site who may be booked for anything."""
    return list(User.objects.filter(site=site, is_active=True, skills__isnull=False).distinct().order_by("pk"))


def read_visit_work(
    *, vehicle: Vehicle, site: Site, visit: VisitKind, zones: int = 0, leave_out: Appointment | None = None
) -> VisitWork:
    """Return what a visit of a vehicle takes at a site.

    Args:
        zones: how many zones are due to be recoated.
        leave_out: an appointment of the vehicle that is to be moved.

    Raises:
        ValidationError: where no duration for such a visit is on record.
    """
    rows = WorkDuration.objects.filter(visit=visit, body_style__in=["", vehicle.body_style])
    row = choose_duration(rows, visit, site.pk, vehicle.body_style)
    if row is None:
        raise ValidationError(
            {
                "visit": f"How long a visit of kind '{visit}' takes is not on record: write it down under work "
                "durations, or load the usual ones with 'manage.py load_durations'."
            }
        )
    size = VehicleSize.objects.filter(vehicle=vehicle).first()
    usual = BodyStyleSize.objects.filter(body_style=vehicle.body_style).first() if vehicle.body_style else None
    stays = Appointment.objects.filter(vehicle=vehicle).exclude(status__in=GIVES_ITS_PLACE_UP)
    if leave_out is not None:
        stays = stays.exclude(pk=leave_out.pk)
    return VisitWork(
        bay_kind=BayKind(row.bay_kind),
        skill=Skill(row.skill),
        work_minutes=row.wash_and_dry_minutes + row.work_minutes + row.minutes_per_zone * zones,
        standing_minutes=row.standing_minutes,
        stands_in_bay=row.stands_in_bay,
        height_mm=(size and size.height_mm) or (usual.height_mm if usual else None),
        mass_kg=(size and size.mass_kg) or (usual.mass_kg if usual else None),
        vehicle_taken=tuple(Span(start, end) for start, end in stays.values_list("starts_at", "ready_at")),
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
    horizon = today + timedelta(days=LOOKED_AHEAD_DAYS)
    items = [item for item in case.read_due_items(today) if item.needs_doing]
    near = [item for item in items if item.dates.opens_on <= horizon] or items[:1]
    zones = {zone for item in near if item.kind is DueKind.TOUCH_UP for zone in item.zones}
    if case.history.find_first_treatment() is None:
        visit = VisitKind.FIRST_TREATMENT
    else:
        visit = VisitKind.ANNUAL_TOUCH_UP if zones or not near else VisitKind.REINSPECTION
    return WhatIsDue(tuple(describe_due(item) for item in near), visit, len(zones))


def describe_due(item: DueItem) -> DueDates:
    """Return the dates of a due item as the rules of booking read them."""
    dates = item.dates
    return DueDates(item.key, item.kind, dates.opens_on, dates.target_on, dates.last_on, dates.grace_until)


def find_open_appointment(cover: Cover) -> Appointment | None:
    """Return the next appointment that serves something due on a cover."""
    served = AppointmentItem.objects.filter(cover=cover, serves=True).order_by("appointment__starts_at")
    item = served.select_related("appointment__bay", "appointment__site", "appointment__person").first()
    return item.appointment if item else None
