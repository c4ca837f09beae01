"""Lets the coming visits of a vehicle serve a cover that was registered after they were booked.

A visit is booked for the cover of its day; without this the due list would call a customer who comes anyway.
"""

from datetime import datetime

from scheduling.booking.following import follow_appointments
from scheduling.booking.placing import BookedAlreadyError
from scheduling.booking.reading import OPEN, read_what_is_due_for
from scheduling.booking.services import serve_what_is_due
from scheduling.covers.queries import is_over
from scheduling.models import Appointment, AppointmentItem, Cover
from treatments.queries import find_today


def take_visits_over(cover: Cover, now: datetime) -> list[str]:
    """Book the coming visits of the vehicle for this cover, in the caller's transaction; return their numbers.

    A cover that was over before it was sold takes none. Call it with the vehicle locked.
    """
    today = find_today(now, cover.site)
    if is_over(cover, today):
        return []
    due = read_what_is_due_for(cover, today)
    coming = Appointment.objects.filter(vehicle=cover.vehicle_id, status__in=OPEN, ready_at__gte=now)
    visits = list(coming.exclude(cover=cover).select_related("site", "cover").order_by("starts_at"))
    for visit in visits:
        before = visit.cover
        AppointmentItem.objects.filter(appointment=visit).delete()  # the keys are those of the other cover
        visit.cover = cover
        visit.save(update_fields=["cover"])
        try:
            serve_what_is_due(visit, due, today)
        except BookedAlreadyError:
            follow_appointments(cover, today)  # an earlier one serves all of it
        if before is not None:
            follow_appointments(before, today)
    return [visit.number for visit in visits]
