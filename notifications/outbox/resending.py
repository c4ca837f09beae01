"""Sends a message again that failed, to an address that a person corrected where it was wrong."""

from datetime import datetime

from django.db import transaction

from notifications.enums import Channel, MessageStatus
from notifications.models import Message, Suppression
from treatments.event_log import Happening, record_events
from treatments.log_import.rules.cells import find_email_fault, find_phone_fault
from treatments.models import Customer, User
from treatments.people.customers import change_customer
from treatments.rules.explanation import Label, OwnWords, explain
from treatments.shared.refusals import RefusedError

FIELD_OF = {Channel.EMAIL: "email", Channel.TEXT: "phone"}
FAULT_OF = {Channel.EMAIL: find_email_fault, Channel.TEXT: find_phone_fault}


@transaction.atomic
def send_again(*, message: Message, address: str, actor: User, now: datetime) -> None:
    """Let a message that failed wait to be sent once more.

    An address other than before is the customer's from now on, where the customer still has the one before.

    Raises:
        RefusedError: where the message did not fail, or the address can't be written to.
        ValidationError: where another customer has this name and address.
    """
    locked = Message.objects.select_for_update().get(pk=message.pk)
    if locked.status != MessageStatus.FAILED:
        raise RefusedError(explain("message.did_not_fail", status=Label(locked.status)))
    before = locked.address
    if locked.channel in FIELD_OF:
        _check_address(Channel(locked.channel), address)
        _correct_customer(locked, address, actor, now)
        locked.address = address
    locked.status, locked.due_at, locked.why = MessageStatus.WAITING, now, None
    locked.attempts, locked.first_refused_at, locked.last_error = 0, None, ""
    locked.save()
    changed = before != locked.address
    happening = Happening(
        "message.sent_again",
        "message",
        str(locked.pk),
        before={"address": before} if changed else None,
        after={"key": locked.key, "customer": locked.customer_id, **({"address": locked.address} if changed else {})},
    )
    record_events([happening], actor=actor, now=now)


def _check_address(channel: Channel, address: str) -> None:
    if not address or FAULT_OF[channel](address):
        raise RefusedError(explain("message.not_an_address", address=OwnWords(address)), "address")
    open_one = Suppression.objects.filter(channel=channel, address=address, lifted_at__isnull=True).first()
    if open_one is not None:
        raise RefusedError(explain("message.suppressed", reason=Label(open_one.reason)), "address")


def _correct_customer(message: Message, address: str, actor: User, now: datetime) -> None:
    field = FIELD_OF[Channel(message.channel)]
    customer = Customer.objects.select_for_update().get(pk=message.customer_id)
    if address != message.address and getattr(customer, field) == message.address:
        change_customer(customer, {field: address}, now=now, actor=actor)
