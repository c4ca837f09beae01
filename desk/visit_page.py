"""What the page of a visit shows besides the visit itself: what it serves, its parts, and what happened to it."""

from datetime import datetime
from typing import Any

from django.db.models import CharField
from django.utils.translation import gettext_lazy

from scheduling.booking.vehicle_reading import OPEN
from scheduling.models import Appointment, AppointmentItem, DueItem
from treatments.models import Event
from treatments.shop_reference import map_people
from treatments.standing_query import Given, StandingQuery, StandingRows


def list_served(found: Appointment) -> list[tuple[str, DueItem | None]]:
    """Return the due items that a visit was booked for, each with its dates while they are on the index."""
    keys = [key for (key,) in KEYS_OF_VISIT.ask(found.pk)]
    items = {item.key: item for item in ITEMS_OF_COVER.ask(found.cover_id)} if keys and found.cover_id else {}
    return [(key, items.get(key)) for key in keys]


KEYS_OF_VISIT = StandingQuery(lambda: AppointmentItem.objects.filter(appointment=Given(0)).values_list("due_key"))
ITEMS_OF_COVER = StandingRows(lambda: DueItem.objects.filter(cover=Given(0)))
PARTS_OF_VISIT = StandingRows(lambda: Appointment.objects.filter(splits=Given(0)))
EVENTS_OF_VISIT = StandingRows(
    lambda: Event.objects.filter(subject="appointment", subject_id=Given(0, CharField())).order_by("-position")
)


def list_parts(found: Appointment) -> dict[str, Any]:
    """Return the visits in which a split visit goes on, and which part still stands whatever becomes of the other."""
    parts = PARTS_OF_VISIT.ask(found.pk)
    before = found.splits
    return {
        "parts": parts,
        "goes_on_in": next((part for part in parts if part.status in OPEN), None),
        "went_on_from": before if before is not None and before.status in OPEN else None,
    }


EVENT_WORDS = {
    "appointment.booked": gettext_lazy("booked"),
    "appointment.moved": gettext_lazy("moved"),
    "appointment.cancelled": gettext_lazy("cancelled"),
    "appointment.no_show": gettext_lazy("did not come"),
    "appointment.begun": gettext_lazy("begun"),
    "appointment.done": gettext_lazy("done"),
    "appointment.split": gettext_lazy("split"),
}


def list_events(found: Appointment) -> list[dict[str, Any]]:
    """Return what happened to a visit, the last first, each with the times before and after where they changed."""
    events, people = EVENTS_OF_VISIT.ask(str(found.pk)), map_people()
    listed = []
    for event in events:
        event.actor = people[event.actor_id] if event.actor_id else None
        before, after = event.before or {}, event.after or {}
        moved = before and before.get("starts_at") != after.get("starts_at")
        longer = before and before.get("work_ends_at") != after.get("work_ends_at")
        listed.append(
            {
                "event": event,
                "words": str(EVENT_WORDS.get(event.kind, event.kind)),
                "from": _read_moment(before.get("starts_at")) if moved else None,
                "to": _read_moment(after.get("starts_at")) if moved or not before else None,
                "until": _read_moment(after.get("work_ends_at")) if longer else None,
                "reason": after.get("reason", "") if after.get("reason") != before.get("reason") else "",
            }
        )
    return listed


def _read_moment(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None
