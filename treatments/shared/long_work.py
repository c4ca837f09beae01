"""Work that takes longer than a page may: a row wants it, a task nudges a worker, and a lease says that one is at it.
Lets writers take turns on SQLite, which has one writer at a time and no queue for the others.
"""

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import Error, connection
from django.utils import timezone
from kombu.exceptions import OperationalError

try:
    import fcntl
except ImportError:  # Windows; there SQLite's own waiting has to do
    fcntl = None  # type: ignore[assignment]


@contextmanager
def take_turn() -> Iterator[None]:
    """Wait for one's turn to write, where the database has no queue of its own; not for use inside a transaction."""
    if connection.vendor != "sqlite" or fcntl is None or connection.in_atomic_block:
        yield
        return
    path = Path(str(connection.settings_dict["NAME"])).with_suffix(".turn")
    with path.open("a") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


logger = logging.getLogger(__name__)


def find_lease_end(now: datetime) -> datetime:
    """Return until when work that is at hand now belongs to who is at it, unless they say so again."""
    return now + timedelta(seconds=settings.WORK_LEASE_SECONDS)


@contextmanager
def renewing_lease(renew: Callable[[datetime], object]) -> Iterator[None]:
    """Call ``renew`` with the lease's new end again and again, in a thread with a connection of its own."""
    is_done = threading.Event()

    def go_on() -> None:
        try:
            while not is_done.wait(settings.WORK_LEASE_SECONDS / 4):
                try:
                    renew(find_lease_end(timezone.now()))
                except Error:
                    # A busy database; the lease holds for three more attempts.
                    logger.warning("A lease could not be renewed.", exc_info=True)
        finally:
            connection.close()

    thread = threading.Thread(target=go_on, name="lease", daemon=True)
    thread.start()
    try:
        yield
    finally:
        is_done.set()
        thread.join()


def nudge(task: Any, *arguments: Any) -> None:
    """Let a worker look at once at what was asked for; where no broker answers, beat's next scan finds the row."""
    try:
        task.delay(*arguments)
    except (OperationalError, OSError):
        logger.warning("No broker answers, so the next scan sees to it.", exc_info=True)
