"""Writes what customers hear the day before a visit, and the thanks with the record after it.

Both follow from how an appointment stands, so each run looks anew; the key of a message holds the appointment and, for
the day before, its time, so that nobody gets one twice.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from notifications.consents.queries import (
    Reach,
    SiteHours,
    find_customer_zone,
    read_contact_hours,
    read_reach,
)
from notifications.enums import Channel, MessageKind, MessageStatus
from notifications.invitations.visit_message import write_visit_message
from notifications.invitations.visit_text import VisitPart, read_visit_parts
from notifications.languages import written_for
from notifications.mail.content import DueText
from notifications.mail.rendering import render_message
from notifications.models import Message
from notifications.reminders.rules.reminders import DueThing
from notifications.reminders.wording import render_thing
from notifications.rules.quiet_hours import find_telling_moment
from scheduling.covers.rules.due_item import DueKind
from scheduling.models import Appointment, AppointmentStatus, DueItem
from treatments.models import Inspection, Treatment
from treatments.queries import find_today
from treatments.reference.queries import map_zone_names
from treatments.rules.explanation import Explanation, explain, to_json
from treatments.shared.faults import work_apart

DAY_BEFORE = timedelta(days=1)
# Who was told of the visit, or of its change, so shortly before need not be reminded of it.
TOLD_LATELY = timedelta(hours=36)
# Later than this before a visit nobody reads it in time.
SOONEST = timedelta(hours=2)
# Thanks for a visit that lies further back would puzzle.
THANKED_WITHIN = timedelta(days=3)


@dataclass(slots=True)
class _Run:
    """What is asked once for all appointments of a run."""

    now: datetime
    hours: Mapping[int, SiteHours]
    reaches: Mapping[int, Reach]
    parts: Mapping[int, VisitPart]


@transaction.atomic
def write_follow_ups(*, now: datetime, failed: list[str] | None = None) -> int:
    """Write what is due to be said before and after visits, and return how many messages are new.

    A letter would come too late, so only who has an e-mail address or gets text messages hears of it.

    Args:
        failed: takes a line for each visit about which no message could be written.
    """
    _withdraw_moved(now)
    soon = Q(status=AppointmentStatus.BOOKED, starts_at__gt=now + SOONEST, starts_at__lte=now + 2 * DAY_BEFORE)
    done = Q(status=AppointmentStatus.DONE, changed_at__gt=now - THANKED_WITHIN)
    visits = list(
        Appointment.objects.filter(soon | done, customer__isnull=False)
        .select_related("customer", "site", "vehicle", "cover")
        .prefetch_related("items")
        .order_by("pk")
    )
    keys = {make_key(visit): visit for visit in visits}
    known = set(Message.objects.filter(key__in=keys).values_list("key", flat=True))
    wanted = {visit.pk: visit for key, visit in keys.items() if key not in known}
    if not wanted:
        return 0
    run = _Run(
        now,
        read_contact_hours(),
        read_reach({visit.customer.pk: visit.customer for visit in wanted.values() if visit.customer}.values()),
        read_visit_parts(wanted),
    )
    faults: dict[int, tuple[Explanation, ...]] = {}
    written = sum(
        work_apart(
            sorted(wanted),
            lambda some: _write([wanted[key] for key in some], run),
            name=lambda key: f"The follow-up of appointment {key}",
            tell=faults.__setitem__,
        )
    )
    if failed is not None:
        failed += [f"The message about visit {wanted[key].number}" for key in sorted(faults)]
    return written


def make_key(visit: Appointment) -> str:
    """Return the key of the message that an appointment calls for as it stands."""
    if visit.status == AppointmentStatus.DONE:
        return f"thanks:{visit.uid}"
    return f"tomorrow:{visit.uid}:{int(visit.starts_at.timestamp())}"


def _withdraw_moved(now: datetime) -> None:
    """Withdraw what was not sent yet about visits that have moved or were given up."""
    waiting = Message.objects.filter(kind=MessageKind.VISIT_TOMORROW, status=MessageStatus.WAITING)
    stale = [
        message.pk
        for message in waiting.select_for_update(of=("self",)).select_related("appointment")
        if message.appointment is not None and message.key != make_key(message.appointment)
    ]
    Message.objects.filter(pk__in=stale).update(
        status=MessageStatus.WITHDRAWN, why=to_json(explain("message.not_so_any_more"))
    )


def _write(visits: Iterable[Appointment], run: _Run) -> int:
    found = [message for message in (_make_message(visit, run) for visit in visits) if message is not None]
    before = Message.objects.count()
    Message.objects.bulk_create(found, ignore_conflicts=True)
    return Message.objects.count() - before


def _make_message(visit: Appointment, run: _Run) -> Message | None:
    customer = visit.customer
    assert customer is not None
    reach = run.reaches[customer.pk]
    if reach.to is None or reach.to.channel is Channel.LETTER or reach.is_stopped:
        return None
    part = run.parts.get(visit.pk)
    quiet = run.hours.get(visit.site_id, SiteHours()).quiet
    due_at = run.now
    if visit.status == AppointmentStatus.DONE:
        kind = MessageKind.VISIT_THANKS
        if (part is not None and part.is_washing) or not _has_record(visit):
            return None
    else:
        kind = MessageKind.VISIT_TOMORROW
        due_at = max(run.now, visit.starts_at - DAY_BEFORE)
        if visit.changed_at > visit.starts_at - TOLD_LATELY:
            return None
    due_at = find_telling_moment(due_at, find_customer_zone(reach, visit.site), quiet)
    if kind is MessageKind.VISIT_TOMORROW and due_at > visit.starts_at - SOONEST:
        return None
    with written_for(customer, visit.site):
        content = write_visit_message(kind, visit, part, next_due=_find_next(visit, run.now))
        text = render_message(content, reach.to.channel)
    return Message(
        key=make_key(visit),
        customer=customer,
        cover=visit.cover,
        appointment=visit,
        kind=kind,
        channel=reach.to.channel,
        address=reach.to.address,
        due_at=due_at,
        created_at=run.now,
        **text,
    )


def _has_record(visit: Appointment) -> bool:
    """Say whether what was done at a visit is signed off, so that its record can be read."""
    day = find_today(visit.starts_at, visit.site)
    return any(
        model.objects.filter(vehicle=visit.vehicle_id, done_on__gte=day, signed_off_at__isnull=False).exists()
        for model in (Treatment, Inspection)
    )


def _find_next(visit: Appointment, now: datetime) -> DueText | None:
    """Return what is due next on the cover of a visit that was made."""
    if visit.status != AppointmentStatus.DONE or visit.cover_id is None:
        return None
    item = DueItem.objects.filter(cover=visit.cover_id).order_by("target_on", "pk").first()
    if item is None:
        return None
    days = item.opens_on, item.target_on, item.last_on, item.grace_until
    thing = DueThing(item.key, DueKind(item.kind), tuple(item.zones), *days)
    what, dates = render_thing(thing, map_zone_names(), find_today(now, visit.site))
    return DueText((what,), dates)
