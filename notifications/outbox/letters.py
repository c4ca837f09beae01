"""Letters go by post: a person prints all that wait as one batch.

It counts as sent then, and can be printed again.
"""

from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from notifications.enums import Channel, MessageStatus
from notifications.models import Message
from notifications.outbox.leases import WITH
from notifications.outbox.relevance import WITHDRAWING, sort_out
from treatments.event_log import Happening, record_events
from treatments.models import User
from treatments.rules.explanation import explain, to_json

# What a printer takes at once.
MOST_LETTERS = 200


def list_letters_to_print(*, now: datetime) -> QuerySet[Message]:
    """Return the letters whose time has come, the one that waits longest first."""
    waiting = Message.objects.filter(status=MessageStatus.WAITING, channel=Channel.LETTER, due_at__lte=now)
    return waiting.order_by("due_at", "id")


@transaction.atomic
def take_letters_to_print(*, actor: User, now: datetime) -> int:
    """Mark up to MOST_LETTERS letters sent, as one batch, and return the key of one of them, 0 where there is none.

    What is not so any more is withdrawn, and what has no postal address fails.
    """
    rows = list_letters_to_print(now=now).select_for_update(of=("self",)).select_related(*WITH)
    letters = list(rows[:MOST_LETTERS])
    why_not, faults = sort_out(letters, now=now)
    taken = []
    for letter in letters:
        why = faults.get(letter.pk) or why_not.get(letter.pk)
        if why is None and not letter.customer.address.strip():
            why = explain("message.no_postal_address")
        if why is None:
            letter.status, letter.sent_at, letter.why = MessageStatus.SENT, now, None
            taken.append(letter)
        else:
            is_over = why.code in WITHDRAWING
            letter.status = MessageStatus.WITHDRAWN if is_over else MessageStatus.FAILED
            letter.why = to_json(why)
    Message.objects.bulk_update(letters, ["status", "sent_at", "why"])
    record_events(
        [
            Happening(
                "message.sent",
                "message",
                str(letter.pk),
                after={"key": letter.key, "customer": letter.customer_id, "kind": letter.kind},
            )
            for letter in taken
        ],
        actor=actor,
        now=now,
    )
    return taken[0].pk if taken else 0


def list_batch_of(letter: Message) -> list[Message]:
    """Return the letters that were printed together with one that was sent, in the order of their customers' names."""
    batch = Message.objects.filter(status=MessageStatus.SENT, channel=Channel.LETTER, sent_at=letter.sent_at)
    return list(batch.select_related(*WITH).order_by("customer__name", "id"))
