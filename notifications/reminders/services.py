"""Writes reminders as rows with a due time. Messages about appointments are written in ``invitations``."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from notifications.enums import Channel
from notifications.mail.rendering import render_message
from notifications.models import Message
from notifications.reminders.evaluation import PastMessages, Standing, evaluate_reminders
from notifications.reminders.rules.reminders import Reminder
from notifications.reminders.text import DueVehicle, write_due_message
from scheduling.covers.queries import CoverCase, read_cases_apart
from scheduling.models import Cover
from treatments.models import Customer, Zone
from treatments.shared.faults import explain_fault, work_apart
from treatments.shared.rendering import render_all


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
    vehicle = DueVehicle(cover, reminder, case.read_state(as_of))
    content = write_due_message([vehicle], owner, zone_names, as_of)
    return Message(
        key=f"{reminder.kind}:{cover.number}:{first_new}:{owner.pk}",
        customer=owner,
        cover=cover,
        due_keys=list(reminder.keys),
        kind=reminder.kind,
        channel=Channel.EMAIL,
        address=owner.email,
        **render_message(content),
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
