"""Writes the event log, in the transaction of the change that is recorded, and reads it from where a reader left off.
Words of a person are kept beside the log, so that they can be erased and the chain still holds.
"""

import hashlib
import hmac
import json
import re
import secrets
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import Enum
from typing import Any

from celery import current_app
from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction

from treatments.event_log.keys import LogKey, read_keys
from treatments.event_log.signed_content import digest_signed_rows
from treatments.models import Event, EventLogHead, EventReader, EventWords, User
from treatments.shared.long_work import nudge

# Keys of a payload under which the program writes codes: numbers of records, members of closed lists, digests.
CODE_KEYS = frozenset(
    {
        "amount",
        "bay_kind",
        "body_style",
        "changed",
        "code",
        "corrosivity",
        "country",
        "cover",
        "currency",
        "due_key",
        "family",
        "height",
        "hours",
        "key",
        "kind",
        "language",
        "number",
        "open_weekdays",
        "order",
        "recommended",
        "role",
        "same_damage_as",
        "sha256",
        "skill",
        "skills",
        "stage",
        "status",
        "subdivision",
        "suited_families",
        "time_zone",
        "unit",
        "vin",
        "vin_mark",
        "visit",
        "zone",
        "zones",
    }
)
# The text of warranty terms, which every customer may read.
OPEN_KEYS = frozenset({"document"})
CODE = re.compile(r"[\w.:+-]{0,80}")
DIGEST_KEY = "words_digest"
ERASED_EVENT = "customer.erased"


def take_words(side: str, payload: Mapping[str, Any] | None) -> tuple[Any, dict[str, tuple[str, str]]]:
    """Return a payload with a digest in place of each text that may be somebody's, and those texts with their salts.

    Args:
        side: ``before`` or ``after``.
        payload: what is to be recorded, as the caller gave it.
    """
    if payload is None:
        return None, {}
    taken: dict[str, tuple[str, str]] = {}
    plain = {key: _take(f"{side}.{key}", key, value, taken) for key, value in payload.items()}
    # As JSON gives it back, so that the hash is over what is stored.
    return json.loads(json.dumps(plain, cls=DjangoJSONEncoder)), taken


def _take(path: str, key: str, value: Any, taken: dict[str, tuple[str, str]]) -> Any:
    if key in OPEN_KEYS or _is_code(key, value):
        return value
    if isinstance(value, Mapping):
        return {name: _take(f"{path}.{name}", str(name), inner, taken) for name, inner in value.items()}
    text = value if isinstance(value, str) else json.dumps(value, cls=DjangoJSONEncoder, ensure_ascii=False)
    salt = secrets.token_hex(16)
    taken[path] = (str(text), salt)
    return {DIGEST_KEY: compute_digest(salt, str(text))}


def _is_code(key: str, value: Any) -> bool:
    if isinstance(value, str) and not isinstance(value, Enum):
        return not value or (key in CODE_KEYS and CODE.fullmatch(value) is not None)
    if isinstance(value, list | tuple):
        return all(_is_code(key, inner) for inner in value)
    # A name under which nobody is known: a mapping is looked into, all else is a number, a day or of a closed list.
    return not isinstance(value, Mapping)


def compute_digest(salt: str, text: str) -> str:
    """Return the digest of words; without the salt it can't be told what they were."""
    return hmac.new(bytes.fromhex(salt), text.encode(), hashlib.sha256).hexdigest()


def list_digests(event: Event) -> dict[str, str]:
    """Return the digests in an event by the path at which each stands."""
    found: dict[str, str] = {}
    for side, payload in (("before", event.before), ("after", event.after)):
        _collect(side, payload, found)
    return found


def _collect(path: str, value: Any, found: dict[str, str]) -> None:
    if isinstance(value, dict):
        if set(value) == {DIGEST_KEY}:
            found[path] = value[DIGEST_KEY]
            return
        for key, inner in value.items():
            _collect(f"{path}.{key}", inner, found)


class WordsWalk:
    """Takes the entries of the log in order and tells whose words are others than were recorded, or are missing."""

    def __init__(self) -> None:
        self._missing: dict[int, str] = {}

    def find_faults(self, events: list[Event]) -> Iterator[tuple[int, str]]:
        """Yield the position and the fault of each of these entries whose words were changed or added."""
        kept: dict[int, dict[str, EventWords]] = {}
        first, last = events[0].position, events[-1].position
        for words in EventWords.objects.filter(event__gte=first, event__lte=last):
            kept.setdefault(words.event_id, {})[words.path] = words
        for event in events:
            digests, there_is = list_digests(event), kept.get(event.position, {})
            for path, digest in digests.items():
                found = there_is.get(path)
                if found is None:
                    self._missing[event.position] = path
                elif compute_digest(found.salt, found.text) != digest:
                    yield event.position, f"The words of entry {event.position} ({path}) were changed."
            for path in there_is.keys() - digests.keys():
                yield event.position, f"Entry {event.position} never had the words that lie beside it ({path})."
            if event.kind == ERASED_EVENT:
                for position in (event.after or {}).get("events", ()):
                    self._missing.pop(position, None)

    def find_faults_at_end(self) -> Iterator[tuple[int, str]]:
        """Yield the entries whose words are gone although no entry says that they were erased."""
        for position, path in self._missing.items():
            yield position, f"The words of entry {position} ({path}) are gone, and no entry says that they were erased."


# The task of a higher app, which no import may name here.
READ_EVENTS_TASK = "desk.follow_events"


@dataclass(frozen=True, slots=True)
class Happening:
    """Something to be written to the log. ``before`` and ``after`` hold plain values, dates and decimals.

    A text in them that is no code is kept beside the log, so that it can be erased; see ``take_words``.
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

    What an entry signs off (``signed_content.py`` of each app) is digested as it stands in the database now.

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
