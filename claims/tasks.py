"""Thin Celery wrappers of the claims services."""

from celery import shared_task
from django.utils import timezone

from claims.reports.services import count_reports_when_due as count_when_due
from treatments.queries import find_shop_day


@shared_task(name="claims.count_reports_when_due")
def count_reports_when_due() -> bool:
    """Count the reports where today's count is missing or somebody asked for a newer one."""
    now = timezone.now()
    return count_when_due(as_of=find_shop_day(now), now=now)
