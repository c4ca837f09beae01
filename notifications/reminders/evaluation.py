"""Weighs what a reminder of each cover would come to: whether one is written, or why not."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any, NamedTuple

from django.db.models import F, QuerySet

from notifications.documents.job_sheets import read_zones_to_complete
from notifications.enums import MessageStatus
from notifications.models import Message, MessageKind
from notifications.reminders.rules.reminders import (
    TOLD_TOGETHER_DAYS,
    DueThing,
    Reminder,
    choose_reminder,
    find_news,
)
from scheduling.covers.queries import COVERS_AT_ONCE
from scheduling.covers.rules.due_item import DueKind, DueStatus
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import Cover, CoverState, DueItem
from treatments.models import Customer
from treatments.rules.explanation import Explanation, from_json
from treatments.shared.faults import explain_fault


class Standing(StrEnum):
    """What a reminder of one cover would come to."""

    TO_BE_WRITTEN = "to_be_written"
    ALREADY_TOLD = "already_told"
    STOPPED = "stopped"
    WITHOUT_EMAIL = "without_email"
    WITHOUT_OWNER = "without_owner"
    UNREACHABLE = "unreachable"  # told already, but it never arrived and the address has not been corrected
    NOTHING_OPEN = "nothing_open"  # or a visit for it is booked


def foresee_reminders(*, as_of: date, covers: Iterable[Cover]) -> dict[int, Standing]:
    """Return by cover what a reminder written now would come to; nothing is written.

    Args:
        covers: covers with ``site`` loaded.
    """
    known = {cover.pk: cover for cover in covers}
    evaluated = evaluate_reminders(as_of, known, known)
    found = {cover.pk: standing for cover, standing in evaluated.standings}
    return {key: found.get(key, Standing.NOTHING_OPEN) for key in known}


@dataclass(slots=True)
class Weighed:
    """Covers with something open, each with what a reminder would come to, and what is needed to write those wanted.

    Attributes:
        failed: by key of a cover, why what a reminder would come to can't be told.
    """

    past: "PastMessages"
    standings: list[tuple[Cover, Standing]] = field(default_factory=list)
    wanted: list[tuple[Cover, Customer, Reminder, str]] = field(default_factory=list)
    failed: dict[int, tuple[Explanation, ...]] = field(default_factory=dict)

    def count(self, wanted: Standing) -> int:
        return len(self.list_numbers(wanted))

    def list_numbers(self, wanted: Standing) -> tuple[str, ...]:
        return tuple(cover.number for cover, standing in self.standings if standing is wanted)


def evaluate_reminders(as_of: date, keys: Iterable[int] | None, known: Mapping[int, Cover] | None = None) -> Weighed:
    """Return what a reminder of each cover with something open would come to.

    Args:
        as_of: today at the shop.
        keys: the only covers to be looked at; all where None.
        known: all of these covers with ``site`` loaded, where the caller has read them already and wants to know only
            what would be; the reminders then lack zones and sentences.
    """
    by_cover, pending = _read_due_things(as_of, keys) if known is None else _read_due_dates(as_of, list(known))
    evaluated = Weighed(PastMessages())
    listed = sorted(by_cover)
    for first in range(0, len(listed), COVERS_AT_ONCE):
        some = listed[first : first + COVERS_AT_ONCE]
        if known is None:
            covers = Cover.objects.select_related("vehicle", "site", "terms_version__terms").in_bulk(some)
        else:
            covers = {key: known[key] for key in some}
        evaluated.past.read(some)
        owners: dict[int, Customer] = {
            owner.owned_vehicle: owner  # type: ignore[attr-defined]
            for owner in list_owners([cover.vehicle_id for cover in covers.values()])
        }
        lacking = read_zones_to_complete([covers[key] for key in some if key in pending], as_of)
        for key in some:
            cover = covers[key]
            try:
                _evaluate(evaluated, cover, owners.get(cover.vehicle_id), by_cover[key], as_of, lacking.get(key, ()))
            except Exception as error:
                evaluated.failed[key] = explain_fault(error, f"Weighing the reminder of cover {cover.number}")
    return evaluated


def _evaluate(
    evaluated: Weighed,
    cover: Cover,
    owner: Customer | None,
    things: list[DueThing],
    as_of: date,
    lacking: tuple[str, ...],
) -> None:
    """Add to what was evaluated what a reminder of one cover would come to."""
    if owner is None:
        evaluated.standings.append((cover, Standing.WITHOUT_OWNER))
        return
    reminder = choose_reminder(things, as_of, lacking)
    assert reminder is not None  # only covers with an open window were read
    news = find_news(reminder, as_of, evaluated.past.list_told(cover, owner))
    if not news and evaluated.past.is_unreachable(cover, owner):
        standing = Standing.UNREACHABLE
    elif not news:
        standing = Standing.ALREADY_TOLD
    elif owner.messages_stopped_at:
        standing = Standing.STOPPED
    elif not owner.email:
        standing = Standing.WITHOUT_EMAIL
    else:
        standing = Standing.TO_BE_WRITTEN
        evaluated.wanted.append((cover, owner, reminder, news[0]))
    evaluated.standings.append((cover, standing))


def list_owners(vehicles: Iterable[int]) -> "QuerySet[Customer]":
    """Return who owns each vehicle now, with its key as ``owned_vehicle``; a vehicle has one open row of an owner."""
    return (
        Customer.objects.filter(ownerships__vehicle__in=vehicles, ownerships__until_day__isnull=True)
        .order_by()
        .annotate(owned_vehicle=F("ownerships__vehicle_id"))
    )


_DATES_OF_THING = ("key", "kind", "opens_on", "target_on", "last_on", "grace_until")
_COLUMNS_OF_THING = ("key", "kind", "zones", "opens_on", "target_on", "last_on", "grace_until", "reasons")


def _list_due_things(soon: "QuerySet[DueItem]") -> "QuerySet[Any, Any]":
    """Return of due items the cover with its state, and what a reminder may say of each."""
    # Who has a visit booked need not be called to it; given up, it is due again and told of again.
    called = soon.exclude(status=DueStatus.BOOKED).order_by()
    return called.values_list("cover_id", "cover__last_state__status", *_COLUMNS_OF_THING)


def _read_due_things(as_of: date, keys: Iterable[int] | None) -> tuple[dict[int, list[DueThing]], set[int]]:
    """Return by cover what is due, of covers with at least one open window, and which covers are pending."""
    until = as_of + timedelta(days=TOLD_TOGETHER_DAYS)
    soon = DueItem.objects.filter(opens_on__lte=until)
    if keys is not None:
        soon = soon.filter(cover__in=keys)
    by_cover: dict[int, list[DueThing]] = defaultdict(list)
    pending = set()
    for cover, status, key, kind, zones, opens_on, target_on, last_on, grace_until, reasons in _list_due_things(soon):
        by_cover[cover].append(
            DueThing(
                key,
                DUE_KINDS[kind],
                tuple(zones),
                opens_on,
                target_on,
                last_on,
                grace_until,
                tuple(map(from_json, reasons)),
            )
        )
        if status == CoverStatus.PENDING:
            pending.add(cover)
    return _leave_opened(by_cover, as_of), pending


def _read_due_dates(as_of: date, keys: list[int]) -> tuple[dict[int, list[DueThing]], set[int]]:
    """Return what ``_read_due_things`` returns, without zones and sentences, which are long."""
    # By the states, so that each of those is looked up once and not for every thing.
    rows = (
        CoverState.objects.filter(
            cover__in=keys,
            cover__due_items__opens_on__lte=as_of + timedelta(days=TOLD_TOGETHER_DAYS),
            cover__due_items__status__in=[status for status in DueStatus if status != DueStatus.BOOKED],
        )
        .order_by()
        .values_list("cover_id", "status", *(f"cover__due_items__{name}" for name in _DATES_OF_THING))
    )
    by_cover: dict[int, list[DueThing]] = defaultdict(list)
    for cover, _status, key, kind, opens_on, target_on, last_on, grace_until in rows:
        by_cover[cover].append(DueThing(key, DUE_KINDS[kind], (), opens_on, target_on, last_on, grace_until))
    pending = {cover for cover, status, *_thing in rows if status == CoverStatus.PENDING}
    return _leave_opened(by_cover, as_of), pending


def _leave_opened(by_cover: dict[int, list[DueThing]], as_of: date) -> dict[int, list[DueThing]]:
    """Return the covers with at least one open window."""
    return {key: things for key, things in by_cover.items() if any(thing.opens_on <= as_of for thing in things)}


DUE_KINDS = {kind.value: kind for kind in DueKind}


class PastMessage(NamedTuple):
    """What is asked of a message that was written earlier."""

    pk: int
    key: str
    cover_id: int | None
    customer_id: int
    kind: str
    due_keys: list[str]
    status: str
    address: str
    due_at: datetime


class PastMessages:
    """What the owners of some covers have been told already, and which of it never reached them."""

    def __init__(self) -> None:
        self._by_receiver: dict[tuple[int, int], list[PastMessage]] = defaultdict(list)

    def read(self, covers: Iterable[int]) -> None:
        """Read what was told about some more covers."""
        written = Message.objects.filter(cover__in=covers, appointment__isnull=True).order_by()
        for row in written.values_list(*PastMessage._fields):
            message = PastMessage(*row)
            self._by_receiver[message.cover_id or 0, message.customer_id].append(message)

    def list_told(self, cover: Cover, owner: Customer) -> dict[MessageKind, set[str]]:
        """Return by kind what an owner was told of; a mail to an address that was corrected since told nothing."""
        told: dict[MessageKind, set[str]] = defaultdict(set)
        for message in self._by_receiver[cover.pk, owner.pk]:
            if not _never_arrived(message, owner):
                told[MessageKind(message.kind)] |= set(message.due_keys)
        return told

    def is_unreachable(self, cover: Cover, owner: Customer) -> bool:
        """Say whether the last message to this owner failed for good, at the address that is still on record."""
        sent = self._by_receiver[cover.pk, owner.pk]
        last = max(sent, key=lambda message: (message.due_at, message.pk), default=None)
        return last is not None and last.status == MessageStatus.FAILED and last.address == owner.email

    def find_failed(self, message: Message) -> PastMessage | None:
        """Return the row of the same key that failed at another address, to be used again."""
        same = self._by_receiver[message.cover_id or 0, message.customer_id]
        return next((old for old in same if old.key == message.key and _never_arrived(old, message.customer)), None)


def _never_arrived(message: PastMessage, owner: Customer) -> bool:
    return message.status == MessageStatus.FAILED and message.address != owner.email
