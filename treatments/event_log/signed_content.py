"""What is signed off, table by table: digested into the event log as it is signed, and never to be changed again.

Each room lists its tables (``signed_content.py``), with those that hold nothing signed off and why.
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any, NamedTuple

from django.apps import apps
from django.db import models
from django.db.models import Q

from treatments.event_log.keys import LogKey

KEYS_AT_ONCE = 500
# 128 bits: enough for what nobody without the key can compute at all.
DIGITS = 32


class RowKey(NamedTuple):
    """How an event names the rows that it signs off.

    Attributes:
        lookup: the column of the row, or the relation from it, that the event names.
        key: under which key of ``after`` the event names it; '' where it is the event's subject.
    """

    lookup: str
    key: str = ""


@dataclass(frozen=True, slots=True)
class Later:
    """Columns that a later act may set, and the events that then tell of them.

    Attributes:
        columns: the columns.
        signed_off_by: the events, by kind.
        once: the condition, over OLD and NEW, under which the database lets them be set.
        words: further columns that the act sets, with a person's words; see ``SignedTable.words``.
    """

    columns: tuple[str, ...]
    signed_off_by: Mapping[str, RowKey]
    once: str
    words: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class SignedTable:
    """One table with signed-off rows. Every column that is not named here is a fact and never changes again.

    Attributes:
        name: under which the digests stand in the log; never to be changed.
        model: the model's label.
        signed_off_by: the events that sign rows off, by kind.
        stands: the condition, over OLD, under which the database refuses to change a row.
        says: what the database then says.
        signed: which rows are signed off; the log must tell of every one of them.
        words: columns with a person's words, with what stands there once they were erased; ``{pk}`` is the row's key.
        later: columns that a later act sets.
        left_out: columns that are not signed off, with why.
        may_go: whether an erasure deletes rows.
        only_later: whether only what stands in ``later`` is signed off, and only once an event told of it.
    """

    name: str
    model: str
    signed_off_by: Mapping[str, RowKey]
    stands: str
    says: str
    signed: Q = field(default_factory=Q)
    words: Mapping[str, str] = field(default_factory=dict)
    later: Mapping[str, Later] = field(default_factory=dict)
    left_out: Mapping[str, str] = field(default_factory=dict)
    may_go: bool = False
    only_later: bool = False

    @cached_property
    def model_class(self) -> type[models.Model]:
        found: type[models.Model] = apps.get_model(self.model)
        return found

    @cached_property
    def facts(self) -> tuple[str, ...]:
        """The columns that never change."""
        if self.only_later:
            return ()
        other = {*self.words, *self.left_out}
        for later in self.later.values():
            other |= {*later.columns, *later.words}
        names = [column.attname for column in self.model_class._meta.concrete_fields if not column.primary_key]
        unknown = other - set(names)
        assert not unknown, f"{self.model} has no {unknown}"
        return tuple(name for name in names if name not in other)

    @cached_property
    def parts(self) -> tuple["Part", ...]:
        """What is digested by itself: the facts, each column of words, each group of later columns."""
        found = [Part(self, self.name, self.facts, self.signed_off_by)] if self.facts else []
        for name, erased in self.words.items():
            found.append(Part(self, f"{self.name}.{name}", (name,), self.signed_off_by, erased=erased))
        for act, later in self.later.items():
            signed_off_by = {**self.signed_off_by, **later.signed_off_by}
            found.append(Part(self, f"{self.name}.{act}", later.columns, signed_off_by, changes=True))
            for name, erased in later.words.items():
                found.append(Part(self, f"{self.name}.{name}", (name,), signed_off_by, erased=erased, changes=True))
        return tuple(found)

    def name_row(self, pk: object) -> str:
        """Return how people are told which row it is."""
        return f"{self.model_class._meta.verbose_name} {pk}"


@dataclass(frozen=True, eq=False)
class Part:
    """Columns of a signed table that have one digest for each row.

    Attributes:
        erased: for words, what stands there once they were erased.
        changes: whether a later event may tell it anew; then the last one counts.
    """

    table: SignedTable
    name: str
    columns: tuple[str, ...]
    signed_off_by: Mapping[str, RowKey]
    erased: str | None = None
    changes: bool = False

    @cached_property
    def _defaults(self) -> list[Any]:
        meta = self.table.model_class._meta
        return [meta.get_field(name.removesuffix("_id")).get_default() for name in self.columns]  # type: ignore[union-attr]

    @property
    def is_facts(self) -> bool:
        return self.erased is None and not self.changes

    def needs_entry(self, values: Sequence[Any]) -> bool:
        """Whether the log must tell of these values: of facts always, of other columns once something stands there."""
        return self.is_facts or any(v != d for v, d in zip(values, self._defaults, strict=True))

    def write(self, pk: object, values: Sequence[Any]) -> str:
        """Return the text of one row that its digest is computed of, '' where nothing must be told.

        A column that still has its default is left out, so that a column added later changes no digest.
        """
        told = {
            name: value
            for name, value, default in zip(self.columns, values, self._defaults, strict=True)
            if value != default
        }
        return _write_canonical([self.name, str(pk), told]) if told or self.is_facts else ""

    def digest(self, key: LogKey, pk: object, values: Sequence[Any]) -> str:
        """Return the digest of one row, '' where nothing must be told."""
        text = self.write(pk, values)
        return key.digest_text(text)[:DIGITS] if text else ""

    def is_erased(self, pk: object, values: Sequence[Any]) -> bool:
        """Whether nothing is left but what an erasure leaves."""
        return self.erased is not None and values[0] == self.erased.format(pk=pk)


def _plain(value: Any) -> str:
    if isinstance(value, Decimal):
        # Whatever number of places the column has.
        return format(value.normalize(), "f")
    if isinstance(value, date):
        return value.isoformat()
    return str(value)


# One encoder for all, since json.dumps makes one for each call.
_write_canonical = json.JSONEncoder(sort_keys=True, separators=(",", ":"), default=_plain).encode

_TABLES: list[SignedTable] = []
_NOT_SIGNED: dict[str, str] = {}


def keep_signed_content(tables: Sequence[SignedTable], not_signed: Mapping[str, str]) -> None:
    """Add a room's list; to be called by the room's ``ready``."""
    _TABLES.extend(table for table in tables if table not in _TABLES)
    _NOT_SIGNED.update(not_signed)


def list_signed_tables() -> list[SignedTable]:
    """Return the signed tables of all apps."""
    return list(_TABLES)


def list_unsigned_models() -> dict[str, str]:
    """Return the models of all apps that hold nothing signed off, each with the reason."""
    return dict(_NOT_SIGNED)


def digest_signed_rows(
    key: LogKey, events: Sequence[tuple[str, str, Mapping[str, Any] | None]]
) -> list[dict[str, str] | None]:
    """Return for each event the digests of the rows that it signs off, read as they are stored; see ``read_digests``.

    Args:
        key: the key.
        events: kind, key of the subject and ``after`` of each.
    """
    found: list[dict[str, list[str]]] = [{} for _ in events]
    for table in _TABLES:
        for lookup, places in _find_wanted(table, events).items():
            for numbers, part, pk, digest in _digest_rows(key, table, lookup, places):
                for number in numbers:
                    kind = events[number][0]
                    # That a later act emptied a column is told too.
                    if kind in part.signed_off_by and (digest or kind not in table.signed_off_by):
                        found[number].setdefault(part.name, []).append(f"{pk}:{digest}")
    # A text for each part, since many short ones in JSON take long to write.
    return [{name: " ".join(digests) for name, digests in told.items()} or None for told in found]


def read_digests(signed: Mapping[str, Any] | None) -> Iterator[tuple[str, int, str]]:
    """Yield the part, the row's key and the digest of each row that an event signed off."""
    for name, text in (signed or {}).items():
        # Only a text that somebody changed has another form; that is the chain's to tell.
        for item in str(text).split():
            pk, _, digest = item.partition(":")
            if pk.isdigit():
                yield name, int(pk), digest


def _find_wanted(
    table: SignedTable, events: Sequence[tuple[str, str, Mapping[str, Any] | None]]
) -> dict[str, dict[int, list[int]]]:
    """Return by lookup and key the numbers of the events that tell of rows of this table."""
    signed_off_by = {kind: told for part in table.parts for kind, told in part.signed_off_by.items()}
    wanted: dict[str, dict[int, list[int]]] = defaultdict(lambda: defaultdict(list))
    for number, (kind, subject_id, after) in enumerate(events):
        told = signed_off_by.get(kind)
        if told is None:
            continue
        key = (after or {}).get(told.key) if told.key else subject_id
        for one in key if isinstance(key, list) else [key]:
            if one is not None:
                wanted[told.lookup][int(one)].append(number)
    return wanted


def _digest_rows(
    key: LogKey, table: SignedTable, lookup: str, places: Mapping[int, list[int]]
) -> Iterator[tuple[list[int], Part, object, str]]:
    columns = [name for part in table.parts for name in part.columns]
    keys = sorted(places)
    for first in range(0, len(keys), KEYS_AT_ONCE):
        rows = table.model_class._default_manager.filter(
            table.signed, **{f"{lookup}__in": keys[first : first + KEYS_AT_ONCE]}
        )
        for found, pk, *values in rows.order_by().values_list(lookup, "pk", *columns):
            for part, own in split_by_part(table, values):
                yield places[found], part, pk, part.digest(key, pk, own)


def split_by_part(table: SignedTable, values: Sequence[Any]) -> Iterable[tuple[Part, Sequence[Any]]]:
    """Yield each part of a row with its own values."""
    at = 0
    for part in table.parts:
        yield part, values[at : at + len(part.columns)]
        at += len(part.columns)
