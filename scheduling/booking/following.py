"""Lets the due items of a cover follow its appointments: booked while one serves them, due again when none does.

The index is written at once, in the transaction of the booking, so that the next look at the due list shows it; a
recompute comes to the same rows.
"""

from collections.abc import Iterable
from datetime import date

from django.db.models import F

from scheduling.covers.rules.due_item import DueStatus
from scheduling.models import Appointment, AppointmentItem, Cover, CoverState, DueItem
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
