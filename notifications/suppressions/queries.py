"""Lists the people whom no message reaches, with what is due for their vehicles, so that somebody phones them."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import OuterRef, Q, QuerySet, Subquery

from notifications.enums import Channel, MessageStatus, Unreachable
from notifications.models import Message, Suppression
from scheduling.models import CoverState, DueItem
from treatments.models import Customer, Ownership, Vehicle

# What is due later is told later; until then an address may be corrected.
LOOKED_AHEAD = timedelta(days=60)
PER_PAGE = 25


@dataclass(frozen=True, slots=True)
class UnreachableOwner:
    """Somebody whom no message reaches, with one vehicle for which something is due.

    Attributes:
        kinds: what is due, each kind once.
        detail: what the mail server said of the address, or of the last message.
        suppression: the row that ends writing to the address; None where none does.
        booked_on: the day of the visit that serves what is due; None where none is booked.
    """

    customer: Customer
    vehicle: Vehicle
    kinds: tuple[str, ...]
    reason: Unreachable
    detail: str
    suppression: int | None
    opens_on: date
    last_on: date
    grace_until: date
    booked_on: date | None


@dataclass(frozen=True, slots=True)
class UnreachablePage:
    """One page of the list, and where the next one begins; '' on the last."""

    rows: tuple[UnreachableOwner, ...]
    after: str


def read_unreachable(*, today: date, reason: Unreachable | None = None, after: str = "") -> UnreachablePage:
    """Return the owners whom no message reaches although something is due soon, the most pressing first.

    Args:
        today: at the shop.
        reason: only those who can't be reached for this reason.
        after: where the page begins, as the page before said.
    """
    found = _list_unreachable(today)
    if reason is not None:
        found = found.filter(REASONS[reason])
    place = _read_place(after)
    if place is not None:
        day, cover = place
        found = found.filter(Q(due_grace_until__gt=day) | Q(due_grace_until=day, cover__gt=cover))
    states = list(found.order_by("due_grace_until", "cover")[: PER_PAGE + 1])
    shown = states[:PER_PAGE]
    rows = _describe(shown, today)
    last = shown[-1] if len(states) > PER_PAGE else None
    return UnreachablePage(rows, f"{last.due_grace_until}.{last.cover_id}" if last else "")


FAILED_LAST = Q(last_status=MessageStatus.FAILED)
# In the order in which they are told: one is enough.
REASONS: dict[Unreachable, Q] = {
    Unreachable.STOPPED: Q(stopped_at__isnull=False),
    Unreachable.NO_ADDRESS: Q(stopped_at__isnull=True, email=""),
    Unreachable.SUPPRESSED: Q(stopped_at__isnull=True, suppression__isnull=False) & ~Q(email=""),
    Unreachable.FAILED: Q(stopped_at__isnull=True, suppression__isnull=True) & FAILED_LAST & ~Q(email=""),
}


def _list_unreachable(today: date) -> "QuerySet[CoverState]":
    open_ownership = Ownership.objects.filter(vehicle=OuterRef("cover__vehicle"), until_day__isnull=True)
    suppressed = Suppression.objects.filter(channel=Channel.EMAIL, address=OuterRef("email"), lifted_at__isnull=True)
    last = Message.objects.filter(customer=OuterRef("owner"), address=OuterRef("email")).order_by("-created_at", "-pk")
    return (
        CoverState.objects.filter(due_grace_until__isnull=False, due_opens_on__lte=today + LOOKED_AHEAD)
        .annotate(
            owner=Subquery(open_ownership.values("customer")[:1]),
            email=Subquery(open_ownership.values("customer__email")[:1]),
            stopped_at=Subquery(open_ownership.values("customer__messages_stopped_at")[:1]),
        )
        .filter(owner__isnull=False)
        .annotate(
            suppression=Subquery(suppressed.values("pk")[:1]),
            last_message=Subquery(last.values("pk")[:1]),
            last_status=Subquery(last.values("status")[:1]),
        )
        .filter(Q(stopped_at__isnull=False) | Q(email="") | Q(suppression__isnull=False) | FAILED_LAST)
        .select_related("cover__vehicle")
    )


def _describe(states: list[CoverState], today: date) -> tuple[UnreachableOwner, ...]:
    """Return the rows of a page, in its order, in four queries."""
    known: list[Any] = list(states)
    owners = Customer.objects.in_bulk({state.owner for state in known})
    suppressions = Suppression.objects.in_bulk({state.suppression for state in known if state.suppression})
    messages = Message.objects.in_bulk({state.last_message for state in known if state.last_message})
    near = DueItem.objects.filter(cover__in=[state.pk for state in known], opens_on__lte=today + LOOKED_AHEAD)
    kinds: dict[int, list[str]] = defaultdict(list)
    for cover, kind in near.order_by("kind").values_list("cover", "kind").distinct():
        kinds[cover].append(kind)
    rows = []
    for state in known:
        suppression, last = suppressions.get(state.suppression), messages.get(state.last_message)
        reason = _find_reason(state)
        detail = ""
        if reason is Unreachable.SUPPRESSED and suppression is not None:
            detail = suppression.detail
        elif reason is Unreachable.FAILED and last is not None:
            detail = last.last_error
        rows.append(
            UnreachableOwner(
                owners[state.owner],
                state.cover.vehicle,
                tuple(kinds[state.pk]),
                reason,
                detail,
                state.suppression if reason is Unreachable.SUPPRESSED else None,
                state.due_opens_on,
                state.due_last_on,
                state.due_grace_until,
                state.booked_on,
            )
        )
    return tuple(rows)


def _find_reason(state: Any) -> Unreachable:
    if state.stopped_at:
        return Unreachable.STOPPED
    if not state.email:
        return Unreachable.NO_ADDRESS
    return Unreachable.SUPPRESSED if state.suppression else Unreachable.FAILED


def _read_place(after: str) -> tuple[date, int] | None:
    day, _dot, cover = after.partition(".")
    try:
        return date.fromisoformat(day), int(cover[:18])
    except ValueError:
        return None
