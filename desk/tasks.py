"""The task that sees to what follows from a form."""

from celery import shared_task
from django.utils import timezone

from notifications.tasks import tell_of_visits
from scheduling.index.service import recompute_what_changed
from scheduling.services import register_covers_for_new_treatments
from treatments.queries import find_shop_day

# A change of a site's hours may concern thousands of covers; the next scan sees to them in ranges.
MOST_AT_ONCE = 500


@shared_task(name="desk.follow_up")
def follow_up() -> None:
    """Bring the due list up to date with what was written down, and tell customers of changed visits."""
    now = timezone.now()
    register_covers_for_new_treatments(now=now)
    recompute_what_changed(as_of=find_shop_day(now), most=MOST_AT_ONCE)
    tell_of_visits()
