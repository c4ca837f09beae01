"""Says whether what a message tells of is still so; one that is not must not be sent."""

from datetime import datetime

from notifications.enums import MessageKind
from notifications.invitations.services import is_invitation_true
from notifications.models import Message
from scheduling.covers.rules.due_item import DueKind, DueStatus
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import CoverState, DueItem

# These say that a visit is due or was missed; once it was made they would not be true any more, whatever else is due.
TELL_OF_A_VISIT = (MessageKind.VISIT_DUE, MessageKind.IN_GRACE, MessageKind.VISIT_MISSED)


def is_still_true(message: Message, now: datetime) -> bool:
    """Say whether what a message tells of is still so."""
    if message.appointment is not None:
        return is_invitation_true(message, now)
    if message.cover is None:
        return True
    if message.kind == MessageKind.TO_COMPLETE:
        # It tells of zones, not of due items; the cover stays pending while one of them is missing.
        return CoverState.objects.filter(cover=message.cover_id, status=CoverStatus.PENDING).exists()
    still = DueItem.objects.filter(cover=message.cover_id, key__in=message.due_keys).exclude(status=DueStatus.BOOKED)
    return (still.filter(kind=DueKind.REINSPECTION) if message.kind in TELL_OF_A_VISIT else still).exists()
