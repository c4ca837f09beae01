"""How a higher room reads the event log: from where it left off, in order."""

from collections.abc import Sequence

from treatments.models import Event, EventReader


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
