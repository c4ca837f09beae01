"""Writes and verifies the event log: what happened, by whom, before and after, each entry chained to the one before.

Entries are written in the transaction of the change that they record, so that neither stands without the other.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction

from treatments.models import Event, EventLogHead, EventReader, User

FIRST_HASH = "0" * 64


@dataclass(frozen=True, slots=True)
class Happening:
    """Something to be written to the log. ``before`` and ``after`` hold plain values, dates and decimals."""

    kind: str
    subject: str
    subject_id: str
    before: dict[str, Any] | None = None
    after: dict[str, Any] | None = None


def _plain(value: dict[str, Any] | None) -> Any:
    """Return the value as JSON gives it back, so that the hash is over what is stored."""
    return None if value is None else json.loads(json.dumps(value, cls=DjangoJSONEncoder))


def compute_hash(
    previous_hash: str,
    position: int,
    happened_at: datetime,
    actor_id: int | None,
    happening: Happening,
) -> str:
    """Return the SHA-256 that chains an entry to the one before, over a canonical JSON of all its fields."""
    text = json.dumps(
        [
            previous_hash,
            position,
            happened_at.astimezone(UTC).isoformat(timespec="microseconds"),
            actor_id,
            happening.kind,
            happening.subject,
            happening.subject_id,
            happening.before,
            happening.after,
        ],
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
    )
    return hashlib.sha256(text.encode()).hexdigest()


def record_events(happenings: Iterable[Happening], *, actor: User | None, now: datetime) -> None:
    """Append entries, in the caller's transaction. Call it last: it holds the log's lock until the commit.

    Raises:
        TransactionManagementError: outside a transaction, where change and entry could come apart.
    """
    wanted = list(happenings)
    if not wanted:
        return
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError("An event must be recorded in its change's transaction.")
    EventLogHead.objects.get_or_create(pk=1)
    head = EventLogHead.objects.select_for_update().get(pk=1)
    entries = []
    actor_id = actor.pk if actor else None
    for happening in wanted:
        plain = Happening(
            happening.kind,
            happening.subject,
            happening.subject_id,
            _plain(happening.before),
            _plain(happening.after),
        )
        head.position += 1
        entry_hash = compute_hash(head.hash, head.position, now, actor_id, plain)
        entries.append(
            Event(
                position=head.position,
                happened_at=now,
                actor_id=actor_id,
                kind=plain.kind,
                subject=plain.subject,
                subject_id=plain.subject_id,
                before=plain.before,
                after=plain.after,
                previous_hash=head.hash,
                hash=entry_hash,
            )
        )
        head.hash = entry_hash
    Event.objects.bulk_create(entries, batch_size=500)
    head.save()


def describe(instance: models.Model, *names: str) -> dict[str, Any]:
    """Return named fields of a row as plain values for ``before`` or ``after``."""
    return {name: getattr(instance, name) for name in names}


@dataclass(frozen=True, slots=True)
class LogFault:
    """A place at which the log is not as it was written."""

    position: int
    sentence: str


def verify_log() -> Iterator[LogFault]:
    """Walk the whole log and yield every entry that was changed, removed or put in between."""
    previous_hash, expected = FIRST_HASH, 0
    for event in Event.objects.order_by("position").iterator(chunk_size=2000):
        expected += 1
        if event.position != expected:
            missing = f"{expected}" if event.position == expected + 1 else f"{expected} to {event.position - 1}"
            yield LogFault(event.position, f"Entry {missing} is missing before entry {event.position}.")
            expected = event.position
        elif event.previous_hash != previous_hash:
            yield LogFault(event.position, f"Entry {event.position} does not follow the entry before it.")
        happening = Happening(event.kind, event.subject, event.subject_id, event.before, event.after)
        if event.hash != compute_hash(
            event.previous_hash, event.position, event.happened_at, event.actor_id, happening
        ):
            yield LogFault(event.position, f"Entry {event.position} was changed after it was written.")
        previous_hash = event.hash
    head = EventLogHead.objects.filter(pk=1).first()
    if head is None or (head.position, head.hash) != (expected, previous_hash):
        stands = head.position if head else "nowhere"
        yield LogFault(expected, f"The log ends at entry {expected}, but its head stands at {stands}.")


def read_events(reader: str, kinds: Sequence[str], *, limit: int = 1000) -> list[Event]:
    """Return the next events of these kinds that ``reader`` has not handled, in order; lock its place meanwhile.

    Call ``mark_read`` with the last one in the same transaction.
    """
    EventReader.objects.get_or_create(name=reader)
    place = EventReader.objects.select_for_update().get(name=reader)
    found = Event.objects.filter(position__gt=place.position, kind__in=kinds).order_by("position")
    return list(found[:limit])


def mark_read(reader: str, event: Event) -> None:
    """Remember that ``reader`` has handled everything up to ``event``."""
    EventReader.objects.filter(name=reader, position__lt=event.position).update(position=event.position)
