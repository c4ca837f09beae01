"""Lays the stay of a visit that is over: when it truly began and ended, and from when the vehicle can be fetched.

Moments stay as they were planned where another visit has the place, since no place is ever taken twice.
"""

from datetime import datetime, timedelta

from django.db.models import Q

from scheduling.bays.queries import list_durations
from scheduling.booking.reading import list_holding_visits, read_site_times
from scheduling.booking.rules.slots import Stay, end_stay
from scheduling.booking.work import choose_duration
from scheduling.enums import VisitKind
from scheduling.models import Appointment
from treatments.models import Event
from treatments.queries import find_today

MINUTE = timedelta(minutes=1)


def lay_finished_stay(visit: Appointment, now: datetime) -> Stay:
    """Return the moments of a visit that is over now; call it with the visit and its places locked.

    A visit that began before its time is on record from then on. The work of one that ends late stays as it was
    planned: what follows in the bay and for the person was laid by that.

    Args:
        visit: as it was planned.
        now: when somebody says that it is over.
    """
    starts_at = _find_true_start(visit, now)
    ended_at = _round_up(now)
    if ended_at <= starts_at:
        ended_at = starts_at + MINUTE
    planned = Stay(starts_at, visit.work_ends_at, visit.bay_free_at, visit.ready_at)
    standing_minutes, stands_in_bay = _find_standing(visit)
    day = find_today(ended_at, visit.site)
    (site,) = read_site_times([visit.site], day, day)
    stay = end_stay(planned, ended_at, standing_minutes, site, stands_in_bay=stands_in_bay)
    if stay.ready_at <= visit.ready_at:
        return stay
    coming = list_holding_visits(leave_out=visit).filter(
        vehicle=visit.vehicle_id, starts_at__gte=visit.ready_at, starts_at__lt=stay.ready_at
    )
    again = coming.order_by("starts_at").values_list("starts_at", flat=True).first()
    return stay if again is None else Stay(stay.starts_at, stay.work_ends_at, stay.bay_free_at, again)


def _find_true_start(visit: Appointment, now: datetime) -> datetime:
    """Return when a visit began where that was before its time; else when it was to begin."""
    events = Event.objects.filter(subject="appointment", subject_id=str(visit.pk), kind="appointment.begun")
    begun = events.order_by("position").last()
    if begun is None or begun.happened_at >= visit.starts_at:
        return visit.starts_at
    since = begun.happened_at.replace(second=0, microsecond=0)
    same_place = Q(bay=visit.bay_id) | Q(vehicle=visit.vehicle_id)
    if visit.person_id is not None:
        same_place |= Q(person=visit.person_id)
    until = min(visit.starts_at, _round_up(now) + MINUTE)
    others = list_holding_visits(leave_out=visit).filter(same_place, starts_at__lt=until, ready_at__gt=since)
    for other in others:
        # Who stood here until then had the place; before that this one can't be on record.
        if other.bay_id == visit.bay_id:
            since = max(since, other.bay_free_at)
        if visit.person_id is not None and other.person_id == visit.person_id:
            since = max(since, other.work_ends_at)
        if other.vehicle_id == visit.vehicle_id:
            since = max(since, other.ready_at)
    return since if since <= now else visit.starts_at


def _find_standing(visit: Appointment) -> tuple[int, bool]:
    """Return for how many minutes the vehicle stands after the work, and whether in its bay."""
    if Appointment.objects.filter(splits=visit).exists():
        # It was washed only; the film comes in the visit that goes on from this one.
        return 0, False
    row = choose_duration(list_durations(), VisitKind(visit.visit), visit.site_id, visit.vehicle.body_style)
    if row is None:
        # Nobody says any more how long; as long as it was planned is on the safe side.
        return int((visit.ready_at - visit.work_ends_at) / MINUTE), visit.bay_free_at > visit.work_ends_at
    return row.standing_minutes, row.stands_in_bay


def _round_up(moment: datetime) -> datetime:
    whole = moment.replace(second=0, microsecond=0)
    return whole if whole == moment else whole + MINUTE
