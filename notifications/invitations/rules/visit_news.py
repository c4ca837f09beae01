"""What a customer is to be told of an appointment: once for each change that concerns the customer, and in time.

Which bay it is and who does the work concern the shop alone; the times and the place concern the customer.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from notifications.enums import MessageKind
from notifications.invitations.rules.calendar_text import CalendarVisit, ToldVisit, is_as_told
from scheduling.enums import AppointmentStatus

# What begins sooner was agreed on at the counter or on the telephone just now.
SOONEST_TOLD = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class TellableVisit:
    """An appointment as its customer would be told of it now."""

    status: AppointmentStatus
    shown: CalendarVisit


def choose_news(visit: TellableVisit, told: ToldVisit | None, now: datetime) -> MessageKind | None:
    """Return which message an appointment calls for, None where the customer knows all there is to know.

    Args:
        visit: the appointment as it is now.
        told: what the customer was last told of it; None: nothing yet, or nothing that arrived.
        now: the moment; what is over is not told of any more.
    """
    if visit.shown.ends_at <= now or visit.status in (AppointmentStatus.DONE, AppointmentStatus.NO_SHOW):
        return None
    known = told is not None and not told.cancelled
    if visit.status is AppointmentStatus.CANCELLED:
        return MessageKind.VISIT_CANCELLED if known else None
    if not known:
        begins_soon = visit.shown.starts_at < now + SOONEST_TOLD
        return None if begins_soon or visit.status is not AppointmentStatus.BOOKED else MessageKind.VISIT_BOOKED
    assert told is not None
    return None if is_as_told(visit.shown, told) else MessageKind.VISIT_MOVED


def is_still_true(visit: TellableVisit, told: ToldVisit, now: datetime) -> bool:
    """Say whether a message that waits to be sent still tells what is so, and in time to be of use."""
    gone = visit.status in (AppointmentStatus.DONE, AppointmentStatus.NO_SHOW)
    return not gone and visit.shown.ends_at > now and is_as_told(visit.shown, told)
