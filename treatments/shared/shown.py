"""What a person agreed to is what was shown: the place in the event log up to which it was read, and what came since.

A form carries that place. Who then changes something first asks here whether its records have changed meanwhile.
"""

import re
from collections.abc import Iterable, Mapping

from django.db.models import Model, Q

from treatments.models import Event, EventLogHead

# Subjects of the event log, each with the keys that matter; in the order in which their rows are locked.
Records = Mapping[str, Iterable[int | str]]
MOST_TOLD = 20


class ChangedSinceShownError(Exception):
    """What was shown has changed since; ``changes`` are the entries of the event log that tell how."""

    def __init__(self, changes: list[Event]) -> None:
        super().__init__(", ".join(event.kind for event in changes))
        self.changes = changes


def find_log_position() -> int:
    """Return the last position of the event log. Ask before reading what is to be shown, never after."""
    return EventLogHead.objects.values_list("position", flat=True).filter(pk=1).first() or 0


def name_subject(model: type[Model]) -> str:
    """Return the word under which the event log speaks of rows of a model, e.g. ``work_duration``."""
    return re.sub(r"(?<!^)(?=[A-Z])", "_", model.__name__).lower()


def name_records(*rows: Model | Iterable[Model]) -> dict[str, list[int | str]]:
    """Return rows as records of the event log; several of a kind come as one QuerySet or list."""
    found: dict[str, list[int | str]] = {}
    for given in rows:
        for row in [given] if isinstance(given, Model) else given:
            found.setdefault(name_subject(type(row)), []).append(row.pk)
    return found


def list_changes_since(position: int, records: Records) -> list[Event]:
    """Return what the event log says of these records after a position, the first few, the oldest first."""
    about = Q(pk__in=[])
    for subject, keys in records.items():
        about |= Q(subject=subject, subject_id__in=[str(key) for key in keys])
    return list(
        Event.objects.filter(about, position__gt=position).select_related("actor").order_by("position")[:MOST_TOLD]
    )


def check_unchanged_since(position: int | None, records: Records) -> None:
    """Refuse where records have changed after the position; call it with their rows locked.

    Args:
        position: None where nothing was shown before, as for an import.

    Raises:
        ChangedSinceShownError: with what changed.
    """
    if position is None:
        return
    changes = list_changes_since(position, records)
    if changes:
        raise ChangedSinceShownError(changes)
