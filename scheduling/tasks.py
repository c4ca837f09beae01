"""Thin Celery wrappers of the scheduling services."""

from celery import shared_task
from django.utils import timezone

from scheduling.services import recompute, register_covers_for_new_treatments
from treatments.queries import find_today


@shared_task(name="scheduling.recompute_due_items")
def recompute_due_items() -> None:
    """Register covers that are still missing and bring states and due items up to today."""
    now = timezone.now()
    while register_covers_for_new_treatments(now=now):
        pass
    recompute(as_of=find_today(now))
