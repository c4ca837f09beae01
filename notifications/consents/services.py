"""Writes down what a customer wants to hear, and stops what they do not."""

from datetime import datetime

from django.db import transaction

from notifications.enums import MessageStatus
from notifications.models import Message
from treatments.event_log import Happening, record_events
from treatments.models import Customer


@transaction.atomic
def stop_messages(*, customer: Customer, now: datetime) -> bool:
    """Stop all messages to a customer; True where this call stopped them."""
    changed = Customer.objects.filter(pk=customer.pk, messages_stopped_at__isnull=True).update(messages_stopped_at=now)
    if changed:
        Message.objects.filter(customer=customer, status=MessageStatus.WAITING).update(status=MessageStatus.WITHDRAWN)
        record_events([Happening("customer.messages_stopped", "customer", str(customer.pk))], actor=None, now=now)
    return bool(changed)
