"""Marks on its row what came of a message. Each mark counts only while the row is still the worker's."""

import random
from datetime import datetime

from django.db.models import F

from notifications.enums import MessageStatus
from notifications.models import Message
from notifications.outbox.leases import Batch, flush_later
from notifications.outbox.rules.delays import find_address_delay, find_fault_delay, is_put_off_too_long
from treatments.rules.explanation import Explanation, explain, to_json

# Attempts that end without an answer of the server: the worker died at it, or the program failed.
MOST_ATTEMPTS = 5
# Fewer say nothing about a server: these may be the only addresses of the day, and wrong.
OTHERS_PUT_OFF = 2


def mark_sent(batch: Batch, message: Message, *, now: datetime) -> bool:
    """Mark that the server accepted a message; the end of a lease stays on it until the event log has it.

    That counts also where the lease ran out meanwhile, so that no other worker begins with it.
    """
    open_ones = Message.objects.filter(pk=message.pk, status__in=(MessageStatus.WAITING, MessageStatus.LEASED))
    sent = {"status": MessageStatus.SENT, "sent_at": now, "leased_until": batch.leased_until}
    return bool(flush_later(open_ones).update(**sent, why=None, last_error=""))


def mark_failed(batch: Batch, message: Message, why: Explanation, answer: str = "") -> bool:
    """Put a message among those that failed, where a person sees to it."""
    return _end(batch, message, MessageStatus.FAILED, why, last_error=answer[:300])


def mark_withdrawn(batch: Batch, message: Message, why: Explanation) -> bool:
    """Withdraw a message that is not to be sent any more."""
    return _end(batch, message, MessageStatus.WITHDRAWN, why)


def _end(batch: Batch, message: Message, status: MessageStatus, why: Explanation, **changed: str) -> bool:
    return bool(batch.held(message.pk).update(status=status, why=to_json(why), leased_until=None, **changed))


def mark_put_off(batch: Batch, message: Message, answer: str, *, now: datetime) -> bool:
    """Let a message wait that the server takes later; it fails once that has gone on for days.

    The attempt is not counted. A server that took nothing else in all the time is at fault itself, and the message
    goes on waiting.

    Returns:
        True where the message failed.
    """
    first = message.first_refused_at or now
    if is_put_off_too_long(first, now) and not _takes_nothing(message, first):
        days = explain("message.put_off_too_long", days=(now - first).days)
        mark_failed(batch, message, days, answer)
        return True
    batch.held(message.pk).update(
        status=MessageStatus.WAITING,
        leased_until=None,
        attempts=F("attempts") - 1,
        first_refused_at=first,
        due_at=now + find_address_delay(now - first, random.random()),
        why=to_json(explain("message.put_off")),
        last_error=answer[:300],
    )
    return False


def _takes_nothing(message: Message, since: datetime) -> bool:
    same = Message.objects.filter(channel=message.channel)
    if same.filter(status=MessageStatus.SENT, sent_at__gte=since).exists():
        return False
    others = same.filter(status=MessageStatus.WAITING, first_refused_at__isnull=False).exclude(pk=message.pk)
    return others.values("address").distinct()[:OTHERS_PUT_OFF].count() >= OTHERS_PUT_OFF


def mark_server_failed(batch: Batch, message: Message, answer: str, *, again_at: datetime) -> None:
    """Let a message wait that the server had at hand when it failed, behind those that it did not have.

    The attempt is not counted: it was the server's fault.
    """
    batch.held(message.pk).update(
        status=MessageStatus.WAITING,
        leased_until=None,
        attempts=F("attempts") - 1,
        due_at=again_at,
        why=to_json(explain("message.server_failed")),
        last_error=answer[:300],
    )


def mark_program_failed(batch: Batch, message: Message, why: Explanation, *, now: datetime) -> bool:
    """Let a message wait that the program failed at, or put it among those that failed; True where it failed."""
    attempts = message.attempts + 1
    if attempts >= MOST_ATTEMPTS:
        mark_failed(batch, message, why)
        return True
    batch.held(message.pk).update(
        status=MessageStatus.WAITING,
        leased_until=None,
        due_at=now + find_fault_delay(attempts),
        why=to_json(why),
    )
    return False
