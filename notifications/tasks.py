"""Thin Celery wrappers of the notification services. Rows hold the truth; these only look and nudge."""

import logging
from datetime import timedelta
from math import ceil

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from notifications.claim_news import services as claim_news
from notifications.enums import Channel
from notifications.invitations import follow_ups
from notifications.invitations import services as invitations
from notifications.mail import mailing as log_checkpoints
from notifications.outbox import leases
from notifications.outbox import services as outbox
from notifications.privacy import retention
from notifications.reminders import services
from treatments.shared.long_work import nudge

logger = logging.getLogger(__name__)

# Then the worker does something else; the next scan asks for more.
RUN_TIME = timedelta(minutes=5)


@shared_task(name="notifications.write_due_reminders")
def write_due_reminders() -> None:
    """Write the reminders that are due today."""
    now = timezone.now()
    report = services.write_due_reminders(now=now)
    if report.is_wave:
        logger.error("Reminders stopped: far more were due than on a usual day. An owner has to let them out.")
    for told in report.failed:
        logger.error("A reminder could not be written, so phone: %s", told)


@shared_task(name="notifications.erase_what_is_old")
def erase_what_is_old() -> None:
    """Erase what the register of personal data keeps for some days only."""
    for told in retention.erase_what_is_old(now=timezone.now()).failed:
        logger.error("Not erased: %s", told)


@shared_task(name="notifications.send_log_checkpoint")
def send_log_checkpoint() -> None:
    """Write down outside the database where the event log stands."""
    log_checkpoints.send_log_checkpoint(now=timezone.now())


@shared_task(name="notifications.send_due_messages")
def send_due_messages() -> int:
    """Look for messages whose time has come and let workers take them; return how many workers were asked.

    Nothing is taken here: what a broker loses is asked for again by the next scan.
    """
    found = leases.look_for_work(now=timezone.now(), most=leases.BATCH * settings.SEND_WORKERS)
    asked = 0
    for channel, count in found.items():
        for _worker in range(min(ceil(count / leases.BATCH), settings.SEND_WORKERS)):
            nudge(send_messages, channel)
            asked += 1
    return asked


@shared_task(name="notifications.send_messages", expires=60)
def send_messages(channel: str) -> int:
    """Send the messages of a channel in batches, over one connection; return how many this call sent."""
    report = outbox.send_due_messages(Channel(channel), clock=timezone.now, time_limit=RUN_TIME)
    return report.sent


@shared_task(name="notifications.free_lapsed_leases")
def free_lapsed_leases() -> int:
    """Let the messages wait again that lost workers held; return how many."""
    return leases.free_lapsed_leases(now=timezone.now())


@shared_task(name="notifications.write_invitations")
def write_invitations() -> None:
    """Write what customers are to be told of changed visits and of their claims."""
    report = invitations.write_invitations(now=timezone.now())
    for told in report.to_phone:
        logger.warning("Nobody writes to this customer, so phone: %s", told)
    failed = list(report.failed)
    claim_news.write_claim_news(now=timezone.now(), failed=failed)
    for told in failed:
        logger.error("No message could be written, so phone: %s", told)


@shared_task(name="notifications.write_follow_ups")
def write_follow_ups() -> None:
    """Write what customers hear the day before a visit and after it."""
    failed: list[str] = []
    follow_ups.write_follow_ups(now=timezone.now(), failed=failed)
    for told in failed:
        logger.error("No message could be written: %s", told)


@shared_task(name="notifications.send_visit_news")
def send_visit_news() -> None:
    """Write and send what customers are to be told of changed visits, at once and not at the next scan."""
    write_invitations()
    send_due_messages()


def nudge_to_send_due_messages() -> None:
    """Let somebody who waits for a mail have it at once; the scan sends it all the same where no broker answers."""
    nudge(send_due_messages)


def nudge_to_send_visit_news() -> None:
    """Let customers hear of a change at once. Rows and scans see to it all the same where no broker answers."""
    nudge(send_visit_news)
