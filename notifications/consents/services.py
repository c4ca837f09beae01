"""Writes down what a customer agrees to and wants to hear, and stops what they do not."""

from datetime import datetime, time

from django.db import transaction

from notifications.consents.queries import read_consents
from notifications.enums import Channel, ConsentSource, MessageStatus, Purpose
from notifications.models import Consent, ContactHours, ContactPreference, Message
from treatments.event_log import Happening, record_events
from treatments.models import Customer, Site, User


@transaction.atomic
def record_consent(
    *, customer: Customer, purpose: Purpose, given: bool, source: ConsentSource, now: datetime, actor: User | None
) -> bool:
    """Write down that a customer agrees to a kind of message, or does not any more; True where that is new.

    Who withdraws the contract's notices is written to no more, and the desk phones. ``Customer.messages_stopped_at``
    says so wherever many customers are looked at; it is written here and by an erasure only.

    Args:
        source: how the customer said so.
        actor: who wrote it down at the desk; None where the customer did it.
    """
    locked = Customer.objects.select_for_update().get(pk=customer.pk)
    if read_consents([locked])[locked.pk][purpose] is given and not _is_first_yes(locked, purpose, given):
        return False
    Consent.objects.create(
        customer=locked, purpose=purpose, given=given, source=source, recorded_by=actor, recorded_at=now
    )
    kind = "customer.agreed" if given else "customer.withdrew"
    if purpose is Purpose.CONTRACT:
        customer.messages_stopped_at = locked.messages_stopped_at = None if given else now
        locked.save(update_fields=["messages_stopped_at"])
        if not given:
            kind = "customer.messages_stopped"
            Message.objects.filter(customer=locked, status=MessageStatus.WAITING).update(status=MessageStatus.WITHDRAWN)
    after = {"kind": purpose, "given": given, "code": source}
    record_events([Happening(kind, "customer", str(locked.pk), after=after)], actor=actor, now=now)
    return True


def _is_first_yes(customer: Customer, purpose: Purpose, given: bool) -> bool:
    """Say whether somebody agrees in so many words to what is sent unasked."""
    return given and not Consent.objects.filter(customer=customer, purpose=purpose).exists()


def stop_messages(*, customer: Customer, now: datetime, source: ConsentSource = ConsentSource.LINK) -> bool:
    """Stop all messages to a customer; True where this call stopped them."""
    return record_consent(customer=customer, purpose=Purpose.CONTRACT, given=False, source=source, now=now, actor=None)


@transaction.atomic
def set_contact_hours(
    *,
    site: Site,
    quiet_from: time,
    quiet_until: time,
    quiet_weekdays: str,
    most_per_week: int,
    now: datetime,
    actor: User | None,
) -> None:
    """Say when the customers of a site are written to.

    Args:
        quiet_from: from this time of the day on nobody is written to, on the customer's clock.
        quiet_until: until this one; the same time: messages go at any hour.
        quiet_weekdays: ISO 8601 numbers of weekdays without messages, six at most.
        most_per_week: reminders to one person.
    """
    row = ContactHours.objects.filter(site=site).first() or ContactHours(site=site)
    row.quiet_from, row.quiet_until, row.quiet_weekdays = quiet_from, quiet_until, quiet_weekdays
    row.most_per_week = most_per_week
    row.full_clean(validate_unique=False)
    row.save()
    after = {"hours": f"{quiet_from:%H:%M}-{quiet_until:%H:%M}", "code": quiet_weekdays, "most": most_per_week}
    record_events([Happening("site.contact_hours", "site", str(site.pk), after=after)], actor=actor, now=now)


@transaction.atomic
def set_preference(
    *, customer: Customer, channel: Channel | None, time_zone: str, now: datetime, actor: User | None
) -> None:
    """Write down on which channel a customer would rather be written to, and by which clock.

    Raises:
        ValidationError: for a time zone that there is none of.
    """
    row, _is_new = ContactPreference.objects.get_or_create(customer=customer)
    before = (row.channel, row.time_zone)
    row.channel, row.time_zone = channel or "", time_zone
    if before == (row.channel, row.time_zone):
        return
    row.full_clean(validate_unique=False)
    row.save()
    happening = Happening("customer.preference", "customer", str(customer.pk), after={"kind": row.channel})
    record_events([happening], actor=actor, now=now)
