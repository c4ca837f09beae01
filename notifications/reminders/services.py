"""Writes reminders as rows with a due time, leases and sends them, and stops them when a customer asks.

A row is the truth; losing a task loses nothing. Messages about appointments are written in ``invitations``.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum

from django.db import connection, transaction
from django.db.models import F, Q

from notifications.enums import Channel, MessageStatus
from notifications.invitations.services import is_invitation_true
from notifications.mail.mailing import SENDING_ERRORS, describe_error, find_lasting_fault, make_email
from notifications.models import Message, MessageKind
from notifications.reminders.evaluation import PastMessages, Standing, evaluate_reminders
from notifications.reminders.rules.reminders import Reminder
from notifications.reminders.text import write_reminder
from scheduling.covers.queries import CoverCase, read_cases_apart
from scheduling.covers.rules.due_item import DueKind, DueStatus
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import Cover, CoverState, DueItem
from treatments.event_log import Happening, record_events
from treatments.models import Customer, Zone
from treatments.shared.faults import NO_FAULT_OF_A_ROW, explain_fault, log_fault, work_apart
from treatments.shared.rendering import render_all

LEASE = timedelta(minutes=10)
MOST_ATTEMPTS = 5


@dataclass(frozen=True, slots=True)
class ReminderReport:
    """What a run of ``write_due_reminders`` came to; nobody is left out silently.

    Attributes:
        unreachable: covers whose owner's address was refused for good and has not been corrected since.
        failed: covers whose reminder could not be written, each with why.
    """

    written: int = 0
    already_told: int = 0
    stopped: int = 0
    without_email: tuple[str, ...] = ()
    without_owner: tuple[str, ...] = ()
    unreachable: tuple[str, ...] = ()
    failed: tuple[str, ...] = ()


@transaction.atomic
def write_due_reminders(*, as_of: date, now: datetime, covers: Iterable[int] | None = None) -> ReminderReport:
    """Write a message row for each cover with something due that its owner has not been told of yet.

    Args:
        as_of: today at the shop.
        now: the moment from which the messages are due.
        covers: keys of the only covers to be looked at; all where left out.
    """
    weighed = evaluate_reminders(as_of, covers)
    zone_names = dict(Zone.objects.values_list("code", "name"))
    read, faults = read_cases_apart(cover for cover, *_ in weighed.wanted)
    cases = {case.cover.pk: case for case in read}
    faults |= weighed.failed
    messages = []
    for cover, owner, reminder, first_new in weighed.wanted:
        if cover.pk in faults:
            continue
        try:
            messages.append(_make_message(cover, owner, reminder, first_new, cases[cover.pk], zone_names, as_of, now))
        except Exception as error:
            faults[cover.pk] = explain_fault(error, f"The reminder of cover {cover.number}")
    written = sum(
        work_apart(
            messages,
            lambda some: _write(list(some), weighed.past),
            name=lambda message: f"Message {message.key}",
            tell=lambda message, why: faults.__setitem__(message.cover_id or 0, why),
        )
    )
    numbers = dict(Cover.objects.filter(pk__in=faults).values_list("pk", "number"))
    already = weighed.count(Standing.ALREADY_TOLD) + weighed.count(Standing.UNREACHABLE)
    return ReminderReport(
        written,
        already + sum(message.cover_id not in faults for message in messages) - written,
        weighed.count(Standing.STOPPED),
        weighed.list_numbers(Standing.WITHOUT_EMAIL),
        weighed.list_numbers(Standing.WITHOUT_OWNER),
        weighed.list_numbers(Standing.UNREACHABLE),
        tuple(f"{numbers[key]}: {render_all(why)}" for key, why in sorted(faults.items())),
    )


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


def _write(messages: list[Message], past: PastMessages) -> int:
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
    """Send one leased message and mark what came of it; one that the program fails at is tried again, with why."""
    try:
        return _send_leased(message_id, now)
    except NO_FAULT_OF_A_ROW:
        raise
    except Exception as error:
        why = log_fault(error, f"Sending message {message_id}")[:300]
        held = Message.objects.filter(pk=message_id, status=MessageStatus.LEASED)
        if not held.update(attempts=F("attempts") + 1, last_error=why):
            return SendOutcome.NOT_HELD
        given_up = held.filter(attempts__gte=MOST_ATTEMPTS).update(status=MessageStatus.FAILED, leased_until=None)
        return SendOutcome.FAILED if given_up else SendOutcome.TO_BE_RETRIED


def _send_leased(message_id: int, now: datetime) -> SendOutcome:
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
        error = message.last_error or f"Given up: {MOST_ATTEMPTS} attempts broke off."
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
            told = (fault or f"Given up after {MOST_ATTEMPTS} attempts: {describe_error(error)}")[:300]
            held.update(status=MessageStatus.FAILED, leased_until=None, last_error=told)
            return SendOutcome.FAILED
        held.update(last_error=describe_error(error))
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
                report.failed.append(_describe_failure(key))
            elif outcome is SendOutcome.TO_BE_RETRIED:
                report.to_be_retried.append(_describe_failure(key))
    return report


def _describe_failure(message_id: int) -> str:
    message = Message.objects.select_related("customer", "cover").get(pk=message_id)
    cover = f", cover {message.cover.number}" if message.cover else ""
    return f"{message.customer.name}{cover}: {message.last_error}"


# These say that a visit is due or was missed; once it was made they would not be true any more, whatever else is due.
TELL_OF_A_VISIT = (MessageKind.VISIT_DUE, MessageKind.IN_GRACE, MessageKind.VISIT_MISSED)


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
