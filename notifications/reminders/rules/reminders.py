"""Which message a cover's due items call for on a day: never one that tells more than is true on that day.

A visit that was not made, a film that was not renewed at a visit, and a treatment that was never finished are three
things; a customer is told of the one that is so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from notifications.enums import MessageKind
from scheduling.covers.rules.due_item import DueKind
from scheduling.terms.rules.terms import Terms
from treatments.records.rules.history import VehicleHistory
from treatments.rules.explanation import Explanation
from treatments.vehicles.rules.coatable import find_zones_out


@dataclass(frozen=True, slots=True)
class DueThing:
    """One thing that must still be done to a covered vehicle."""

    key: str
    kind: DueKind
    zones: tuple[str, ...]
    opens_on: date
    target_on: date
    last_on: date
    grace_until: date
    reasons: tuple[Explanation, ...] = ()


@dataclass(frozen=True, slots=True)
class Reminder:
    """A message that a cover calls for.

    Attributes:
        main: the thing that the message is about first; None where a treatment is to be completed.
        things: all that it tells of.
        keys: what it tells of, by key; a message that tells of nothing new is not written.
        to_complete: the zones without which the cover has not begun.
        since: where there is no main thing, the day since which it is so.
    """

    kind: MessageKind
    main: DueThing | None
    things: tuple[DueThing, ...]
    keys: tuple[str, ...]
    to_complete: tuple[str, ...] = ()
    since: date | None = None


# Items whose window opens this soon are told of in the same message, so that one visit serves all of them.
TOLD_TOGETHER_DAYS = 30


def find_zones_to_complete(terms: Terms, history: VehicleHistory, day: date) -> tuple[str, ...]:
    """Return the zones that the terms want done before the cover begins and that can be coated but are not yet."""
    past = history.until(day)
    first = past.find_first_treatment()
    if first is None:
        return ()
    coated = {zone for done in past.treatments if done.day >= first.day for zone in done.zones_applied}
    out = find_zones_out(past.facts, day)
    return tuple(zone for zone in terms.entry.required_zones if zone not in coated and zone not in out)


def choose_reminder(
    things: Sequence[DueThing], as_of: date, to_complete: Sequence[str] = (), *, ahead: int = 0
) -> Reminder | None:
    """Return the message that a cover calls for on a day, None where no window is open.

    Args:
        things: what must still be done and whose window opens by TOLD_TOGETHER_DAYS from ``as_of``.
        as_of: today at the shop.
        to_complete: the zones without which the cover has not begun; no visit can be missed before it has.
        ahead: in how many days a window may open to count as open.
    """
    if not any(thing.opens_on <= as_of + timedelta(days=ahead) for thing in things):
        return None
    ordered = tuple(sorted(things, key=lambda thing: (thing.grace_until, thing.target_on, thing.key)))
    keys = tuple(thing.key for thing in ordered)
    if to_complete:
        told = tuple(f"complete:{zone}" for zone in to_complete)
        opened_on = min(thing.opens_on for thing in things)
        return Reminder(MessageKind.TO_COMPLETE, None, (), told, tuple(to_complete), opened_on)
    visit = next((thing for thing in ordered if thing.kind is DueKind.REINSPECTION), None)
    if visit is None:
        film = ordered[0]
        kind = MessageKind.FILM_OVERDUE if as_of > film.grace_until else MessageKind.FILM_DUE
        return Reminder(kind, film, ordered, keys)
    kind = MessageKind.VISIT_DUE
    if as_of > visit.grace_until:
        kind = MessageKind.VISIT_MISSED
    elif as_of > visit.last_on:
        kind = MessageKind.IN_GRACE
    return Reminder(kind, visit, ordered, keys)
