"""Reads the week of a site's bays as people look at it: hours, visits, closures, absences, and what needs a hand.

Everything is read in a constant number of queries, however many bays and visits there are.
"""

import zoneinfo
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from scheduling.bays.queries import list_bays, map_site_hours, read_calendars
from scheduling.booking.rules.opening import USUAL_HOURS, Span, list_open_spans
from scheduling.enums import GIVES_ITS_PLACE_UP
from scheduling.models import Absence, Appointment, AppointmentStatus, Bay, BayClosure
from treatments.models import Site
from treatments.rules.explanation import Explanation, explain
from treatments.rules.site_days import MIDNIGHT, find_day, find_moment
from treatments.rules.site_settings import find_zone

DAYS_OF_A_WEEK = 7
NO_HOURS = explain("calendar.no_hours")
# Beyond that many a list says enough by its number.
MOST_LISTED = 20


@dataclass(frozen=True, slots=True)
class BayDay:
    """One bay on one day."""

    bay: Bay
    visits: tuple[Appointment, ...]
    closures: tuple[BayClosure, ...]


@dataclass(frozen=True, slots=True)
class BaysOfADay:
    """One day of a site: when it is open, why it is not, who is away, and its bays."""

    day: date
    open_spans: tuple[Span, ...]
    closed_because: Explanation | None
    away: tuple[Absence, ...]
    bays: tuple[BayDay, ...]

    @property
    def visits(self) -> list[Appointment]:
        """All visits of the day in the order in which they begin."""
        return sorted((visit for bay in self.bays for visit in bay.visits), key=lambda visit: visit.starts_at)


@dataclass(frozen=True, slots=True)
class BayWeek:
    """A week of a site from ``first_hour`` to ``last_hour`` of each day, in the site's own time."""

    site: Site
    monday: date
    days: tuple[BaysOfADay, ...]
    bays: tuple[Bay, ...]
    first_hour: int
    last_hour: int


@dataclass(slots=True)
class _Found:
    visits: dict[tuple[int, date], list[Appointment]] = field(default_factory=lambda: defaultdict(list))
    closures: dict[tuple[int, date], list[BayClosure]] = field(default_factory=lambda: defaultdict(list))
    away: dict[date, list[Absence]] = field(default_factory=lambda: defaultdict(list))


def read_bay_week(site: Site, monday: date) -> BayWeek:
    """Return the week of a site that begins on ``monday``.

    Days on which the site never works are left out unless a visit stands on them; a bay that is out of use is shown
    while visits stand in it.
    """
    zone = find_zone(site.time_zone)
    days = [monday + timedelta(days=step) for step in range(DAYS_OF_A_WEEK)]
    start = find_moment(monday, MIDNIGHT, zone)
    end = find_moment(days[-1] + timedelta(days=1), MIDNIGHT, zone)
    hours = map_site_hours().get(site.pk, {})
    calendar = read_calendars([site])[site.pk]
    opened = list_open_spans(hours, calendar, zone, days[0], days[-1])
    found = _read_what_stands(site, start, end, zone, days)
    taken_bays = {bay for bay, _ in found.visits}
    of_site = (bay for bay in list_bays() if bay.site_id == site.pk)
    bays = tuple(bay for bay in of_site if bay.in_use or bay.pk in taken_bays)
    shown = []
    for day in days:
        bay_days = tuple(
            BayDay(bay, tuple(found.visits[bay.pk, day]), tuple(found.closures[bay.pk, day])) for bay in bays
        )
        works_usually = bool(hours.get(day.isoweekday(), USUAL_HOURS if not hours else ()))
        is_working_day = day.isoweekday() in calendar.open_weekdays and works_usually
        if is_working_day or any(bay_day.visits for bay_day in bay_days):
            spans = opened.get(day, ())
            closed_because = None if spans else calendar.explain_closed(day) or NO_HOURS
            shown.append(BaysOfADay(day, spans, closed_because, tuple(found.away[day]), bay_days))
    first_hour, last_hour = _find_hours(shown, zone)
    return BayWeek(site, monday, tuple(shown), bays, first_hour, last_hour)


def _read_what_stands(site: Site, start: datetime, end: datetime, zone: zoneinfo.ZoneInfo, days: list[date]) -> _Found:
    found = _Found()
    visits = list_visits(site, start, end).exclude(status__in=GIVES_ITS_PLACE_UP).order_by("starts_at")
    for visit in visits.select_related(*NAMED):
        found.visits[visit.bay_id, find_day(visit.starts_at, zone)].append(visit)
    closures = BayClosure.objects.filter(bay__site=site, starts_at__lt=end, ends_at__gt=start)
    for closure in closures.order_by("starts_at"):
        for day in _list_touched(closure.starts_at, closure.ends_at, days, zone):
            found.closures[closure.bay_id, day].append(closure)
    absences = Absence.objects.filter(person__site=site, starts_at__lt=end, ends_at__gt=start)
    for absence in absences.select_related("person").order_by("starts_at"):
        for day in _list_touched(absence.starts_at, absence.ends_at, days, zone):
            found.away[day].append(absence)
    return found


# What a page says of a visit.
NAMED = ("site", "bay", "person", "vehicle", "customer")


def list_visits(site: Site, start: datetime, end: datetime) -> QuerySet[Appointment]:
    """Return the visits of a site that begin from ``start`` up to but not including ``end``."""
    return Appointment.objects.filter(site=site, starts_at__gte=start, starts_at__lt=end)


def _list_touched(start: datetime, end: datetime, days: Sequence[date], zone: zoneinfo.ZoneInfo) -> list[date]:
    first = find_day(start, zone)
    last = find_day(end - timedelta(microseconds=1), zone)
    return [day for day in days if first <= day <= last]


def _find_hours(days: Sequence[BaysOfADay], zone: zoneinfo.ZoneInfo) -> tuple[int, int]:
    """Return the first and the last full hour between which everything that is shown lies."""
    firsts, lasts = [], []
    for day in days:
        spans = [(span.start, span.end) for span in day.open_spans]
        spans += [(visit.starts_at, visit.bay_free_at) for visit in day.visits]
        for start, end in spans:
            firsts.append(start.astimezone(zone).hour)
            local_end = end.astimezone(zone)
            if find_day(end, zone) > day.day:
                lasts.append(24)
            else:
                lasts.append(local_end.hour + (1 if local_end.minute else 0))
    if not firsts:
        return USUAL_HOURS[0][0].hour, USUAL_HOURS[0][1].hour
    return min(firsts), max(max(lasts), min(firsts) + 1)


def list_to_be_moved(site: Site, now: datetime) -> list[Appointment]:
    """Return the booked visits yet to come that stand in a closed bay, or with a person who is away then."""
    closed = BayClosure.objects.filter(
        bay=OuterRef("bay"), starts_at__lt=OuterRef("bay_free_at"), ends_at__gt=OuterRef("starts_at")
    )
    away = Absence.objects.filter(
        person=OuterRef("person"), starts_at__lt=OuterRef("work_ends_at"), ends_at__gt=OuterRef("starts_at")
    )
    coming = Appointment.objects.filter(site=site, status=AppointmentStatus.BOOKED, starts_at__gte=now)
    found = coming.annotate(bay_is_closed=Exists(closed), person_is_away=Exists(away)).filter(
        Q(bay_is_closed=True) | Q(person_is_away=True)
    )
    return list(found.select_related(*NAMED).order_by("starts_at", "pk")[:MOST_LISTED])


def list_left_open(site: Site, today: date) -> list[Appointment]:
    """Return the visits of days gone by that nobody has said of what became of them, the oldest first."""
    start = find_moment(today, MIDNIGHT, find_zone(site.time_zone))
    unsaid = Appointment.objects.filter(
        site=site, status__in=[AppointmentStatus.BOOKED, AppointmentStatus.IN_THE_BAY], starts_at__lt=start
    )
    return list(unsaid.select_related(*NAMED).order_by("starts_at", "pk")[:MOST_LISTED])
