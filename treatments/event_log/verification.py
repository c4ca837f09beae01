"""Walks the whole event log and tells every place at which it is not as it was written."""

from collections.abc import Iterator
from itertools import islice

from django.db import connection

from treatments.event_log.content_walk import ContentWalk
from treatments.event_log.database_guards import find_missing_triggers, list_guards
from treatments.event_log.faults import LogFault
from treatments.event_log.keys import LogKey, read_keys
from treatments.event_log.recording import compute_hash, compute_head_hash
from treatments.event_log.words import WordsWalk
from treatments.models import Event, EventLogHead

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
                yield LogFault(event.position, _say_unknown_key(f"Entry {event.position}", event.key_name))
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
            yield LogFault(self.position, _say_unknown_key("The head of the log", head.key_name))
        elif head.keyed_hash != compute_head_hash(key, head):
            yield LogFault(self.position, f"The head of the log was moved to entry {self.position} without the key.")


def _say_unknown_key(what: str, name: str) -> str:
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
