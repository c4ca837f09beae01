"""Correcting how a customer is reached, by the customer: at once, but for the e-mail address, which is confirmed first.

A new address gets a mail with a link; only who opens that link sets it. The former address is told.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from notifications.consents.services import record_consent, set_preference
from notifications.customer_page.links import make_email_address
from notifications.enums import Channel, ConsentSource, MessageKind, Purpose
from notifications.languages import written_for
from notifications.mail.account import write_account_message
from notifications.mail.rendering import render_message
from notifications.models import ContactPreference, Message
from treatments.models import Customer, Site
from treatments.people.customers import change_customer
from treatments.shared.shown import ChangedSinceShownError, check_unchanged_since, name_records

# So often a day is a new address written to: nobody may use the shop to write to strangers.
MOST_CONFIRMATIONS_A_DAY = 5


@dataclass(frozen=True, slots=True)
class ContactChange:
    """What came of a correction.

    Attributes:
        changed: the names of what was changed at once.
        to_confirm: the address that a mail was written to, '' where none was.
    """

    changed: tuple[str, ...]
    to_confirm: str


@transaction.atomic
def correct_own_contact(
    *,
    customer: Customer,
    details: Mapping[str, str],
    email: str,
    channel: Channel | None,
    site: Site,
    now: datetime,
    shown_at: int | None,
) -> ContactChange:
    """Correct how a customer is reached, as the customer says; a new e-mail address is asked about by a mail to it.

    Args:
        details: telephone, address and language, those of them that are to change.
        email: the new e-mail address, '' where it stays.
        channel: on which the customer would rather be written to; None: as the shop does usually. Whoever chooses text
            messages agrees to them.
        site: whose name and clock the mail has.

    Raises:
        ChangedSinceShownError: where the customer's record has changed since the page was shown.
        ValidationError: where too many addresses were tried today, or another customer has this name and contact.
    """
    locked = Customer.objects.select_for_update().get(pk=customer.pk)
    check_unchanged_since(shown_at, name_records(locked))
    changed = {name: value for name, value in details.items() if getattr(locked, name) != value}
    if changed:
        change_customer(locked, changed, now=now, actor=None)
    if _set_channel(locked, channel, now):
        changed["channel"] = channel or ""
    if not email or email.casefold() == locked.email.casefold():
        return ContactChange(tuple(changed), "")
    _refuse_flood(locked, now)
    with written_for(locked, site):
        _write(locked, MessageKind.EMAIL_TO_CONFIRM, email, site, now, make_email_address(locked, email))
    return ContactChange(tuple(changed), email)


def find_preferred_channel(customer: Customer) -> Channel | None:
    """Return the channel that a customer chose, None where none was."""
    row = ContactPreference.objects.filter(customer=customer).first()
    return Channel(row.channel) if row and row.channel else None


def _set_channel(customer: Customer, channel: Channel | None, now: datetime) -> bool:
    """Write down the channel that a customer prefers; True where it is another than before."""
    if channel == find_preferred_channel(customer):
        return False
    row = ContactPreference.objects.filter(customer=customer).first()
    zone = row.time_zone if row else ""
    set_preference(customer=customer, channel=channel, time_zone=zone, now=now, actor=None)
    if channel is Channel.TEXT:
        record_consent(
            customer=customer, purpose=Purpose.TEXTS, given=True, source=ConsentSource.LINK, now=now, actor=None
        )
    return True


def _refuse_flood(customer: Customer, now: datetime) -> None:
    since = now - timedelta(days=1)
    asked = Message.objects.filter(customer=customer, kind=MessageKind.EMAIL_TO_CONFIRM, created_at__gt=since)
    if asked.count() >= MOST_CONFIRMATIONS_A_DAY:
        raise ValidationError({"email": _("Several addresses were tried today. Please call us to change it.")})


@transaction.atomic
def confirm_email(*, customer: Customer, email: str, former_email: str, site: Site, now: datetime) -> bool:
    """Set the e-mail address that a customer confirmed, and tell the former one; True where this call set it.

    Args:
        former_email: the address on record when the new one was asked about.

    Raises:
        ChangedSinceShownError: where the address on record is another by now.
        ValidationError: where another customer has this name and contact.
    """
    locked = Customer.objects.select_for_update().get(pk=customer.pk)
    if locked.email == email:
        return False
    if locked.email != former_email:
        raise ChangedSinceShownError([])
    change_customer(locked, {"email": email}, now=now, actor=None)
    if former_email:
        with written_for(locked, site):
            _write(locked, MessageKind.EMAIL_CHANGED, former_email, site, now, "")
    return True


def _write(customer: Customer, kind: MessageKind, to: str, site: Site, now: datetime, link: str) -> None:
    """Write one mail; sent twice within the hour, it is one."""
    digest = sha256(f"{to} {customer.email}".encode()).hexdigest()[:16]
    Message.objects.get_or_create(
        key=f"{kind}:{customer.pk}:{digest}:{now:%Y%m%d%H}",
        defaults={
            "customer": customer,
            "kind": kind,
            "channel": Channel.EMAIL,
            "address": to,
            **render_message(write_account_message(kind, customer, site, link)),
            "due_at": now,
            "created_at": now,
        },
    )
