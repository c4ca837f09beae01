"""Says whether the service is well: database, broker, workers, the last nightly run and the oldest waiting message.

Nothing in the answer names a person, a vehicle or an address, so anybody may ask.
"""

import time
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.db import DatabaseError, connection
from django.db.models import Max, Min
from kombu.exceptions import OperationalError

from notifications.enums import MessageStatus
from notifications.models import Message
from scheduling.bays.queries import read_calendars
from scheduling.models import RecomputeRun
from treatments.models import Site

# A nightly run is late after a day and two hours; a message should leave within an hour of its time.
NIGHTLY_LATE_AFTER = timedelta(hours=26)
MESSAGE_LATE_AFTER = timedelta(hours=1)
WORKERS_ANSWER_WITHIN_SECONDS = 2.0
# Asking the workers takes as long as they may take to answer, so they are not asked for each request.
WORKERS_ASKED_EVERY_SECONDS = 15
# A worker that starts beside the web server takes some seconds until it answers.
WORKERS_START_WITHIN_SECONDS = 60.0
STARTED_AT_SECONDS = time.monotonic()
WORKERS_CACHE_KEY = "health.workers"


@dataclass(frozen=True)
class Health:
    """How each part is: ok, failing, starting, late or none yet. Moments are UTC, None where there is none.

    Attributes:
        failing_sites: codes of the sites whose days can't be computed from their settings.
    """

    database: str
    broker: str
    workers: str
    worker_count: int
    last_run: str
    last_run_at: datetime | None
    messages: str
    messages_waiting: int
    oldest_message_due_at: datetime | None
    sites: str
    failing_sites: tuple[str, ...]

    @property
    def is_well(self) -> bool:
        parts = {self.database, self.broker, self.workers, self.last_run, self.messages, self.sites}
        return not {"failing", "late"} & parts


def read_health(now: datetime) -> Health:
    """Ask every part how it is; a part that does not answer hinders no other."""
    broker, workers, count = read_workers()
    is_starting = time.monotonic() - STARTED_AT_SECONDS < WORKERS_START_WITHIN_SECONDS
    if broker == "ok" and workers == "failing" and is_starting:
        workers = "starting"
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        last = RecomputeRun.objects.aggregate(at=Max("finished_at"))["at"]
        waiting = Message.objects.filter(status__in=(MessageStatus.WAITING, MessageStatus.LEASED), due_at__lte=now)
        oldest = waiting.aggregate(at=Min("due_at"))["at"]
        number = waiting.count()
        failing_sites = find_failing_sites()
    except DatabaseError:
        return Health("failing", broker, workers, count, "failing", None, "failing", 0, None, "failing", ())
    return Health(
        database="ok",
        broker=broker,
        workers=workers,
        worker_count=count,
        last_run=_rate(last, now, NIGHTLY_LATE_AFTER, nothing="none yet"),
        last_run_at=last,
        messages=_rate(oldest, now, MESSAGE_LATE_AFTER, nothing="ok"),
        messages_waiting=number,
        oldest_message_due_at=oldest,
        sites="failing" if failing_sites else "ok",
        failing_sites=failing_sites,
    )


def find_failing_sites() -> tuple[str, ...]:
    """Return the codes of the sites whose days can't be computed, so that nothing is due or booked there."""
    sites = list(Site.objects.order_by("code"))
    calendars = read_calendars(sites)
    return tuple(site.code for site in sites if calendars[site.pk].fault)


def _rate(at: datetime | None, now: datetime, late_after: timedelta, *, nothing: str) -> str:
    if at is None:
        return nothing
    return "late" if now - at > late_after else "ok"


def read_workers() -> tuple[str, str, int]:
    """Return how the broker and the workers are, and how many workers answered, as a few seconds ago at most."""
    found: tuple[str, str, int] | None = cache.get(WORKERS_CACHE_KEY)
    if found is None:
        found = _ask_workers()
        cache.set(WORKERS_CACHE_KEY, found, WORKERS_ASKED_EVERY_SECONDS)
    return found


def _ask_workers() -> tuple[str, str, int]:
    from celery import current_app

    app: Any = current_app
    try:
        with app.connection_for_read(connect_timeout=WORKERS_ANSWER_WITHIN_SECONDS) as broker:
            broker.ensure_connection(max_retries=1, timeout=WORKERS_ANSWER_WITHIN_SECONDS)
            # The embedded size has one worker, so its answer is not followed by another.
            most = 1 if settings.IS_OWN_BROKER else None
            ask = app.control.inspect(timeout=WORKERS_ANSWER_WITHIN_SECONDS, connection=broker, limit=most)
            answers = ask.ping() or {}
    except (OperationalError, OSError):
        return "failing", "failing", 0
    return "ok", "ok" if answers else "failing", len(answers)
