"""Takes messages for a worker and gives them back: a row that a worker holds is leased, and a lease runs out.

A worker that was killed leaves leased rows, and sent ones that are not in the event log yet; both are seen to here.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection, transaction
from django.db.models import BooleanField, F, Func, QuerySet

from notifications.enums import Channel, MessageStatus
from notifications.models import Message
from notifications.outbox.carriers import SENT_BY_WORKERS
from treatments.event_log import Happening, record_events

# Longer than a batch and one message after it may take, each step of which waits EMAIL_TIMEOUT at most.
LEASE = timedelta(minutes=5)
BATCH = 50
WITH = (
    "customer",
    "cover__site",
    "appointment__site",
    "appointment__vehicle",
    "appointment__customer",
    "claim__cover__site",
)


@dataclass(frozen=True, slots=True)
class Batch:
    """Messages of one channel that belong to one worker until ``leased_until``."""

    channel: Channel
    messages: tuple[Message, ...]
    leased_until: datetime

    def held(self, *keys: int) -> QuerySet[Message]:
        """Return the rows of these keys as far as they are still this worker's."""
        return Message.objects.filter(pk__in=keys, status=MessageStatus.LEASED, leased_until=self.leased_until)


def lease_messages(channel: Channel, *, now: datetime, limit: int) -> Batch:
    """Take the messages of a channel whose time has come, the one that waits longest first."""
    due = Message.objects.filter(status=MessageStatus.WAITING, channel=channel, due_at__lte=now)
    due = due.order_by("due_at", "id")
    if connection.features.has_select_for_update_skip_locked:
        due = due.select_for_update(skip_locked=True)
    until = now + LEASE
    with transaction.atomic():
        keys = list(due.values_list("pk", flat=True)[:limit])
        if not keys:
            return Batch(channel, (), until)
        Message.objects.filter(pk__in=keys).update(status=MessageStatus.LEASED, leased_until=until)
    messages = Message.objects.filter(pk__in=keys).select_related(*WITH).order_by("due_at", "id")
    return Batch(channel, tuple(messages), until)


def give_back(batch: Batch, messages: Iterable[Message]) -> None:
    """Give back what was not begun; it is due as before."""
    keys = [message.pk for message in messages]
    if keys:
        batch.held(*keys).update(status=MessageStatus.WAITING, leased_until=None)


def free_lapsed_leases(*, now: datetime) -> int:
    """Give back what lost workers held, write down what they sent, and return how many messages wait again."""
    lapsed = Message.objects.filter(leased_until__lt=now)
    record_sent(lapsed.filter(status=MessageStatus.SENT).values_list("pk", flat=True), now=now)
    return lapsed.filter(status=MessageStatus.LEASED).update(status=MessageStatus.WAITING, leased_until=None)


def record_sent(keys: Iterable[int], *, now: datetime) -> None:
    """Write into the event log what was sent, each message once; until then its row keeps the end of its lease."""
    with transaction.atomic():
        sent = Message.objects.filter(pk__in=list(keys), status=MessageStatus.SENT, leased_until__isnull=False)
        rows = list(sent.select_for_update().order_by("pk").values_list("pk", "key", "customer_id", "kind"))
        if not rows:
            return
        Message.objects.filter(pk__in=[key for key, *_ in rows]).update(leased_until=None)
        record_events(
            [
                Happening("message.sent", "message", str(pk), after={"key": key, "customer": customer, "kind": kind})
                for pk, key, customer, kind in rows
            ],
            actor=None,
            now=now,
        )


def look_for_work(*, now: datetime, most: int) -> Counter[str]:
    """Return how many messages of each channel a worker may take now, counted up to ``most`` in all."""
    due = Message.objects.filter(status=MessageStatus.WAITING, channel__in=SENT_BY_WORKERS, due_at__lte=now).order_by()
    return Counter(due.values_list("channel", flat=True)[:most])


def count_attempt(batch: Batch, message: Message) -> bool:
    """Count an attempt before it is made, so that one which kills its worker counts too; False: the row is gone."""
    return bool(flush_later(batch.held(message.pk)).update(attempts=F("attempts") + 1))


class _FlushLater(Func):
    """True, and PostgreSQL ends this transaction without waiting for its disk."""

    template = "set_config('synchronous_commit', 'off', true) IS NOT NULL"
    output_field = BooleanField()


def flush_later(rows: QuerySet[Message]) -> QuerySet[Message]:
    """Return rows whose next update, in a transaction of its own, does not wait for the disk.

    Every other connection sees it at once, and it outlives the worker. A database server that crashes may forget
    what was written in its last half second; each batch ends with a commit that waits.
    """
    return rows.filter(_FlushLater()) if connection.vendor == "postgresql" else rows
