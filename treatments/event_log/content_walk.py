"""Walks the signed content beside the event log and compares it with what was digested when it was signed.
What does not fit is a fault with its place.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from treatments.event_log.keys import LogKey
from treatments.event_log.signed_content import (
    KEYS_AT_ONCE,
    Part,
    SignedTable,
    list_signed_tables,
    read_digests,
    split_by_part,
)
from treatments.models import Event


@dataclass(frozen=True, slots=True)
class LogFault:
    """A place at which the log, or what it tells of, is not as it was written.

    Attributes:
        position: the entry; 0 where no entry tells of it.
        sentence: what is wrong.
        row: the model's label and key of the row that is meant, '' where it is the log itself.
    """

    position: int
    sentence: str
    row: str = ""


# What one part of one row was when an event told of it: the event, and the digest.
LoggedDigest = tuple[Event, str]


class RowSet:
    """Keys of rows, a bit for each, so that those of millions of rows fit into memory."""

    # Beyond it a changed entry could name a key for which there is no memory.
    MOST_BITS = 1 << 30

    def __init__(self) -> None:
        self._bits = bytearray()
        self._others: set[int] = set()

    def add(self, pk: int) -> None:
        if pk >= self.MOST_BITS:
            self._others.add(pk)
            return
        place = pk >> 3
        if place >= len(self._bits):
            self._bits.extend(bytes(place + 1 - len(self._bits) + 4096))
        self._bits[place] |= 1 << (pk & 7)

    def __contains__(self, pk: int) -> bool:
        place = pk >> 3
        return pk in self._others or (place < len(self._bits) and bool(self._bits[place] & (1 << (pk & 7))))


class ContentWalk:
    """Takes the entries of the log in any number of goes and tells which rows are not as they were signed off."""

    def __init__(self, keys: Mapping[str, LogKey]) -> None:
        self._keys = keys
        self._told: dict[str, RowSet] = defaultdict(RowSet)
        self._parts = {part.name: part for table in list_signed_tables() for part in table.parts}
        self._erased: Counter[str] = Counter()
        self._erasures: Counter[str] = Counter()

    def find_faults(self, events: Sequence[Event]) -> Iterator[LogFault]:
        """Yield what differs from what these entries signed off once and for all."""
        for event in events:
            self._note_erasures(event)
        yield from self._compare(events, changes=False)

    def find_faults_of_changes(self) -> Iterator[LogFault]:
        """Yield what differs from what the log said last of columns that a later act sets."""
        kinds = {kind for part in self._parts.values() if part.changes for kind in part.signed_off_by}
        chunk: list[Event] = []
        for event in Event.objects.filter(kind__in=kinds).order_by("-position").iterator(chunk_size=2000):
            chunk.append(event)
            if len(chunk) == KEYS_AT_ONCE:
                yield from self._compare(chunk, changes=True)
                chunk = []
        yield from self._compare(chunk, changes=True)

    def find_rows_without_entry(self) -> Iterator[LogFault]:
        """Yield the signed-off rows of which no entry tells; to be called last."""
        for table in list_signed_tables():
            if table.only_later:
                continue
            columns = [name for part in table.parts for name in part.columns]
            rows = table.model_class._default_manager.filter(table.signed).order_by("pk").distinct()
            for pk, *values in rows.values_list("pk", *columns).iterator(chunk_size=2000):
                for part, own in split_by_part(table, values):
                    if part.needs_entry(own) and pk not in self._told[part.name]:
                        what = "is on record" if part.is_facts else f"says something as {_name_part(part)}"
                        yield self._make_fault(table, pk, 0, f"{what}, but no entry of the log tells of it")
                        break
        for label, count in sorted(self._erased.items()):
            if count > self._erasures[label]:
                more = count - self._erasures[label]
                yield LogFault(0, f"{label}: {more} more rows were erased than the entries of erasures tell.", label)

    def _note_erasures(self, event: Event) -> None:
        told = (event.after or {}).get("erased")
        if isinstance(told, dict):
            self._erasures.update({label: int(count) for label, count in told.items()})

    def _compare(self, events: Sequence[Event], *, changes: bool) -> Iterator[LogFault]:
        wanted: dict[SignedTable, dict[int, list[tuple[Part, LoggedDigest]]]] = {}
        for event in events:
            for name, pk, digest in read_digests(event.signed):
                part = self._parts.get(name)
                # What a later act set is told by the last event; these come in the order from last to first.
                if part is None or part.changes is not changes or (changes and pk in self._told[name]):
                    continue
                self._told[name].add(pk)
                wanted.setdefault(part.table, defaultdict(list))[pk].append((part, (event, digest)))
        for table, rows in wanted.items():
            yield from self._compare_rows(table, rows)

    def _compare_rows(
        self, table: SignedTable, rows: Mapping[int, list[tuple[Part, LoggedDigest]]]
    ) -> Iterator[LogFault]:
        columns = [name for part in table.parts for name in part.columns]
        keys = sorted(rows)
        for first in range(0, len(keys), KEYS_AT_ONCE):
            wanted = keys[first : first + KEYS_AT_ONCE]
            found = {
                pk: dict(split_by_part(table, values))
                for pk, *values in table.model_class._default_manager.filter(pk__in=wanted)
                .order_by()
                .values_list("pk", *columns)
            }
            for pk in wanted:
                yield from self._compare_row(table, pk, found.get(pk), rows[pk])

    def _compare_row(
        self,
        table: SignedTable,
        pk: int,
        values: Mapping[Part, Sequence[Any]] | None,
        told: Sequence[tuple[Part, LoggedDigest]],
    ) -> Iterator[LogFault]:
        for part, (event, digest) in told:
            since = f"entry {event.position}, {event.kind} of {event.subject} {event.subject_id}"
            if values is None:
                if part.is_facts and table.may_go:
                    self._erased[table.model] += 1
                elif part.is_facts:
                    yield self._make_fault(table, pk, event.position, f"is gone; it was signed off by {since}")
                continue
            key = self._keys.get(event.key_name)
            # An unknown key is a fault of the entry itself.
            if key is None or part.digest(key, pk, values[part]) == digest:
                continue
            if part.is_erased(pk, values[part]):
                self._erased[f"{table.model}.{part.columns[0]}"] += 1
                continue
            what = "" if part.is_facts else f" ({_name_part(part)})"
            yield self._make_fault(table, pk, event.position, f"was changed{what} since {since}")

    def _make_fault(self, table: SignedTable, pk: object, position: int, what: str) -> LogFault:
        name = table.name_row(pk)
        return LogFault(position, f"{name[0].upper()}{name[1:]} {what}.", f"{table.model} {pk}")


def _name_part(part: Part) -> str:
    return ", ".join(name.removesuffix("_id") for name in part.columns)
