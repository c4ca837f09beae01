"""The task that sees to what follows from the events just recorded."""

import logging

from celery import shared_task
from django.utils import timezone

from notifications.tasks import send_visit_news
from scheduling.covers.services import register_covers_for_new_treatments
from scheduling.index.service import recompute_what_changed
from treatments.queries import find_shop_day
from treatments.shared.faults import try_step

logger = logging.getLogger(__name__)

# A change of a site's hours may concern thousands of covers; the next scan sees to them in ranges.
MOST_AT_ONCE = 500


@shared_task(name="desk.follow_events")
def follow_events() -> None:
    """Bring the due list up to date with what was written down, and tell customers of changed visits."""
    now = timezone.now()
    failed: list[str] = []
    try_step("Registering covers", lambda: register_covers_for_new_treatments(now=now, failed=failed), failed)
    today = find_shop_day(now)
    try_step("Recomputing covers", lambda: recompute_what_changed(as_of=today, most=MOST_AT_ONCE), failed)
    try_step("Telling of visits", send_visit_news, failed)
    for told in failed:
        logger.error("After a change, left to the next scan: %s", told)
