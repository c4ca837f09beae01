"""The Celery application. Without CELERY_BROKER_URL every task runs at once in the calling process."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("rust_protection_record")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
