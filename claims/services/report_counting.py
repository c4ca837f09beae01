"""Counting the reports: at night, or when somebody asks. The rows say what is wanted; a task only nudges."""

from datetime import date, datetime

from django.db import transaction

from claims.models import ReportTally
from claims.report_tally import REPORT_NAMES, compute_documents, is_being_counted


def count_reports(*, as_of: date, now: datetime) -> None:
    """Count every report from the records and keep the result.

    Two counts at the same time do no harm: each writes the whole, and the later one stays.
    """
    documents = compute_documents(as_of)
    with transaction.atomic():
        for name, document in documents.items():
            ReportTally.objects.update_or_create(
                name=name, defaults={"document": document, "as_of": as_of, "computed_at": now}
            )


def count_reports_when_due(*, as_of: date, now: datetime) -> bool:
    """Count where today's count is missing or a newer one was asked for; return whether it was counted."""
    rows = {row.name: row for row in ReportTally.objects.filter(name__in=REPORT_NAMES)}
    is_due = len(rows) < len(REPORT_NAMES) or any(
        row.computed_at is None
        or row.as_of is None
        or row.as_of < as_of
        or (row.asked_at is not None and row.asked_at > row.computed_at)
        for row in rows.values()
    )
    if is_due:
        count_reports(as_of=as_of, now=now)
    return is_due


@transaction.atomic
def ask_for_count(*, now: datetime) -> bool:
    """Note that the reports are wanted counted anew; False where such a count is on its way already."""
    rows = ReportTally.objects.select_for_update().filter(name__in=REPORT_NAMES)
    if any(is_being_counted(row, now) for row in rows):
        return False
    for name in REPORT_NAMES:
        ReportTally.objects.update_or_create(name=name, defaults={"asked_at": now})
    return True
