"""Thin Celery wrappers of the notification services. Rows hold the truth; these only look and nudge."""

from functools import partial

from celery import shared_task
from django.db import transaction
from django.utils import timezone

from notifications import services
from treatments.queries import find_today


@shared_task(name="notifications.write_due_reminders")
def write_due_reminders() -> None:
    """Write the reminders that are due today."""
    now = timezone.now()
    services.write_due_reminders(as_of=find_today(now), now=now)


@shared_task(name="notifications.send_due_messages")
def send_due_messages() -> int:
    """Lease the messages whose time has come and hand each to a worker; return how many."""
    now = timezone.now()
    with transaction.atomic():
        keys = services.lease_due_messages(now=now)
        for key in keys:
            transaction.on_commit(partial(send_message.delay, key))
    return len(keys)


@shared_task(name="notifications.send_message")
def send_message(message_id: int) -> bool:
    """Send one leased message; True where this call sent it."""
    outcome = services.send_leased_message(message_id=message_id, now=timezone.now())
    return outcome is services.SendOutcome.SENT
