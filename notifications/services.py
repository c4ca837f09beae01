"""Writes reminders as rows with a due time, leases and sends them, and stops them when a customer asks.

The only place in this room that writes. A row is the truth; losing a task loses nothing.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import connection, transaction
from django.db.models import Q
from django.template.loader import render_to_string

from notifications.links import make_stop_address
from notifications.models import Channel, Message, MessageKind, MessageStatus
from scheduling.due_list import find_urgency
from scheduling.models import Cover, CoverState, DueItem
from scheduling.rules.ends import CoverStatus
from treatments.event_log import Happening, record_events
from treatments.models import Customer, Ownership, Zone
from treatments.rules.words import say

LEASE = timedelta(minutes=10)
MOST_ATTEMPTS = 5
# Items whose window opens this soon are told of in the same message, so that one visit serves all of them.
TOLD_TOGETHER_DAYS = 30

KIND_BY_URGENCY = {
    "in_window": MessageKind.VISIT_DUE,
    "in_grace": MessageKind.LAST_DAYS,
    "overdue": MessageKind.SUSPENDED,
}
SUBJECTS = {
    MessageKind.VISIT_DUE: "Rust protection visit due for your {vehicle}",
    MessageKind.LAST_DAYS: "Last days for the rust protection visit of your {vehicle}",
    MessageKind.SUSPENDED: "The rust protection visit of your {vehicle} is overdue",
}


@dataclass(frozen=True, slots=True)
class ReminderReport:
    """What a run of ``write_due_reminders`` came to; nobody is left out silently."""

    written: int = 0
    already_told: int = 0
    stopped: int = 0
    without_email: tuple[str, ...] = ()
    without_owner: tuple[str, ...] = ()


@transaction.atomic
def write_due_reminders(*, as_of: date, now: datetime) -> ReminderReport:
    """Write a message row for each cover with something due that its owner has not been told of yet.

    Args:
        as_of: today at the shop.
        now: the moment from which the messages are due.
    """
    by_cover: dict[int, list[DueItem]] = defaultdict(list)
    for item in DueItem.objects.filter(opens_on__lte=as_of + timedelta(days=TOLD_TOGETHER_DAYS)).order_by(
        "grace_until", "target_on", "id"
    ):
        by_cover[item.cover_id].append(item)
    open_now = {key: items for key, items in by_cover.items() if any(i.opens_on <= as_of for i in items)}
    covers = Cover.objects.select_related("vehicle", "site", "terms_version__terms").in_bulk(list(open_now))
    owners = {
        owned.vehicle_id: owned.customer
        for owned in Ownership.objects.filter(
            vehicle__in=[cover.vehicle_id for cover in covers.values()], until_day__isnull=True
        ).select_related("customer")
    }
    states = CoverState.objects.in_bulk(list(covers))
    told: dict[tuple[int, str], set[str]] = defaultdict(set)
    for message in Message.objects.filter(cover__in=covers):
        told[message.cover_id or 0, message.kind] |= set(message.due_keys)
    zone_names = dict(Zone.objects.values_list("code", "name"))
    messages: list[Message] = []
    already = stopped = 0
    without_email: list[str] = []
    without_owner: list[str] = []
    for key, items in sorted(open_now.items()):
        cover = covers[key]
        owner = owners.get(cover.vehicle_id)
        due_now = [item for item in items if item.opens_on <= as_of]
        kind = KIND_BY_URGENCY[find_urgency(due_now[0], as_of)]
        news = [item for item in due_now if item.key not in told[key, kind]]
        if kind is MessageKind.SUSPENDED:
            # Once overdue, one message says so; a second item running over its days is not news.
            news = news if not told[key, kind] else []
        if not news:
            already += 1
        elif owner is None:
            without_owner.append(cover.number)
        elif owner.messages_stopped_at:
            stopped += 1
        elif not owner.email:
            without_email.append(cover.number)
        else:
            messages.append(_make_reminder(cover, owner, kind, items, states.get(key), zone_names, as_of, now))
    # The unique key turns a second writer's rows into nothing, whoever comes first.
    before = Message.objects.count()
    Message.objects.bulk_create(messages, ignore_conflicts=True)
    written = Message.objects.count() - before
    return ReminderReport(
        written,
        already + len(messages) - written,
        stopped,
        tuple(without_email),
        tuple(without_owner),
    )


def _make_reminder(
    cover: Cover,
    owner: Customer,
    kind: MessageKind,
    items: list[DueItem],
    state: CoverState | None,
    zone_names: dict[str, str],
    as_of: date,
    now: datetime,
) -> Message:
    vehicle = cover.vehicle.description or "vehicle"
    first = min(items, key=lambda item: (item.grace_until, item.target_on))
    context = {
        "cover": cover,
        "vehicle": vehicle,
        "customer": owner,
        "site": cover.site,
        "kind": kind.value,
        "first": first,
        "items": [
            {
                "what": say(item.kind),
                "zones": _name_zones([zone_names.get(code, code) for code in item.zones]),
                "item": item,
            }
            for item in items
        ],
        "state": state,
        "suspended": state is not None and state.status == CoverStatus.SUSPENDED,
        "as_of": as_of,
        "stop_address": make_stop_address(owner),
    }
    return Message(
        key=f"{kind}:{cover.number}:{first.key}:{owner.pk}",
        customer=owner,
        cover=cover,
        due_keys=[item.key for item in items],
        kind=kind,
        channel=Channel.EMAIL,
        address=owner.email,
        subject=SUBJECTS[kind].format(vehicle=vehicle)[:200],
        body=render_to_string("notifications/visit_due.txt", context).strip() + "\n",
        due_at=now,
        created_at=now,
    )


MOST_ZONES_NAMED = 4


def _name_zones(names: list[str]) -> str:
    """Return the first few zones by name and how many more there are; nobody reads fourteen."""
    named = ", ".join(names[:MOST_ZONES_NAMED])
    more = len(names) - MOST_ZONES_NAMED
    return f"{named} and {more} more" if more > 0 else named


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


def send_leased_message(*, message_id: int, now: datetime) -> bool:
    """Send one leased message and mark it sent; True where this call sent it.

    A message that is no longer wanted (the visit was made, or the customer stopped messages) is withdrawn. A
    failure is kept with its text and tried again when the lease runs out, at most MOST_ATTEMPTS times.
    """
    message = (
        Message.objects.select_related("customer", "cover")
        .filter(pk=message_id, status=MessageStatus.LEASED, leased_until__gte=now)
        .first()
    )
    if message is None:
        return False  # another worker was first, or the lease ran out
    held = Message.objects.filter(pk=message.pk, status=MessageStatus.LEASED, leased_until=message.leased_until)
    if message.customer.messages_stopped_at or not _is_still_due(message):
        held.update(status=MessageStatus.WITHDRAWN, leased_until=None)
        return False
    # Taking a fresh lease first means that a second worker with the same row finds it gone.
    lease = now + LEASE + timedelta(microseconds=message.attempts + 1)
    if not held.update(leased_until=lease, attempts=message.attempts + 1):
        return False
    held = Message.objects.filter(pk=message.pk, status=MessageStatus.LEASED, leased_until=lease)
    try:
        make_email(message).send()
    except OSError as error:  # smtplib's errors are OSErrors: the server can't be reached or refuses
        given_up = message.attempts + 1 >= MOST_ATTEMPTS
        held.update(
            last_error=str(error)[:300],
            status=MessageStatus.FAILED if given_up else MessageStatus.LEASED,
        )
        return False
    with transaction.atomic():
        sent = held.update(status=MessageStatus.SENT, sent_at=now, leased_until=None, last_error="")
        if sent:
            after = {"key": message.key, "customer": message.customer_id, "kind": message.kind}
            record_events([Happening("message.sent", "message", str(message.pk), after=after)], actor=None, now=now)
    return bool(sent)


def _is_still_due(message: Message) -> bool:
    if message.cover_id is None:
        return True
    return DueItem.objects.filter(cover=message.cover_id, key__in=message.due_keys).exists()


def make_email(message: Message) -> EmailMessage:
    """Return the mail of a message, with the headers that let a mail program stop further ones (RFC 8058)."""
    stop = make_stop_address(message.customer)
    domain = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].strip(">") or "localhost"
    headers = {
        # The same for every attempt, so that a mail system can drop a second copy.
        "Message-ID": f"<message-{message.pk}@{domain}>",
        "Auto-Submitted": "auto-generated",
        "List-Unsubscribe": f"<{stop}>",
    }
    if stop.startswith("https://"):
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    reply_to = [message.cover.site.email] if message.cover and message.cover.site.email else None
    return EmailMessage(
        message.subject,
        message.body,
        settings.DEFAULT_FROM_EMAIL,
        [message.address],
        headers=headers,
        reply_to=reply_to,
    )


@transaction.atomic
def stop_messages(*, customer: Customer, now: datetime) -> bool:
    """Stop all messages to a customer; True where this call stopped them."""
    changed = Customer.objects.filter(pk=customer.pk, messages_stopped_at__isnull=True).update(messages_stopped_at=now)
    if changed:
        Message.objects.filter(customer=customer, status=MessageStatus.WAITING).update(status=MessageStatus.WITHDRAWN)
        record_events([Happening("customer.messages_stopped", "customer", str(customer.pk))], actor=None, now=now)
    return bool(changed)
