"""Rebuilds the index in ranges of covers that any number of workers share.

A range is computed, written and marked in one transaction. A worker that dies leaves its range as it was, for the next
worker to take, and no row is ever computed twice into the table.
"""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, connection, transaction
from django.db.models import QuerySet, Sum

from scheduling.booking.following import find_booked_days
from scheduling.covers.queries import read_short_cases
from scheduling.index.faults import write_faults
from scheduling.index.stale import LONG_AGO, mark_stale, mark_stale_since
from scheduling.index.writing import RecomputeReport, Row, compute_rows, write_index
from scheduling.models import Cover, CoverState, RecomputeRange, RecomputeRun
from treatments.rules.explanation import Explanation
from treatments.shared.faults import explain_fault, work_apart
from treatments.shared.shown import find_log_position

COVERS_IN_A_RANGE = 2_000


def recompute(*, as_of: date, now: datetime, whole: bool = False) -> RecomputeReport:
    """Bring the index of cover states and due items up to ``as_of``; only rows that changed are written.

    Args:
        as_of: the day for which the index answers.
        now: the moment, for the run's own record.
        whole: every cover, not only those about which something was written down or whose day has come. Wanted
            after an upgrade of the program or of its public holidays.
    """
    run = start_run(as_of=as_of, now=now, whole=whole)
    if run is None:
        return RecomputeReport()
    report = work_on_run(run=run, now=now)
    if run.as_of != as_of or (whole and not run.whole):
        # An earlier run was left unfinished; that one is done now, and this one follows.
        following = start_run(as_of=as_of, now=now, whole=whole)
        report += work_on_run(run=following, now=now) if following else RecomputeReport()
    return report


def start_run(*, as_of: date, now: datetime, whole: bool = False) -> RecomputeRun | None:
    """Cut what must be computed into ranges, or return the run that is still unfinished; None: nothing is to do."""
    unfinished = RecomputeRun.objects.filter(finished_at__isnull=True).first()
    if unfinished:
        return unfinished
    last = RecomputeRun.objects.first()
    # What a run leaves alone holds from its day on; an earlier day must be computed anew.
    whole = whole or last is None or as_of < last.as_of or not CoverState.objects.exists()
    mark_stale()
    if not whole and not CoverState.objects.filter(recheck_on__lte=as_of).exists():
        return None
    try:
        with transaction.atomic():
            run = RecomputeRun.objects.create(as_of=as_of, whole=whole, started_at=now)
            RecomputeRange.objects.bulk_create(
                (RecomputeRange(run=run, first_cover=first, last_cover=end) for first, end in _cut_ranges(run)),
                batch_size=1_000,
            )
    except IntegrityError:
        return RecomputeRun.objects.get(finished_at__isnull=True)  # another worker was first
    RecomputeRun.objects.filter(pk__lt=run.pk - RUNS_KEPT).delete()
    return run


RUNS_KEPT = 50


def _cut_ranges(run: RecomputeRun) -> Iterator[tuple[int, int]]:
    first, last, count = 0, 0, 0
    for key in _find_covers(run).iterator(chunk_size=50_000):
        if count == 0:
            first = key
        last, count = key, count + 1
        if count == COVERS_IN_A_RANGE:
            yield first, last
            count = 0
    if count:
        yield first, last


def _find_covers(run: RecomputeRun) -> "QuerySet[Any, int]":
    """Return the keys of the covers that a run computes, in order; a state's key is its cover's."""
    if run.whole:
        return Cover.objects.order_by("pk").values_list("pk", flat=True)
    return CoverState.objects.filter(recheck_on__lte=run.as_of).order_by("pk").values_list("pk", flat=True)


def work_on_run(*, run: RecomputeRun, now: datetime) -> RecomputeReport:
    """Compute ranges of a run until none is left that no other worker holds."""
    report = RecomputeReport()
    while True:
        done = _work_on_next_range(run, now)
        if done is None:
            break
        report += done
    if not run.ranges.filter(finished_at__isnull=True).exists():
        RecomputeRun.objects.filter(pk=run.pk, finished_at__isnull=True).update(finished_at=now)
    return report


@transaction.atomic
def _work_on_next_range(run: RecomputeRun, now: datetime) -> RecomputeReport | None:
    skips = connection.features.has_select_for_update_skip_locked
    open_ranges = RecomputeRange.objects.select_for_update(skip_locked=skips).filter(run=run, finished_at__isnull=True)
    part = open_ranges.order_by("first_cover").first()
    if part is None:
        return None
    keys = list(_find_covers(run).filter(pk__gte=part.first_cover, pk__lte=part.last_cover))
    done = _compute(keys, run.as_of)
    RecomputeRange.objects.filter(pk=part.pk).update(
        finished_at=now,
        covers=done.covers,
        states_written=done.states_written,
        items_written=done.items_written,
        items_removed=done.items_removed,
    )
    return done


@transaction.atomic
def recompute_covers(*, keys: Sequence[int], as_of: date) -> RecomputeReport:
    """Bring the index of a few covers up to date at once, for a change that a person wants to see in the due list.

    A later run comes to the same rows.
    """
    return _compute(keys, as_of)


def _compute(keys: Sequence[int], as_of: date) -> RecomputeReport:
    """Compute and write covers; those that can't be are left out and marked, and the others go on."""
    faults: dict[int, tuple[Explanation, ...]] = {}
    # Asked for before anything is read: what is written down later is answered by a later position.
    position = find_log_position()
    done = work_apart(
        keys, lambda some: _compute_together(some, as_of, position), name=name_cover, tell=faults.__setitem__
    )
    write_faults(faults, (), as_of)
    mark_stale_since(position)
    return sum(done, RecomputeReport(len(faults), failed=tuple(faults)))


def name_cover(key: int) -> str:
    return f"Cover with key {key}"


def _compute_together(keys: Sequence[int], as_of: date, position: int) -> RecomputeReport:
    """Compute and write covers; one that the rules can't answer for is marked, and one that can't be read is raised."""
    states: list[Row] = []
    items: list[Row] = []
    faults: dict[int, tuple[Explanation, ...]] = {}
    booked = find_booked_days(keys)
    for case in read_short_cases(Cover.objects.filter(pk__in=keys).select_related("site").order_by("pk")):
        key = case.cover.pk
        try:
            state, due = compute_rows(case, booked.get(key, {}), as_of)
        except Exception as error:
            faults[key] = explain_fault(error, name_cover(key))
        else:
            states.append(state)
            items += due
    fine = [key for key in keys if key not in faults]
    done = write_index(fine, states, items, position)
    write_faults(faults, fine, as_of)
    return done + RecomputeReport(len(faults), failed=tuple(faults))


def recompute_what_changed(*, as_of: date, most: int = COVERS_IN_A_RANGE) -> bool:
    """Bring the index up to date at once for the covers about which something was written down.

    Args:
        as_of: the day for which the index answers.
        most: how many covers at most; where more are waiting, all of them are left to the next run.

    Returns:
        False where a run is to do it: too many are waiting, or there was none yet.
    """
    if not RecomputeRun.objects.exists():
        return False
    mark_stale()
    keys = list(CoverState.objects.filter(recheck_on=LONG_AGO).order_by("pk").values_list("pk", flat=True)[: most + 1])
    if len(keys) > most:
        return False
    if keys:
        recompute_covers(keys=keys, as_of=as_of)
    return True


COUNTED = ("covers", "states_written", "items_written", "items_removed")


def read_run_report(run: RecomputeRun) -> RecomputeReport:
    """Return what all workers of a run have done so far."""
    sums = run.ranges.aggregate(*(Sum(name) for name in COUNTED))
    covers, states, items, removed = (sums[f"{name}__sum"] or 0 for name in COUNTED)
    return RecomputeReport(covers, states, items, removed)
