"""Starts a Celery worker or beat of the proof of delivery: with a clock that the proof moves, and its own queue.

Every task takes its moment from ``django.utils.timezone.now``, so that is moved, by the seconds in a file. Beat looks
for messages only, and more often than in use.
"""

import os
import sys
from datetime import datetime, timedelta
from pathlib import Path

from django.utils import timezone

real_now = timezone.now


def moved_now() -> datetime:
    return real_now() + timedelta(seconds=float(Path(os.environ["PROOF_CLOCK"]).read_text()))


def main() -> None:
    timezone.now = moved_now
    from config.celery import app

    app.conf.task_default_queue = os.environ["PROOF_QUEUE"]
    wanted = ("send-due-messages", "free-lapsed-leases")
    app.conf.beat_schedule = {name: app.conf.beat_schedule[name] | {"schedule": 1.0} for name in wanted}
    app.start(sys.argv[1:])


if __name__ == "__main__":
    main()
