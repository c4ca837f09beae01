"""What the owner released, and what of it may still go out today."""

from datetime import datetime, timedelta

from notifications.enums import REMINDERS
from notifications.models import Message, Release
from notifications.reminders.rules.joining import Portion, find_most_in_all
from treatments.queries import find_end_of_day_at, find_shop_day

ONE_DAY = timedelta(days=1)


def read_release() -> Release | None:
    """Return the owner's last word on whether reminders go out by themselves, None before the first."""
    return Release.objects.order_by("released_at", "pk").last()


def read_portion(release: Release, now: datetime) -> Portion:
    """Return what may still go out on the day of the shop that ``now`` lies on."""
    begins = find_end_of_day_at(find_shop_day(now) - ONE_DAY, None)
    written = Message.objects.filter(created_at__gt=begins, kind__in=REMINDERS, by_hand=False)
    backlog = written.filter(of_backlog=True).count()
    others = written.filter(of_backlog=False).count()
    return Portion(release.daily_portion - backlog, find_most_in_all(release.usual_per_day) - others)
