"""Counting the reports: at night, or when somebody asks. The rows say what is wanted; a task only nudges. The reports
as they were counted last: written as JSON by the count, read back as the same values by the page.
"""

import logging
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F, Q

from claims.models import ReportTally
from claims.reports.queries import (
    ClaimCount,
    ClaimsBy,
    FamilySurvival,
    SurvivalReport,
    count_claims,
    read_reserve,
    read_survival,
)
from claims.rules.survival import LogRank, Reserve, SurvivalPoint
from treatments.enums import ProductFamily
from treatments.rules.explanation import from_json, to_json
from treatments.shared.long_work import find_lease_end, renewing_lease

SURVIVAL, RESERVE = "survival", "reserve"
MOST_POINTS = 150
"""Steps of a curve that are kept for drawing; more can't be told apart in a picture of 640 pixels."""
WAITED_FOR = timedelta(minutes=30)
"""How long a count that was asked for is waited for before it may be asked for again."""


def name_claims_by(by: ClaimsBy) -> str:
    """Return the name under which claims counted by something are kept."""
    return f"claims by {by}"


REPORT_NAMES = (*(name_claims_by(by) for by in ClaimsBy), SURVIVAL, RESERVE)


def compute_document(name: str, as_of: date) -> dict[str, Any]:
    """Return one report as a document, read from the records; takes as long as there are records."""
    if name == SURVIVAL:
        survival = read_survival()
        return {
            "families": [asdict(family) | {"points": _thin(family.points)} for family in survival.families],
            "comparisons": [
                [str(one), str(other), asdict(test) if test else None] for one, other, test in survival.comparisons
            ],
        }
    if name == RESERVE:
        reserve = read_reserve(as_of)
        return {"reserve": asdict(reserve) if reserve else None}
    by = next(by for by in ClaimsBy if name_claims_by(by) == name)
    counts = count_claims(by)
    return {"counts": [_write_count(count) for count in counts]}


def _write_count(count: ClaimCount) -> dict[str, Any]:
    return {
        "name": to_json(count.name),
        "zones": count.zones,
        "claims": count.claims,
        "paid": count.paid,
        "coated": count.coated,
    }


def _thin(points: tuple[SurvivalPoint, ...]) -> list[dict[str, Any]]:
    """Return the points, or evenly chosen ones of many; the last is always kept, since the table tells it."""
    every = max(1, -(-len(points) // MOST_POINTS))
    kept = [point for number, point in enumerate(points) if (len(points) - 1 - number) % every == 0]
    return [asdict(point) for point in kept]


@dataclass(frozen=True, slots=True)
class CountedReports:
    """What the reports page shows; each part None where it was never counted.

    Attributes:
        computed_at: when the count was made, the older one where parts differ.
        being_counted: whether somebody asked for a new count that has not come yet.
    """

    claims: list[ClaimCount] | None
    survival: SurvivalReport | None
    reserve: Reserve | None
    as_of: date | None
    computed_at: datetime | None
    being_counted: bool


def read_counted(by: ClaimsBy, now: datetime) -> CountedReports:
    """Return the reports as counted last, in one query."""
    names = [name_claims_by(by), SURVIVAL, RESERVE]
    rows = {row.name: row for row in ReportTally.objects.filter(name__in=names)}
    counted = {name: row for name, row in rows.items() if row.computed_at is not None}
    complete = len(counted) == len(names)
    return CountedReports(
        [_read_count(count) for count in counted[names[0]].document["counts"]] if complete else None,
        _read_survival(counted[SURVIVAL].document) if complete else None,
        _read_reserve(counted[RESERVE].document) if complete else None,
        min((row.as_of for row in counted.values() if row.as_of), default=None) if complete else None,
        min((row.computed_at for row in counted.values() if row.computed_at), default=None) if complete else None,
        any(is_being_counted(row, now) for row in rows.values()),
    )


@dataclass(frozen=True, slots=True)
class CountProgress:
    """How far a count is that was asked for: so many reports of all are counted."""

    is_under_way: bool
    counted: int
    of: int


def read_progress(now: datetime) -> CountProgress:
    """Return how far the count that was asked for last is."""
    rows = list(ReportTally.objects.filter(name__in=REPORT_NAMES))
    waiting = sum(is_being_counted(row, now) for row in rows)
    return CountProgress(waiting > 0, len(REPORT_NAMES) - waiting, len(REPORT_NAMES))


def is_being_counted(row: ReportTally, now: datetime) -> bool:
    """Say whether a count was asked for that may still come."""
    if row.asked_at is None or (row.computed_at is not None and row.computed_at >= row.asked_at):
        return False
    return now - row.asked_at < WAITED_FOR


def _read_count(document: dict[str, Any]) -> ClaimCount:
    return ClaimCount(**{**document, "name": from_json(document["name"])})


def _read_survival(document: dict[str, Any]) -> SurvivalReport:
    families = tuple(
        FamilySurvival(
            ProductFamily(family["family"]),
            family["zones"],
            family["rusted"],
            tuple(SurvivalPoint(**point) for point in family["points"]),
            family["longest_days"],
        )
        for family in document["families"]
    )
    comparisons = tuple(
        (ProductFamily(one), ProductFamily(other), LogRank(**test) if test else None)
        for one, other, test in document["comparisons"]
    )
    return SurvivalReport(families, comparisons)


def _read_reserve(document: dict[str, Any]) -> Reserve | None:
    return Reserve(**document["reserve"]) if document["reserve"] else None


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
