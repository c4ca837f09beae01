"""Leases the messages whose time has come, sends them and marks what came of each.

A row is the truth; losing a task loses nothing. Reminders write rows in ``reminders``, visits in ``invitations``.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum

from django.db import connection, transaction
from django.db.models import F, Q

from notifications.enums import MessageStatus
from notifications.mail.mailing import SENDING_ERRORS, describe_error, find_lasting_fault, make_email
from notifications.models import Message
from notifications.outbox.relevance import is_still_true
from treatments.event_log import Happening, record_events
from treatments.shared.faults import NO_FAULT_OF_A_ROW, log_fault

LEASE = timedelta(minutes=10)
MOST_ATTEMPTS = 5


@transaction.atomic
def lease_due_messages(*, now: datetime, limit: int = 200) -> list[int]:
    """Lease messages whose time has come and return their keys; a lease that ran out is taken again."""
    due = Message.objects.filter(
        Q(status=MessageStatus.WAITING, due_at__lte=now) | Q(status=MessageStatus.LEASED, leased_until__lt=now)
    ).order_by("due_at", "id")
    if connection.features.has_select_for_update_skip_locked:
        due = due.select_for_update(skip_locked=True)
    keys = list(due.values_list("pk", flat=True)[:limit])
    Message.objects.filter(pk__in=keys).update(status=MessageStatus.LEASED, leased_until=now + LEASE)
    return keys


class SendOutcome(StrEnum):
    """What an attempt to send one message came to."""

    SENT = "sent"
    FAILED = "failed"
    TO_BE_RETRIED = "to_be_retried"
    WITHDRAWN = "withdrawn"
    NOT_HELD = "not_held"  # another worker was first, or the lease ran out


def send_leased_message(*, message_id: int, now: datetime) -> SendOutcome:
    """Send one leased message and mark what came of it; one that the program fails at is tried again, with why."""
    try:
        return _send_leased(message_id, now)
    except NO_FAULT_OF_A_ROW:
        raise
    except Exception as error:
        why = log_fault(error, f"Sending message {message_id}")[:300]
        held = Message.objects.filter(pk=message_id, status=MessageStatus.LEASED)
        if not held.update(attempts=F("attempts") + 1, last_error=why):
            return SendOutcome.NOT_HELD
        given_up = held.filter(attempts__gte=MOST_ATTEMPTS).update(status=MessageStatus.FAILED, leased_until=None)
        return SendOutcome.FAILED if given_up else SendOutcome.TO_BE_RETRIED


def _send_leased(message_id: int, now: datetime) -> SendOutcome:
    """Send one leased message and mark what came of it.

    A message that is no longer wanted (the visit was made, or the customer stopped messages) is withdrawn. A failure
    concerns this message alone and is kept with its text: for good where the message itself is at fault, else it is
    tried again when the lease runs out, at most MOST_ATTEMPTS times.
    """
    message = (
        Message.objects.select_related(
            "customer", "cover__site", "appointment__site", "appointment__vehicle", "appointment__customer"
        )
        .filter(pk=message_id, status=MessageStatus.LEASED, leased_until__gte=now)
        .first()
    )
    if message is None:
        return SendOutcome.NOT_HELD
    held = Message.objects.filter(pk=message.pk, status=MessageStatus.LEASED, leased_until=message.leased_until)
    if message.customer.messages_stopped_at or not is_still_true(message, now):
        held.update(status=MessageStatus.WITHDRAWN, leased_until=None)
        return SendOutcome.WITHDRAWN
    if message.attempts >= MOST_ATTEMPTS:
        # Attempts that no worker lived to finish count too, or such a message would be tried for ever.
        error = message.last_error or f"Given up: {MOST_ATTEMPTS} attempts broke off."
        held.update(status=MessageStatus.FAILED, leased_until=None, last_error=error)
        return SendOutcome.FAILED
    # Taking a fresh lease first means that a second worker with the same row finds it gone.
    lease = now + LEASE + timedelta(microseconds=message.attempts + 1)
    if not held.update(leased_until=lease, attempts=message.attempts + 1):
        return SendOutcome.NOT_HELD
    held = Message.objects.filter(pk=message.pk, status=MessageStatus.LEASED, leased_until=lease)
    try:
        make_email(message).send()
    except SENDING_ERRORS as error:
        fault = find_lasting_fault(message, error)
        if fault or message.attempts + 1 >= MOST_ATTEMPTS:
            told = (fault or f"Given up after {MOST_ATTEMPTS} attempts: {describe_error(error)}")[:300]
            held.update(status=MessageStatus.FAILED, leased_until=None, last_error=told)
            return SendOutcome.FAILED
        held.update(last_error=describe_error(error))
        return SendOutcome.TO_BE_RETRIED
    with transaction.atomic():
        sent = held.update(status=MessageStatus.SENT, sent_at=now, leased_until=None, last_error="")
        if sent:
            after = {"key": message.key, "customer": message.customer_id, "kind": message.kind}
            record_events([Happening("message.sent", "message", str(message.pk), after=after)], actor=None, now=now)
    return SendOutcome.SENT if sent else SendOutcome.NOT_HELD


@dataclass(slots=True)
class SendReport:
    """What a run of ``send_all_due_messages`` came to; a failure is told with whom it was for and why."""

    sent: int = 0
    withdrawn: int = 0
    failed: list[str] = field(default_factory=list)
    to_be_retried: list[str] = field(default_factory=list)


# So few that their lease outlives the sending of all of them, also to a slow server.
SENT_IN_ONE_GO = 20


def send_all_due_messages(*, clock: Callable[[], datetime]) -> SendReport:
    """Lease and send every message whose time has come, in this process; other workers may do the same meanwhile.

    Args:
        clock: tells the moment; a long run must not hold its leases by the moment at which it began.
    """
    report = SendReport()
    while keys := lease_due_messages(now=clock(), limit=SENT_IN_ONE_GO):
        for key in keys:
            outcome = send_leased_message(message_id=key, now=clock())
            if outcome is SendOutcome.SENT:
                report.sent += 1
            elif outcome is SendOutcome.WITHDRAWN:
                report.withdrawn += 1
            elif outcome is SendOutcome.FAILED:
                report.failed.append(_describe_failure(key))
            elif outcome is SendOutcome.TO_BE_RETRIED:
                report.to_be_retried.append(_describe_failure(key))
    return report


def _describe_failure(message_id: int) -> str:
    message = Message.objects.select_related("customer", "cover").get(pk=message_id)
    cover = f", cover {message.cover.number}" if message.cover else ""
    return f"{message.customer.name}{cover}: {message.last_error}"
