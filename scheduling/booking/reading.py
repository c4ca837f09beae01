"""Reads what booking needs: the hours, bays and people of sites with what is taken, and what is due.

Everything is read for a range of days in a constant number of queries and handed to the rules as plain values.
"""

import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from django.db.models import QuerySet

from scheduling.models import (
    Absence,
    Appointment,
    Bay,
    BayClosure,
    Cover,
    PersonHours,
    SiteHours,
)
from scheduling.queries import CoverCase, read_calendars, read_cover_case
from scheduling.rules.booking_words import GIVES_ITS_PLACE_UP, BayKind, Skill, VisitKind
from scheduling.rules.due_item import DueItem, DueKind
from scheduling.rules.opening import Span, list_open_spans, list_worked_spans
from scheduling.rules.slots import BayTimes, DueDates, PersonTimes, SiteTimes
from treatments.models import Site, User

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
    stays = list_holding_visits(leave_out=leave_out).filter(site__in=wanted, starts_at__lt=end, ready_at__gt=start)
    for stay in stays.only("bay_id", "person_id", "starts_at", "work_ends_at", "bay_free_at"):
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
    return sum_up_due(case, list_near_items(case, today))


def list_near_items(case: CoverCase, today: date) -> list[DueItem]:
    """Return what must be done and opens soon, or the next thing that must be."""
    return choose_near([item for item in case.read_due_items(today) if item.needs_doing], today)


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
    return read_what_is_due(read_cover_case(cover), today) if cover is not None else NOTHING_DUE


def describe_due(item: DueItem) -> DueDates:
    """Return the dates of a due item as the rules of booking read them."""
    dates = item.dates
    return DueDates(item.key, item.kind, dates.opens_on, dates.target_on, dates.last_on, dates.grace_until)
