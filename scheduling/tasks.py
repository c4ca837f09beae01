"""Thin Celery wrappers of the scheduling services."""

import logging

from celery import shared_task
from django.conf import settings
from django.db import transaction
from django.utils import timezone

from scheduling.covers.services import register_covers_for_new_treatments
from scheduling.index.service import start_run, work_on_run
from scheduling.models import RecomputeRun, SeasonPlan
from scheduling.season.services import book_what_was_asked_for, list_waiting_plans
from scheduling.season.services import work_season_plan_out as work_out
from treatments.queries import find_shop_day

logger = logging.getLogger(__name__)


@shared_task(name="scheduling.recompute_due_items")
def recompute_due_items() -> None:
    """Register covers that are still missing, and start or go on with the recompute for today."""
    now = timezone.now()
    failed: list[str] = []
    while register_covers_for_new_treatments(now=now, failed=failed):
        pass
    for told in failed:
        logger.error("A cover could not be registered: %s", told)
    run = start_run(as_of=find_shop_day(now), now=now)
    if run is None:
        return
    key = run.pk
    waiting = run.ranges.filter(finished_at__isnull=True).count()
    for _ in range(max(1, min(waiting, settings.RECOMPUTE_WORKERS))):
        transaction.on_commit(lambda: work_on_recompute.delay(key))


@shared_task(name="scheduling.work_on_recompute")
def work_on_recompute(run_key: int) -> None:
    """Compute ranges of a run until none is left. A task that is lost leaves its range to the next scan's tasks."""
    run = RecomputeRun.objects.filter(pk=run_key, finished_at__isnull=True).first()
    if run is not None:
        work_on_run(run=run, now=timezone.now())


@shared_task(name="scheduling.work_season_plan_out")
def work_season_plan_out(plan_key: int) -> None:
    """Work one season plan out that was asked for."""
    plan = SeasonPlan.objects.filter(pk=plan_key).select_related("made_by").first()
    if plan is not None:
        work_out(plan=plan, now=timezone.now())


@shared_task(name="scheduling.resume_season_plans")
def resume_season_plans() -> None:
    """Take the season plans up again whose tasks were lost."""
    for plan in list_waiting_plans(timezone.now()):
        work_season_plan_out.delay(plan.pk)


@shared_task(name="scheduling.book_season_proposals")
def book_season_proposals() -> None:
    """Book the proposals of season plans that people accepted."""
    book_what_was_asked_for(clock=timezone.now)
