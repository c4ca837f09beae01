"""Reads messages for the pages of the desk: all of them by filters, one of them, and those about a visit."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from notifications.enums import MessageStatus
from notifications.models import Message
from notifications.outbox.leases import WITH
from scheduling.models import Appointment
from treatments.models import Customer

PER_PAGE = 30
# Nobody counts further.
MOST_COUNTED = 100
# A text that so many customers have names nobody.
MOST_CUSTOMERS = 500


@dataclass(frozen=True, slots=True)
class MessageFilter:
    """What a page of messages is narrowed to; '' leaves open.

    Attributes:
        text: part of a customer's name or address.
    """

    status: str = ""
    kind: str = ""
    channel: str = ""
    text: str = ""


def list_messages(wanted: MessageFilter, *, before: int | None, size: int = PER_PAGE) -> tuple[list[Message], int]:
    """Return messages, the newest first, and the key to go on before; 0 where none follow.

    Args:
        before: the key of the last message of the page before; None: from the newest.
    """
    found = Message.objects.select_related("customer", "cover__vehicle", "appointment__vehicle", "claim")
    found = found.defer("body", "html", "calendar").order_by("-id")
    for name in ("status", "kind", "channel"):
        if value := getattr(wanted, name):
            found = found.filter(**{name: value})
    if wanted.text:
        some = Customer.objects.filter(
            Q(name__icontains=wanted.text) | Q(email__icontains=wanted.text) | Q(phone__icontains=wanted.text)
        )
        found = found.filter(customer__in=list(some.values_list("pk", flat=True)[:MOST_CUSTOMERS]))
    if before is not None:
        found = found.filter(pk__lt=before)
    rows = list(found[: size + 1])
    return rows[:size], rows[size - 1].pk if len(rows) > size else 0


def find_message(key: int) -> Message | None:
    """Return a message with all that its page and its document tell, None where there is none."""
    return Message.objects.select_related(*WITH, "cover__vehicle").filter(pk=key).first()


def list_messages_about(visits: Sequence[Appointment]) -> QuerySet[Message]:
    """Return what customers were told of visits, the newest first."""
    return (
        Message.objects.filter(appointment__in=visits).defer("body", "html", "calendar").order_by("-created_at", "-id")
    )


def count_failed() -> int:
    """Return how many messages failed, counted up to MOST_COUNTED."""
    return Message.objects.filter(status=MessageStatus.FAILED).order_by()[:MOST_COUNTED].count()
