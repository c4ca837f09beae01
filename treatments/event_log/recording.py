"""Writes the event log, in the transaction of the change that is recorded, so that neither stands without the other."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from celery import current_app
from django.conf import settings
from django.db import models, transaction

from treatments.event_log.keys import LogKey, read_keys
from treatments.event_log.signed_content import digest_signed_rows
from treatments.event_log.words import take_words
from treatments.models import Event, EventLogHead, EventWords, User
from treatments.shared.long_work import nudge

# The task of a higher app, which no import may name here.
READ_EVENTS_TASK = "desk.follow_events"


@dataclass(frozen=True, slots=True)
class Happening:
    """Something to be written to the log. ``before`` and ``after`` hold plain values, dates and decimals.

    A text in them that is no code is kept beside the log, so that it can be erased; see ``treatments.event_log.words``.
    """

    kind: str
    subject: str
    subject_id: str
    before: dict[str, Any] | None = None
    after: dict[str, Any] | None = None


def compute_hash(key: LogKey, event: Event) -> str:
    """Return the keyed hash that chains an entry to the one before, over all its fields but the hash itself."""
    return key.digest(
        event.previous_hash,
        event.position,
        event.happened_at.astimezone(UTC).isoformat(timespec="microseconds"),
        event.actor_id,
        event.kind,
        event.subject,
        event.subject_id,
        event.before,
        event.after,
        event.signed,
    )


def compute_head_hash(key: LogKey, head: EventLogHead) -> str:
    """Return the keyed hash of where the log ends, so that the head can't be moved without the key."""
    return key.digest("head", head.position, head.hash)


def record_events(happenings: Iterable[Happening], *, actor: User | None, now: datetime) -> None:
    """Append entries, in the caller's transaction. Call it last: it holds the log's lock until the commit.

    In the embedded size a worker reads them as soon as they are committed.

    What an entry signs off (``signed_content.py`` of each room) is digested as it stands in the database now.

    Raises:
        TransactionManagementError: outside a transaction, where change and entry could come apart.
    """
    wanted = list(happenings)
    if not wanted:
        return
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError("An event must be recorded in its change's transaction.")
    key = read_keys()[0]
    signed = digest_signed_rows(key, [(told.kind, told.subject_id, told.after) for told in wanted])
    EventLogHead.objects.get_or_create(pk=1)
    head = EventLogHead.objects.select_for_update().get(pk=1)
    entries, words = [], []
    for told, digests in zip(wanted, signed, strict=True):
        head.position += 1
        before, words_before = take_words("before", told.before)
        after, words_after = take_words("after", told.after)
        words += [
            EventWords(event_id=head.position, path=path, text=text, salt=salt)
            for path, (text, salt) in (words_before | words_after).items()
        ]
        event = Event(
            position=head.position,
            happened_at=now,
            actor_id=actor.pk if actor else None,
            kind=told.kind,
            subject=told.subject,
            subject_id=told.subject_id,
            before=before,
            after=after,
            signed=digests,
            key_name=key.name,
            previous_hash=head.hash,
        )
        event.hash = head.hash = compute_hash(key, event)
        entries.append(event)
    Event.objects.bulk_create(entries, batch_size=500)
    EventWords.objects.bulk_create(words, batch_size=500)
    head.key_name = key.name
    head.keyed_hash = compute_head_hash(key, head)
    head.save()
    if settings.NUDGE_ON_EVENTS:
        transaction.on_commit(nudge_readers)


def nudge_readers() -> None:
    """Let a worker read at once what was recorded; beat's next scan reads it where no broker answers."""
    nudge(current_app.signature(READ_EVENTS_TASK))


def describe(instance: models.Model, *names: str) -> dict[str, Any]:
    """Return named fields of a row as plain values for ``before`` or ``after``."""
    return {name: getattr(instance, name) for name in names}
