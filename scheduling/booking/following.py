"""Lets the due items of a cover follow its appointments: booked while one serves them, due again when none does. Lays
the stay of a visit that is over: when it truly began and ended, and from when the vehicle can be fetched.
"""

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.db.models import F, Q

from scheduling.bays.queries import list_durations
from scheduling.booking.finding import choose_duration
from scheduling.booking.reading import list_holding_visits, read_site_times
from scheduling.booking.rules.slots import Stay, end_stay
from scheduling.covers.rules.due_item import DueStatus
from scheduling.enums import VisitKind
from scheduling.models import Appointment, AppointmentItem, Cover, CoverState, DueItem
from treatments.models import Event
from treatments.queries import find_today
from treatments.rules.site_days import find_day
from treatments.rules.site_settings import find_zone


def find_booked_days(covers: Iterable[int]) -> dict[int, dict[str, date]]:
    """Return by cover and due item the day on which an appointment will serve it, in the site's own calendar."""
    found: dict[int, dict[str, date]] = {}
    rows = (
        AppointmentItem.objects.filter(cover__in=covers, serves=True)
        .order_by("cover_id")
        .values_list("cover_id", "due_key", "appointment__starts_at", "appointment__site__time_zone")
    )
    for cover, key, starts_at, zone in rows:
        found.setdefault(cover, {})[key] = find_day(starts_at, find_zone(zone))
    return found


def follow_appointments(cover: Cover, today: date) -> None:
    """Write what a change of appointments means for the due items and the state of one cover."""
    booked = {key: day for key, day in find_booked_days([cover.pk]).get(cover.pk, {}).items() if day >= today}
    items = DueItem.objects.filter(cover=cover)
    items.filter(key__in=booked).update(status=DueStatus.BOOKED)
    freed = items.filter(status=DueStatus.BOOKED).exclude(key__in=booked)
    freed.filter(grace_until__gte=today).update(status=DueStatus.OPEN)
    freed.filter(grace_until__lt=today).update(status=DueStatus.MISSED)
    still_due = set(items.values_list("key", flat=True))
    CoverState.objects.filter(cover=cover).update(
        booked_on=min((day for key, day in booked.items() if key in still_due), default=None)
    )


def free_items(appointment: Appointment) -> None:
    """Let an appointment serve nothing any more."""
    AppointmentItem.objects.filter(appointment=appointment, serves=True).update(serves=False)


def serve_items(appointment: Appointment, keys: Iterable[str]) -> None:
    """Let an appointment serve exactly these due items of its cover, as far as no other serves them.

    Raises:
        IntegrityError: where another appointment came to serve one of them meanwhile.
    """
    assert appointment.cover_id is not None
    wanted = set(keys)
    mine = AppointmentItem.objects.filter(appointment=appointment)
    mine.exclude(due_key__in=wanted).update(serves=False)
    mine.filter(due_key__in=wanted).update(serves=True)
    known = set(mine.values_list("due_key", flat=True))
    AppointmentItem.objects.bulk_create(
        AppointmentItem(appointment=appointment, cover_id=appointment.cover_id, due_key=key)
        for key in sorted(wanted - known)
    )


def count_change(appointment: Appointment) -> None:
    """Raise SEQUENCE by one (RFC 5545 section 3.8.7.4), so that calendars take the newer text."""
    Appointment.objects.filter(pk=appointment.pk).update(sequence=F("sequence") + 1)
    appointment.refresh_from_db(fields=["sequence"])


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
