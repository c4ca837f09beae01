"""What the page of a visit shows besides the visit itself: what it serves, its parts, and what happened to it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext, gettext_lazy

from scheduling.booking.reading import OPEN
from scheduling.covers.rules.due_item import DueKind
from scheduling.models import Appointment, AppointmentItem, BookedBy, DueItem
from scheduling.models.appointments import render_reason
from treatments.models import Event
from treatments.shared.labels import label


@dataclass(frozen=True, slots=True)
class Served:
    """One due item that a visit serves or served, in words. What the index does not know any more stays empty.

    Attributes:
        kind: what is due, in the language of the page.
        zones: how many zones wait for it; 0: not known, or a look at the whole vehicle.
    """

    kind: str
    zones: int = 0
    last_on: date | None = None
    grace_until: date | None = None


def list_served(found: Appointment, parts: Sequence[Appointment]) -> list[Served]:
    """Return the due items that a visit was booked for, each with its dates while they are on the index.

    The index knows what is due now. Once a visit is over, that is no longer what it came for: zones that were treated
    are gone from it, so none are counted then.

    Args:
        found: the visit.
        parts: those in which it goes on. They took over all that it was booked for; it is for washing only.
    """
    if parts:
        return []
    is_over = found.status not in OPEN
    # A visit that is over, or was given up, serves nothing any more; what it was booked for is still told.
    booked_for = AppointmentItem.objects.filter(appointment=found)
    keys = [item.due_key for item in booked_for if item.serves or is_over]
    items = {item.key: item for item in DueItem.objects.filter(cover=found.cover_id, key__in=keys)}
    return [_render_served(key, items.get(key), is_over=is_over) for key in keys]


def _render_served(key: str, item: DueItem | None, *, is_over: bool) -> Served:
    # A key leads with its kind: "reinspection:2", "touch_up:cavity_wax:2024-12-04:2026-12-04".
    kind, _, rest = key.partition(":")
    family = rest.partition(":")[0] if kind == DueKind.TOUCH_UP else ""
    words = f"{label(kind)} ({label(family)})" if family else label(kind)
    if item is None:
        return Served(words)
    zones = 0 if is_over else len(item.zones)
    return Served(label(kind) if zones else words, zones, item.last_on, item.grace_until)


def list_parts(found: Appointment) -> dict[str, Any]:
    """Return the visits in which a split visit goes on, and which part still stands whatever becomes of the other."""
    parts = list(Appointment.objects.filter(splits=found))
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
    events = (
        Event.objects.filter(subject="appointment", subject_id=str(found.pk))
        .select_related("actor")
        .prefetch_related("words")
    )
    listed = []
    for event in events.order_by("-position"):
        before, after = event.before or {}, event.after or {}
        # Where a visit that is over began before its time, its record does too; nobody moved it.
        moved = before and event.kind != "appointment.done" and before.get("starts_at") != after.get("starts_at")
        longer = before and before.get("work_ends_at") != after.get("work_ends_at")
        listed.append(
            {
                "event": event,
                "by": _render_who(event, found),
                "words": str(EVENT_WORDS.get(event.kind, event.kind)),
                "from": _read_moment(before.get("starts_at")) if moved else None,
                "to": _read_moment(after.get("starts_at")) if moved or not before else None,
                "until": _read_moment(after.get("work_ends_at")) if longer else None,
                "reason": _read_reason(event) if after.get("reason") != before.get("reason") else "",
            }
        )
    return listed


def _read_reason(event: Event) -> str:
    """Return why something was done: a usual reason in the language in use, own words as typed, '' once erased."""
    reason = (event.after or {}).get("reason", "")
    if isinstance(reason, dict):
        reason = next((words.text for words in event.words.all() if words.path == "after.reason"), "")
    return render_reason(reason)


def _render_who(event: Event, found: Appointment) -> str:
    """Return who did something to a visit; '' where nobody's name is on record."""
    if event.actor:
        return event.actor.get_full_name() or event.actor.username
    # Without an account a visit is moved or cancelled on the customer's own page only; what is booked says by whom.
    own_page = ("appointment.moved", "appointment.cancelled")
    booked = event.kind == "appointment.booked" and found.booked_by == BookedBy.CUSTOMER
    return gettext("the customer") if booked or event.kind in own_page else ""


def _read_moment(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None
