"""An excerpt of the event log for those outside: the entries about some subjects up to a checkpoint, with their words
and the text of each row that they signed off, as it is digested.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC
from typing import Any

from django.db.models import Q

from treatments.event_log.signed_content import Part, list_signed_tables, read_digests, split_by_part
from treatments.event_log.verification import Checkpoint, read_checkpoint
from treatments.models import Event, EventWords


@dataclass(frozen=True, slots=True)
class Excerpt:
    """Entries of the log as plain values.

    Attributes:
        checkpoint: where the log stood.
        entries: in order, each with all fields that its hash is over, and the words that lie beside it.
        rows: what the entries signed off, as it stands now. ``text`` is what the digest is computed of; ``state`` is
            "stands", "erased" (its words are gone) or "gone" (the row is).
    """

    checkpoint: Checkpoint
    entries: tuple[dict[str, Any], ...]
    rows: tuple[dict[str, Any], ...]


def read_excerpt(subjects: Mapping[str, Collection[int]], *, signing_only: Collection[str] = ()) -> Excerpt:
    """Return the entries about these subjects, in a constant number of queries for each kind of row.

    Args:
        subjects: keys by the name of the subject, e.g. ``{"claim": [12]}``.
        signing_only: the subjects of which only the entries that signed something off are wanted.
    """
    checkpoint = read_checkpoint()
    about = Q()
    for subject, keys in subjects.items():
        entries_about = Q(subject=subject, subject_id__in=[str(key) for key in keys])
        about |= entries_about & Q(signed__isnull=False) if subject in signing_only else entries_about
    events = list(Event.objects.filter(about, position__lte=checkpoint.position).order_by("position"))
    words: dict[int, list[dict[str, str]]] = defaultdict(list)
    for found in EventWords.objects.filter(event__in=[event.position for event in events]).order_by("event", "path"):
        words[found.event_id].append({"path": found.path, "text": found.text, "salt": found.salt})
    entries = tuple(_describe_entry(event, words[event.position]) for event in events)
    return Excerpt(checkpoint, entries, tuple(_read_rows(events)))


def _describe_entry(event: Event, words: list[dict[str, str]]) -> dict[str, Any]:
    return {
        "position": event.position,
        "happened_at": event.happened_at.astimezone(UTC).isoformat(timespec="microseconds"),
        "actor": event.actor_id,
        "kind": event.kind,
        "subject": event.subject,
        "subject_id": event.subject_id,
        "before": event.before,
        "after": event.after,
        "signed": event.signed,
        "key_name": event.key_name,
        "previous_hash": event.previous_hash,
        "hash": event.hash,
        "words": words,
    }


def _read_rows(events: Sequence[Event]) -> list[dict[str, Any]]:
    told: dict[str, set[int]] = defaultdict(set)
    for event in events:
        for name, pk, _digest in read_digests(event.signed):
            told[name].add(pk)
    rows = []
    for table in list_signed_tables():
        wanted = {part: told[part.name] for part in table.parts if part.name in told}
        if not wanted:
            continue
        columns = [name for part in table.parts for name in part.columns]
        found = table.model_class._default_manager.filter(pk__in=set().union(*wanted.values())).order_by()
        values = {pk: dict(split_by_part(table, row)) for pk, *row in found.values_list("pk", *columns)}
        for part, keys in wanted.items():
            rows += [_describe_row(part, pk, values.get(pk)) for pk in sorted(keys)]
    return rows


def _describe_row(part: Part, pk: int, values: Mapping[Part, Sequence[Any]] | None) -> dict[str, Any]:
    row: dict[str, Any] = {"part": part.name, "row": pk}
    if values is None:
        return row | {"state": "gone", "text": ""}
    state = "erased" if part.is_erased(pk, values[part]) else "stands"
    return row | {"state": state, "text": part.write(pk, values[part])}
