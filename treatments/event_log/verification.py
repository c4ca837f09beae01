"""Proves that the event log is whole: chain, keyed head, signed content, and checkpoints told outside the database."""

import base64
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path

from django.conf import settings
from django.db import connection

from treatments.event_log.content_walk import ContentWalk, LogFault
from treatments.event_log.guards import find_missing_triggers, list_guards
from treatments.event_log.keys import LogKey, read_keys
from treatments.event_log.recording import WordsWalk, compute_hash, compute_head_hash
from treatments.models import Event, EventLogHead

# Crockford's base 32: no letter that is read for a digit. Sixty bits, since nobody can try codes without the key.
SIGNS, RFC_SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ", "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
CODE = re.compile(rf"(?<![\w-])(\d+)-([{SIGNS}OIL]{{6}})-([{SIGNS}OIL]{{6}})(?![\w-])(?:\s+([0-9a-f]{{64}})\b)?", re.I)
MISREAD = str.maketrans("OIL", "011")


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """The log's last entry at some moment.

    Attributes:
        position: of the entry, which is also how many entries there were.
        code: what is printed: the position, and twelve letters that only who has the key can compute.
        hash: the entry's, '' where only the code is known.
    """

    position: int
    code: str
    hash: str = ""


def read_checkpoint() -> Checkpoint:
    """Return where the log stands now."""
    head = EventLogHead.objects.filter(pk=1).first() or EventLogHead()
    keys = {key.name: key for key in read_keys()}
    key = keys.get(head.key_name) or read_keys()[0]
    return Checkpoint(head.position, _compute_code(key, head.position, head.hash), head.hash)


def _compute_code(key: LogKey, position: int, entry_hash: str) -> str:
    digest = bytes.fromhex(key.digest("checkpoint", position, entry_hash))
    letters = base64.b32encode(digest).decode().translate(str.maketrans(RFC_SIGNS, SIGNS))
    return f"{position}-{letters[:6]}-{letters[6:12]}"


def find_checkpoints(text: str) -> list[Checkpoint]:
    """Return the checkpoints in a text of any kind: the file of each night, mails, a code as it was typed."""
    found: dict[str, Checkpoint] = {}
    for position, first, second, entry_hash in CODE.findall(text):
        letters = f"{first}-{second}".upper().translate(MISREAD)
        code = f"{int(position)}-{letters}"
        found[code] = Checkpoint(int(position), code, entry_hash.lower() or found.get(code, Checkpoint(0, "")).hash)
    return sorted(found.values(), key=lambda checkpoint: checkpoint.position)


def verify_checkpoints(checkpoints: Iterable[Checkpoint]) -> Iterator[LogFault]:
    """Yield the checkpoints that the log as it is now does not go through."""
    wanted = list(checkpoints)
    keys = read_keys()
    hashes = {0: EventLogHead().hash}
    found = Event.objects.filter(position__in=[checkpoint.position for checkpoint in wanted])
    hashes |= dict(found.values_list("position", "hash"))
    last = Event.objects.order_by("position").values_list("position", flat=True).last() or 0
    for checkpoint in wanted:
        entry_hash = hashes.get(checkpoint.position)
        if entry_hash is None:
            yield LogFault(
                last,
                f"The log ends at entry {last}; at checkpoint {checkpoint.code} it had {checkpoint.position} entries. "
                "The end was cut off, or an older copy of the database was put back.",
            )
        elif checkpoint.hash and checkpoint.hash != entry_hash:
            yield LogFault(checkpoint.position, f"Entry {checkpoint.position} is not the one of {checkpoint.code}.")
        elif not checkpoint.hash and checkpoint.code not in {
            _compute_code(key, checkpoint.position, entry_hash) for key in keys
        }:
            yield LogFault(
                checkpoint.position,
                f"Code {checkpoint.code} does not fit entry {checkpoint.position}: the log was written anew after it, "
                "the code was copied wrongly, or its key is neither LOG_KEY nor one of LOG_KEY_FALLBACKS.",
            )


def write_checkpoint(*, now: datetime) -> Checkpoint | None:
    """Write where the log stands to the file of checkpoints; None where it has not gone on since the last one."""
    checkpoint = read_checkpoint()
    path = Path(settings.LOG_CHECKPOINTS)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    written = find_checkpoints(path.read_text("utf-8")) if path.exists() else []
    if any(checkpoint.code == known.code for known in written):
        return None
    # Only ever added to, and on the disk before anybody is told.
    handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(f"{now.astimezone(UTC):%Y-%m-%d %H:%M} UTC  {checkpoint.code}  {checkpoint.hash}\n")
        file.flush()
        os.fsync(file.fileno())
    return checkpoint


FIRST_HASH = "0" * 64
ENTRIES_AT_ONCE = 500


class ChainWalk:
    """Takes the entries one after another and tells what is wrong with each."""

    def __init__(self) -> None:
        self.keys = {key.name: key for key in read_keys()}
        # The newest key has the highest number; a log never goes back to an older one, which may have leaked.
        self._ages = {key.name: -number for number, key in enumerate(read_keys())}
        self._age = -len(self._ages)
        self._unknown: set[str] = set()
        self.previous_hash, self.position = FIRST_HASH, 0

    def find_faults(self, event: Event) -> Iterator[LogFault]:
        """Yield the faults of the next entry."""
        expected = self.position + 1
        if event.position != expected:
            missing = f"{expected}" if event.position == expected + 1 else f"{expected} to {event.position - 1}"
            yield LogFault(event.position, f"Entry {missing} is missing before entry {event.position}.")
        elif event.previous_hash != self.previous_hash:
            yield LogFault(event.position, f"Entry {event.position} does not follow the entry before it.")
        self.previous_hash, self.position = event.hash, event.position
        key = self.keys.get(event.key_name)
        if key is None:
            if event.key_name not in self._unknown:
                self._unknown.add(event.key_name)
                yield LogFault(event.position, _describe_unknown_key(f"Entry {event.position}", event.key_name))
            return
        if event.hash != compute_hash(key, event):
            yield LogFault(event.position, f"Entry {event.position} was changed after it was written.")
        if self._ages[key.name] < self._age:
            yield LogFault(event.position, f"Entry {event.position} was written with a key that was replaced before.")
        self._age = self._ages[key.name]

    def find_faults_of_head(self) -> Iterator[LogFault]:
        """Yield the faults of where the log is said to end, once all its entries were taken."""
        head = EventLogHead.objects.filter(pk=1).first()
        if head is None and self.position == 0:
            return
        if head is None or (head.position, head.hash) != (self.position, self.previous_hash):
            stands = head.position if head else "nowhere"
            sentence = f"The log ends at entry {self.position}, but its head stands at {stands}."
            yield LogFault(self.position, sentence)
            return
        if head.position == 0:
            return
        key: LogKey | None = self.keys.get(head.key_name)
        if key is None:
            yield LogFault(self.position, _describe_unknown_key("The head of the log", head.key_name))
        elif head.keyed_hash != compute_head_hash(key, head):
            yield LogFault(self.position, f"The head of the log was moved to entry {self.position} without the key.")


def _describe_unknown_key(what: str, name: str) -> str:
    return f"{what} was written with key '{name}', which is neither LOG_KEY nor one of LOG_KEY_FALLBACKS."


def verify_log() -> Iterator[LogFault]:
    """Walk the whole log and yield what was changed, removed or put in: entries, and rows that they signed off."""
    walk, words = ChainWalk(), WordsWalk()
    content = ContentWalk(walk.keys)
    log = Event.objects.order_by("position").iterator(chunk_size=2000)
    while events := list(islice(log, ENTRIES_AT_ONCE)):
        for event in events:
            yield from walk.find_faults(event)
        yield from (LogFault(*fault) for fault in words.find_faults(events))
        yield from content.find_faults(events)
    yield from walk.find_faults_of_head()
    yield from (LogFault(*fault) for fault in words.find_faults_at_end())
    yield from content.find_faults_of_changes()
    yield from content.find_rows_without_entry()
    unguarded = sorted({trigger.table for trigger in find_missing_triggers(list_guards(), connection)})
    if unguarded:
        yield LogFault(0, f"Guards are gone from {', '.join(unguarded)}; `manage.py migrate` puts them back.")
