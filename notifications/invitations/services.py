"""Writes messages to customers about their appointments: booked, moved, cancelled, each with its invitation.

It reads the event log from where it left off. What a customer needs to be told is found by comparing the appointment
as it is now with the last invitation, so that several changes in a row come to one message, or to none.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from notifications.enums import Channel, MessageKind, MessageStatus
from notifications.invitations.rules.calendar_text import ToldVisit, read_told, write_invitation
from notifications.invitations.rules.visit_news import TellableVisit, choose_news, is_still_true
from notifications.invitations.visit_message import write_visit_message
from notifications.invitations.visit_text import VisitPart, read_visit_parts, show_to_customer
from notifications.languages import written_for
from notifications.mail.rendering import render_message
from notifications.models import Message
from scheduling.models import Appointment, AppointmentStatus, BookedBy
from treatments.event_log import mark_read, read_events
from treatments.models import Event
from treatments.rules.explanation import Explanation, explain, to_json
from treatments.rules.wording import format_count
from treatments.shared.faults import work_apart
from treatments.shared.rendering import render_all

READER = "notifications.invitations.services"
KINDS = [f"appointment.{verb}" for verb in ("booked", "moved", "cancelled", "no_show", "begun", "done", "split")]
EVENTS_AT_ONCE = 200
# These carry an invitation; the day before a visit and the thanks after it are in ``follow_ups``.
INVITATIONS = (MessageKind.VISIT_BOOKED, MessageKind.VISIT_MOVED, MessageKind.VISIT_CANCELLED)


@dataclass(frozen=True, slots=True)
class InvitationReport:
    """What a run of ``write_invitations`` came to.

    Attributes:
        withdrawn: messages that were not sent yet and are not so any more.
        to_phone: whom nobody writes to, since there is no address or messages were stopped; the desk is to phone.
        failed: visits about which no message could be written, each with why.
    """

    written: int = 0
    withdrawn: int = 0
    to_phone: tuple[str, ...] = ()
    failed: tuple[str, ...] = ()

    def __add__(self, other: "InvitationReport") -> "InvitationReport":
        return InvitationReport(
            self.written + other.written,
            self.withdrawn + other.withdrawn,
            self.to_phone + other.to_phone,
            self.failed + other.failed,
        )

    def __str__(self) -> str:
        return f"{format_count(self.written, 'message')} about visits written, {self.withdrawn} withdrawn"


def write_invitations(*, now: datetime) -> InvitationReport:
    """Write what customers are to be told of the appointments that were changed since the last call.

    A customer who stopped messages gets none of these either. Nobody gets the same one twice: the key of a message
    holds the appointment's UID and SEQUENCE.
    """
    report = InvitationReport()
    while True:
        with transaction.atomic():
            events = read_events(READER, KINDS, limit=EVENTS_AT_ONCE)
            if not events:
                return report
            report += _write_all_visit_news(events, now)
            mark_read(READER, events[-1])


def _write_all_visit_news(events: Iterable[Event], now: datetime) -> InvitationReport:
    """Tell of every appointment; what fails for one of them fails for it alone, and somebody is to phone."""
    happened: dict[int, list[Event]] = defaultdict(list)
    for event in events:
        happened[int(event.subject_id)].append(event)
    faults: dict[int, tuple[Explanation, ...]] = {}
    done = work_apart(
        sorted(happened),
        lambda keys: _write_visit_news({key: happened[key] for key in keys}, now),
        name=lambda key: f"The message about appointment {key}",
        tell=faults.__setitem__,
    )
    numbers = dict(Appointment.objects.filter(pk__in=faults).values_list("pk", "number"))
    failed = tuple(f"visit {numbers.get(key, key)}: {render_all(why)}" for key, why in sorted(faults.items()))
    return sum(done, InvitationReport(failed=failed))


def _write_visit_news(happened: Mapping[int, list[Event]], now: datetime) -> InvitationReport:
    messages: dict[int, list[Message]] = defaultdict(list)
    # Locked, so that no worker leases one while it is found to be out of date.
    told = Message.objects.select_for_update().filter(appointment__in=happened, kind__in=INVITATIONS)
    for message in told.order_by("pk"):
        messages[message.appointment_id or 0].append(message)
    report = InvitationReport()
    wanted = []
    parts = read_visit_parts(happened)
    appointments = Appointment.objects.filter(pk__in=happened, customer__isnull=False)
    for appointment in (
        appointments.select_related("customer", "site", "vehicle", "cover").prefetch_related("items").order_by("pk")
    ):
        key = appointment.pk
        news, withdrawn, to_phone = _find_news(appointment, parts.get(key), messages[key], happened[key], now)
        report += InvitationReport(0, withdrawn, to_phone)
        wanted += news
    before = Message.objects.count()
    Message.objects.bulk_create(wanted, ignore_conflicts=True)
    return report + InvitationReport(Message.objects.count() - before)


def _find_news(
    appointment: Appointment, part: VisitPart | None, messages: list[Message], events: list[Event], now: datetime
) -> tuple[list[Message], int, tuple[str, ...]]:
    customer = appointment.customer
    assert customer is not None
    pending = [message for message in messages if message.status == MessageStatus.WAITING]
    told = [message for message in messages if message.status in (MessageStatus.LEASED, MessageStatus.SENT)]
    with written_for(customer, appointment.site) as language:
        visit = _describe(appointment, part)
        kind = choose_news(visit, _read_told(told[-1]) if told else None, now)
        kept = [message for message in pending if message.kind == kind and _is_true(message, visit, now)]
        stale = [message.pk for message in pending if message not in kept]
        withdrawn = Message.objects.filter(pk__in=stale).update(
            status=MessageStatus.WITHDRAWN, why=to_json(explain("message.not_so_any_more"))
        )
        if not customer.email or customer.messages_stopped_at:
            return [], withdrawn, _list_to_phone(appointment, events, now)
        if kind is None or kept:
            return [], withdrawn, ()
        message = Message(
            key=f"visit:{appointment.uid}:{appointment.sequence}",
            customer=customer,
            cover=appointment.cover,
            appointment=appointment,
            calendar=write_invitation(visit.shown, language=language, now=now),
            kind=kind,
            channel=Channel.EMAIL,
            address=customer.email,
            **render_message(write_visit_message(kind, appointment, part)),
            due_at=now,
            created_at=now,
        )
    return [message], withdrawn, ()


def _describe(appointment: Appointment, part: VisitPart | None) -> TellableVisit:
    return TellableVisit(AppointmentStatus(appointment.status), show_to_customer(appointment, part))


def _read_told(message: Message) -> ToldVisit | None:
    # The text of an erased person's message is gone.
    return read_told(message.calendar) if message.calendar else None


def _is_true(message: Message, visit: TellableVisit, now: datetime) -> bool:
    told = _read_told(message)
    return told is not None and is_still_true(visit, told, now)


def is_invitation_true(message: Message, now: datetime) -> bool:
    """Say whether a message about an appointment still tells what is so; else it must not be sent."""
    appointment = message.appointment
    if appointment is None or appointment.customer is None:
        return False
    with written_for(appointment.customer, appointment.site):
        part = read_visit_parts([appointment.pk]).get(appointment.pk)
        return _is_true(message, _describe(appointment, part), now)


# What a customer can't know by having been on the telephone for it.
NEWS_VERBS = frozenset({"appointment.moved", "appointment.cancelled", "appointment.split"})


def _list_to_phone(appointment: Appointment, events: list[Event], now: datetime) -> tuple[str, ...]:
    by_others = {event.kind for event in events if event.actor_id is not None}
    planned = appointment.booked_by == BookedBy.SEASON_PLAN and any(e.kind == "appointment.booked" for e in events)
    if appointment.ready_at <= now or not (planned or by_others & NEWS_VERBS):
        return ()
    customer = appointment.customer
    assert customer is not None
    reach = customer.phone or customer.contact or "no telephone on record"
    return (f"visit {appointment.number}, {customer.name} ({reach})",)


__all__ = ["InvitationReport", "is_invitation_true", "write_invitations"]
