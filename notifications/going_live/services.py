"""Writes down the owner's word that reminders go out, and stops them where far more are due than on a usual day."""

from datetime import date, datetime

from django.db import transaction

from notifications.models import Release
from treatments.event_log import Happening, record_events
from treatments.models import User


@transaction.atomic
def release_reminders(
    *, missed_since: date, daily_portion: int, usual_per_day: int, now: datetime, actor: User | None
) -> Release:
    """Let reminders go out from now on.

    Args:
        missed_since: what was missed before this day is not told any more.
        daily_portion: messages a day about what fell due by today.
        usual_per_day: messages on a usual day; a day with far more stops and asks.
    """
    release = Release(
        missed_since=missed_since,
        daily_portion=daily_portion,
        usual_per_day=usual_per_day,
        released_by=actor,
        released_at=now,
    )
    release.full_clean()
    release.save()
    after = {"missed_since": missed_since, "daily_portion": daily_portion, "usual_per_day": usual_per_day}
    record_events([Happening("reminders.released", "release", str(release.pk), after=after)], actor=actor, now=now)
    return release


@transaction.atomic
def pause_release(*, release: Release, now: datetime, actor: User | None = None) -> bool:
    """Stop reminders until the owner releases them anew; True where this call stopped them.

    Args:
        actor: who stopped them; None where a run found far more than usual.
    """
    if not Release.objects.filter(pk=release.pk, paused_at__isnull=True).update(paused_at=now):
        return False
    kind = "reminders.stopped" if actor else "reminders.wave"
    record_events([Happening(kind, "release", str(release.pk))], actor=actor, now=now)
    return True
