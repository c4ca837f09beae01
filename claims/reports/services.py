"""Counting the reports: at night, or when somebody asks. The rows say what is wanted; a task only nudges."""

import logging
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import F, Q

from claims.models import ReportTally
from claims.reports.tally import REPORT_NAMES, compute_document, is_being_counted
from treatments.shared.long_work import find_lease_end, renewing_lease

logger = logging.getLogger(__name__)
# A report that can't be counted is tried again so much later; the others are not held up by it.
TRIED_AGAIN_AFTER = timedelta(minutes=15)


def count_reports(*, as_of: date, now: datetime) -> None:
    """Count every report from the records and keep the result.

    Two counts at the same time do no harm: each writes the whole, and the later one stays.
    """
    for name in REPORT_NAMES:
        _keep(name, compute_document(name, as_of), as_of, now)


def _keep(name: str, document: dict[str, object], as_of: date, now: datetime) -> None:
    ReportTally.objects.update_or_create(
        name=name, defaults={"document": document, "as_of": as_of, "computed_at": now, "leased_until": None}
    )


def count_reports_when_due(*, as_of: date, now: datetime) -> bool:
    """Count each report whose count of today is missing or that was asked for anew; return whether any was counted.

    Each is kept as soon as it is counted, so that who waits sees how far it is, and what was counted outlives a worker
    that dies. Several workers share the reports among them.
    """
    counted = False
    for name in REPORT_NAMES:
        ReportTally.objects.get_or_create(name=name)
        mine = ReportTally.objects.filter(name=name)
        is_due = (
            Q(computed_at__isnull=True) | Q(as_of__isnull=True) | Q(as_of__lt=as_of) | Q(asked_at__gt=F("computed_at"))
        )
        is_free = Q(leased_until__isnull=True) | Q(leased_until__lt=now)
        if not mine.filter(is_due, is_free).update(leased_until=find_lease_end(now)):
            continue
        counted = True
        try:
            with renewing_lease(lambda end, mine=mine: mine.update(leased_until=end)):  # type: ignore[misc]
                document = compute_document(name, as_of)
        except Exception:
            logger.exception("report_not_counted: %s", name)
            mine.update(leased_until=now + TRIED_AGAIN_AFTER)
        else:
            _keep(name, document, as_of, now)
    return counted


@transaction.atomic
def ask_for_count(*, now: datetime) -> bool:
    """Note that the reports are wanted counted anew; False where such a count is on its way already."""
    rows = ReportTally.objects.select_for_update().filter(name__in=REPORT_NAMES)
    if any(is_being_counted(row, now) for row in rows):
        return False
    for name in REPORT_NAMES:
        ReportTally.objects.update_or_create(name=name, defaults={"asked_at": now})
    return True
