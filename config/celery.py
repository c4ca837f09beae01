"""The Celery application. Without CELERY_BROKER_URL its queue is a folder in VAR_DIR."""

import os
from typing import Any

from celery import Celery
from celery.signals import worker_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("rust_protection_record")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


def refuse_unfit_worker(**kwargs: Any) -> None:
    """Look at the settings before a worker takes the first task; see ``config.deployment``."""
    from config.deployment import refuse_unfit_worker as refuse

    refuse()


worker_init.connect(refuse_unfit_worker, weak=False)
