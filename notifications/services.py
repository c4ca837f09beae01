"""Writes reminders as rows with a due time, leases and sends them, and stops them when a customer asks.

A row is the truth; losing a task loses nothing. Messages about appointments are written in ``invitations``.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum

from django.db import connection, transaction
from django.db.models import Q

from notifications.invitations import is_invitation_true
from notifications.mailing import SENDING_ERRORS, find_lasting_fault, make_email, tell_error
from notifications.models import Channel, Message, MessageKind, MessageStatus
from notifications.reminder_text import write_reminder
from notifications.rules.reminders import (
    TOLD_TOGETHER_DAYS,
    DueThing,
    Reminder,
    choose_reminder,
    find_news,
    find_zones_to_complete,
)
from scheduling.models import Cover, CoverState, DueItem
from scheduling.queries import CoverCase, read_cover_cases
from scheduling.rules.due_item import DueKind, DueStatus
from scheduling.rules.ends import CoverStatus
from treatments.event_log import Happening, record_events
from treatments.models import Customer, Ownership, Zone

LEASE = timedelta(minutes=10)
MOST_ATTEMPTS = 5


@dataclass(frozen=True, slots=True)
class ReminderReport:
    """What a run of ``write_due_reminders`` came to; nobody is left out silently.

    Attributes:
        unreachable: covers whose owner's address was refused for good and has not been corrected since.
    """

    written: int = 0
    already_told: int = 0
    stopped: int = 0
    without_email: tuple[str, ...] = ()
    without_owner: tuple[str, ...] = ()
    unreachable: tuple[str, ...] = ()


class Standing(StrEnum):
    """What a reminder of one cover would come to."""

    TO_BE_WRITTEN = "to_be_written"
    ALREADY_TOLD = "already_told"
    STOPPED = "stopped"
    WITHOUT_EMAIL = "without_email"
    WITHOUT_OWNER = "without_owner"
    UNREACHABLE = "unreachable"  # told already, but it never arrived and the address has not been corrected
    NOTHING_OPEN = "nothing_open"  # or a visit for it is booked


@transaction.atomic
def write_due_reminders(*, as_of: date, now: datetime, covers: Iterable[int] | None = None) -> ReminderReport:
    """Write a message row for each cover with something due that its owner has not been told of yet.

    Args:
        as_of: today at the shop.
        now: the moment from which the messages are due.
        covers: keys of the only covers to be looked at; all where left out.
    """
    weighed = _weigh(as_of, covers)
    zone_names = dict(Zone.objects.values_list("code", "name"))
    cases = weighed.cases | _read_cases(cover for cover, *_ in weighed.wanted if cover.pk not in weighed.cases)
    messages = [
        _make_message(cover, owner, reminder, first_new, cases[cover.pk], zone_names, as_of, now)
        for cover, owner, reminder, first_new in weighed.wanted
    ]
    written = _write(messages, weighed.past)
    already = weighed.count(Standing.ALREADY_TOLD) + weighed.count(Standing.UNREACHABLE)
    return ReminderReport(
        written,
        already + len(messages) - written,
        weighed.count(Standing.STOPPED),
        weighed.list_numbers(Standing.WITHOUT_EMAIL),
        weighed.list_numbers(Standing.WITHOUT_OWNER),
        weighed.list_numbers(Standing.UNREACHABLE),
    )


def foresee_reminders(*, as_of: date, covers: Iterable[int]) -> dict[int, Standing]:
    """Return by cover what a reminder written now would come to; nothing is written."""
    keys = list(covers)
    weighed = _weigh(as_of, keys)
    found = {cover.pk: standing for cover, standing in weighed.standings}
    return {key: found.get(key, Standing.NOTHING_OPEN) for key in keys}


@dataclass(slots=True)
class _Weighed:
    """Covers with something open, each with what a reminder would come to, and what is needed to write those wanted."""

    past: "_PastMessages"
    cases: dict[int, CoverCase]
    standings: list[tuple[Cover, Standing]] = field(default_factory=list)
    wanted: list[tuple[Cover, Customer, Reminder, str]] = field(default_factory=list)

    def count(self, wanted: Standing) -> int:
        return len(self.list_numbers(wanted))

    def list_numbers(self, wanted: Standing) -> tuple[str, ...]:
        return tuple(cover.number for cover, standing in self.standings if standing is wanted)


def _weigh(as_of: date, keys: Iterable[int] | None) -> _Weighed:
    by_cover = _read_due_things(as_of, keys)
    covers = Cover.objects.select_related("vehicle", "site", "terms_version__terms").in_bulk(list(by_cover))
    owners = {
        owned.vehicle_id: owned.customer
        for owned in Ownership.objects.filter(
            vehicle__in=[cover.vehicle_id for cover in covers.values()], until_day__isnull=True
        ).select_related("customer")
    }
    pending = CoverState.objects.filter(cover__in=covers, status=CoverStatus.PENDING).values_list("cover", flat=True)
    weighed = _Weighed(_PastMessages(covers), _read_cases(covers[key] for key in pending))
    for key, things in sorted(by_cover.items()):
        cover, case = covers[key], weighed.cases.get(key)
        owner = owners.get(cover.vehicle_id)
        to_complete = find_zones_to_complete(case.find_terms(as_of), case.history, as_of) if case else ()
        reminder = choose_reminder(things, as_of, to_complete)
        assert reminder is not None  # only covers with an open window were read
        if owner is None:
            weighed.standings.append((cover, Standing.WITHOUT_OWNER))
            continue
        news = find_news(reminder, as_of, weighed.past.list_told(cover, owner))
        if not news and weighed.past.is_unreachable(cover, owner):
            standing = Standing.UNREACHABLE
        elif not news:
            standing = Standing.ALREADY_TOLD
        elif owner.messages_stopped_at:
            standing = Standing.STOPPED
        elif not owner.email:
            standing = Standing.WITHOUT_EMAIL
        else:
            standing = Standing.TO_BE_WRITTEN
            weighed.wanted.append((cover, owner, reminder, news[0]))
        weighed.standings.append((cover, standing))
    return weighed


def _read_due_things(as_of: date, keys: Iterable[int] | None) -> dict[int, list[DueThing]]:
    """Return by cover what is due, of covers with at least one open window."""
    by_cover: dict[int, list[DueThing]] = defaultdict(list)
    # Who has a visit booked need not be called to it; given up, it is due again and told of again.
    soon = DueItem.objects.filter(opens_on__lte=as_of + timedelta(days=TOLD_TOGETHER_DAYS))
    if keys is not None:
        soon = soon.filter(cover__in=list(keys))
    for item in soon.exclude(status=DueStatus.BOOKED):
        by_cover[item.cover_id].append(
            DueThing(
                item.key,
                DueKind(item.kind),
                tuple(item.zones),
                item.opens_on,
                item.target_on,
                item.last_on,
                item.grace_until,
                item.sentence,
            )
        )
    return {key: things for key, things in by_cover.items() if any(thing.opens_on <= as_of for thing in things)}


def _read_cases(covers: Iterable[Cover]) -> dict[int, CoverCase]:
    return {case.cover.pk: case for case in read_cover_cases(covers)}


class _PastMessages:
    """What the owners of some covers have been told already, and which of it never reached them."""

    def __init__(self, covers: Iterable[int]) -> None:
        self._by_receiver: dict[tuple[int, int], list[Message]] = defaultdict(list)
        for message in Message.objects.filter(cover__in=covers, appointment__isnull=True).defer("body"):
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

    def find_failed(self, message: Message) -> Message | None:
        """Return the row of the same key that failed at another address, to be used again."""
        same = self._by_receiver[message.cover_id or 0, message.customer_id]
        return next((old for old in same if old.key == message.key and _never_arrived(old, message.customer)), None)


def _never_arrived(message: Message, owner: Customer) -> bool:
    return message.status == MessageStatus.FAILED and message.address != owner.email


def _make_message(
    cover: Cover,
    owner: Customer,
    reminder: Reminder,
    first_new: str,
    case: CoverCase,
    zone_names: dict[str, str],
    as_of: date,
    now: datetime,
) -> Message:
    subject, body = write_reminder(reminder, cover, owner, case.read_state(as_of), zone_names, as_of)
    return Message(
        key=f"{reminder.kind}:{cover.number}:{first_new}:{owner.pk}",
        customer=owner,
        cover=cover,
        due_keys=list(reminder.keys),
        kind=reminder.kind,
        channel=Channel.EMAIL,
        address=owner.email,
        subject=subject,
        body=body,
        due_at=now,
        created_at=now,
    )


def _write(messages: list[Message], past: _PastMessages) -> int:
    """Write the rows and return how many are new. The unique key turns a second writer's rows into nothing."""
    new, again = [], []
    for message in messages:
        failed = past.find_failed(message)
        if failed is None:
            new.append(message)
        else:
            message.pk = failed.pk
            again.append(message)
    before = Message.objects.count()
    Message.objects.bulk_create(new, ignore_conflicts=True)
    written = Message.objects.count() - before
    fields = ["due_keys", "address", "subject", "body", "due_at", "status", "leased_until", "attempts", "last_error"]
    return written + Message.objects.bulk_update(again, fields)


@transaction.atomic
def lease_due_messages(*, now: datetime, limit: int = 200) -> list[int]:
    """Lease messages whose time has come and return their keys; a lease that ran out is taken again."""
    due = Message.objects.filter(
        Q(status=MessageStatus.WAITING, due_at__lte=now) | Q(status=MessageStatus.LEASED, leased_until__lt=now)
    ).order_by("due_at", "id")
    if connection.features.has_select_for_update_skip_locked:
        due = due.select_for_update(skip_locked=True)
    keys = list(due.values_list("pk", flat=True)[:limit])
    Message.objects.filter(pk__in=keys).update(status=MessageStatus.LEASED, leased_until=now + LEASE)
    return keys


class SendOutcome(StrEnum):
    """What an attempt to send one message came to."""

    SENT = "sent"
    FAILED = "failed"
    TO_BE_RETRIED = "to_be_retried"
    WITHDRAWN = "withdrawn"
    NOT_HELD = "not_held"  # another worker was first, or the lease ran out


def send_leased_message(*, message_id: int, now: datetime) -> SendOutcome:
    """Send one leased message and mark what came of it.

    A message that is no longer wanted (the visit was made, or the customer stopped messages) is withdrawn. A failure
    concerns this message alone and is kept with its text: for good where the message itself is at fault, else it is
    tried again when the lease runs out, at most MOST_ATTEMPTS times.
    """
    message = (
        Message.objects.select_related(
            "customer", "cover__site", "appointment__site", "appointment__vehicle", "appointment__customer"
        )
        .filter(pk=message_id, status=MessageStatus.LEASED, leased_until__gte=now)
        .first()
    )
    if message is None:
        return SendOutcome.NOT_HELD
    held = Message.objects.filter(pk=message.pk, status=MessageStatus.LEASED, leased_until=message.leased_until)
    if message.customer.messages_stopped_at or not _is_still_wanted(message, now):
        held.update(status=MessageStatus.WITHDRAWN, leased_until=None)
        return SendOutcome.WITHDRAWN
    if message.attempts >= MOST_ATTEMPTS:
        # Attempts that no worker lived to finish count too, or such a message would be tried for ever.
        error = message.last_error or f"Given up: {MOST_ATTEMPTS} attempts came to no end."
        held.update(status=MessageStatus.FAILED, leased_until=None, last_error=error)
        return SendOutcome.FAILED
    # Taking a fresh lease first means that a second worker with the same row finds it gone.
    lease = now + LEASE + timedelta(microseconds=message.attempts + 1)
    if not held.update(leased_until=lease, attempts=message.attempts + 1):
        return SendOutcome.NOT_HELD
    held = Message.objects.filter(pk=message.pk, status=MessageStatus.LEASED, leased_until=lease)
    try:
        make_email(message).send()
    except SENDING_ERRORS as error:
        fault = find_lasting_fault(message, error)
        if fault or message.attempts + 1 >= MOST_ATTEMPTS:
            told = (fault or f"Given up after {MOST_ATTEMPTS} attempts: {tell_error(error)}")[:300]
            held.update(status=MessageStatus.FAILED, leased_until=None, last_error=told)
            return SendOutcome.FAILED
        held.update(last_error=tell_error(error))
        return SendOutcome.TO_BE_RETRIED
    with transaction.atomic():
        sent = held.update(status=MessageStatus.SENT, sent_at=now, leased_until=None, last_error="")
        if sent:
            after = {"key": message.key, "customer": message.customer_id, "kind": message.kind}
            record_events([Happening("message.sent", "message", str(message.pk), after=after)], actor=None, now=now)
    return SendOutcome.SENT if sent else SendOutcome.NOT_HELD


@dataclass(slots=True)
class SendReport:
    """What a run of ``send_all_due_messages`` came to; a failure is told with whom it was for and why."""

    sent: int = 0
    withdrawn: int = 0
    failed: list[str] = field(default_factory=list)
    to_be_retried: list[str] = field(default_factory=list)


# So few that their lease outlives the sending of all of them, also to a slow server.
SENT_IN_ONE_GO = 20


def send_all_due_messages(*, clock: Callable[[], datetime]) -> SendReport:
    """Lease and send every message whose time has come, in this process; other workers may do the same meanwhile.

    Args:
        clock: tells the moment; a long run must not hold its leases by the moment at which it began.
    """
    report = SendReport()
    while keys := lease_due_messages(now=clock(), limit=SENT_IN_ONE_GO):
        for key in keys:
            outcome = send_leased_message(message_id=key, now=clock())
            if outcome is SendOutcome.SENT:
                report.sent += 1
            elif outcome is SendOutcome.WITHDRAWN:
                report.withdrawn += 1
            elif outcome is SendOutcome.FAILED:
                report.failed.append(_tell_failure(key))
            elif outcome is SendOutcome.TO_BE_RETRIED:
                report.to_be_retried.append(_tell_failure(key))
    return report


def _tell_failure(message_id: int) -> str:
    message = Message.objects.select_related("customer", "cover").get(pk=message_id)
    cover = f", cover {message.cover.number}" if message.cover else ""
    return f"{message.customer.name}{cover}: {message.last_error}"


# These say that a visit is due or was missed; once it was made they would not be true any more, whatever else is due.
TELL_OF_A_VISIT = (MessageKind.VISIT_DUE, MessageKind.LAST_DAYS, MessageKind.SUSPENDED)


def _is_still_wanted(message: Message, now: datetime) -> bool:
    """Say whether what a message tells of is still so."""
    if message.appointment is not None:
        return is_invitation_true(message, now)
    if message.cover is None:
        return True
    if message.kind == MessageKind.TO_COMPLETE:
        # It tells of zones, not of due items; the cover stays pending while one of them is missing.
        return CoverState.objects.filter(cover=message.cover_id, status=CoverStatus.PENDING).exists()
    still = DueItem.objects.filter(cover=message.cover_id, key__in=message.due_keys).exclude(status=DueStatus.BOOKED)
    return (still.filter(kind=DueKind.REINSPECTION) if message.kind in TELL_OF_A_VISIT else still).exists()


@transaction.atomic
def stop_messages(*, customer: Customer, now: datetime) -> bool:
    """Stop all messages to a customer; True where this call stopped them."""
    changed = Customer.objects.filter(pk=customer.pk, messages_stopped_at__isnull=True).update(messages_stopped_at=now)
    if changed:
        Message.objects.filter(customer=customer, status=MessageStatus.WAITING).update(status=MessageStatus.WITHDRAWN)
        record_events([Happening("customer.messages_stopped", "customer", str(customer.pk))], actor=None, now=now)
    return bool(changed)
