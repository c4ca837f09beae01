"""The reinspections of a cover: when each falls due, from which anchor, and what became of it.

One walk over the visits gives judgements that are cheap to make; items with sentences are made of those asked for.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from scheduling.covers.rules.dates import DutyTable, LaidDates, add_months
from scheduling.covers.rules.due_item import DueItem, DueKind, DueStatus, explain_waiver
from scheduling.covers.rules.exposure import (
    ExposureRun,
    RawDay,
    count_from,
    explain_exposure,
    list_exposure_runs,
    settle_duty,
)
from scheduling.covers.rules.facts import CoverFacts, PartialLook, Visit, Visits, Waiver
from scheduling.terms.rules.terms import Anchor, MissedMeans, ReinspectionTerms, Terms
from treatments.rules.explanation import Explanation, explain


class Reinspection(NamedTuple):
    """One reinspection as judged on a day.

    Attributes:
        base: what the months are counted from: first_treatment, visit or waived_day.
        visit: did it or, where it was missed, made up for it.
    """

    ordinal: int
    months: int
    base: str
    base_on: date
    exposure: Explanation | None
    raw: date
    laid: LaidDates
    status: DueStatus
    visit: Visit | None
    waiver: Waiver | None
    early: Visit | None
    partial: tuple[PartialLook, ...] = ()


@dataclass(frozen=True, slots=True)
class _Turn:
    """One reinspection while it is walked.

    Attributes:
        base: the day that the months are counted from.
        months: those of the one before, where they are counted from the first treatment.
        after: an early visit is one after this day; with ``last_visit`` it counts.
    """

    table: DutyTable
    duty: ReinspectionTerms
    end: date | None
    visits: Sequence[Visit]
    base: date
    months: int
    after: date
    is_first: bool

    def lay(self, run: ExposureRun) -> tuple[RawDay, LaidDates] | None:
        raw = _count_raw_day(self.duty, self.table.terms, self.base, self.months, run, is_first=self.is_first)
        return None if self.end is not None and raw.day > self.end else (raw, self.table.lay(raw.day, self.end))

    def find_visit(self, laid: LaidDates) -> Visit | None:
        """Return the earliest visit that does it by these dates."""
        for visit in self.visits:
            if visit.day > laid.grace_until:
                break
            if visit.day >= laid.opens_on if self.duty.anchor is Anchor.ANNIVERSARY else visit.day > self.after:
                return visit
        return None

    def serve(self, laid: LaidDates) -> date | None:
        visit = self.find_visit(laid)
        return visit.day if visit else None


def walk_reinspections(
    table: DutyTable,
    facts: CoverFacts,
    visits: Visits,
    as_of: date,
    started_on: date,
    end: date | None,
) -> list[Reinspection]:
    """Walk the reinspections from the first treatment on, until the one that is open on ``as_of``."""
    terms = table.terms
    duty = terms.reinspection
    if duty is None:
        return []
    by_anniversary = duty.anchor is Anchor.ANNIVERSARY
    lapses = duty.missed_means is MissedMeans.LAPSES
    runs = list_exposure_runs(terms, facts, as_of)
    left = facts.list_waivers(DueKind.REINSPECTION, as_of) if facts.waivers else []
    walked: list[Reinspection] = []
    # With the anniversary as anchor months are added up; with the last visit the base moves on instead.
    base_on, base, months, begins_on = started_on, "first_treatment", 0, started_on
    previous_grace = started_on
    while True:
        after = previous_grace if by_anniversary else base_on
        turn = _Turn(table, duty, end, visits.counting, base_on, months, after, is_first=not walked)
        settled = settle_duty(runs, begins_on, turn.lay, turn.serve, left)
        if settled is None:
            return walked
        raw, laid, status = settled.raw, settled.laid, settled.status
        left = [waiver for waiver in left if waiver not in settled.waivers]
        visit = turn.find_visit(laid)
        if status is DueStatus.MISSED and not lapses:
            visit = next((visit for visit in visits.counting if visit.day > laid.grace_until), None)
        early = None
        if by_anniversary and status is not DueStatus.DONE:
            early = next((visit for visit in reversed(visits.counting) if after < visit.day < laid.opens_on), None)
        walked.append(
            Reinspection(
                len(walked) + 1,
                raw.months,
                base,
                base_on,
                raw.exposure,
                raw.day,
                laid,
                status,
                visit,
                settled.waivers[0] if status is DueStatus.WAIVED else None,
                early,
                _find_partial(visits, laid.opens_on if by_anniversary else base_on, laid.grace_until)
                if status is not DueStatus.DONE
                else (),
            )
        )
        if status is DueStatus.OPEN or (status is DueStatus.MISSED and lapses):
            return walked
        previous_grace = laid.grace_until
        if by_anniversary:
            months, begins_on = raw.months, raw.day
            continue
        if status is DueStatus.WAIVED:
            base_on, base = raw.day, "waived_day"
        elif visit:
            base_on, base = visit.day, "visit"
        else:
            return walked  # nothing further is counted until somebody comes
        begins_on = base_on


def _count_raw_day(
    duty: ReinspectionTerms, terms: Terms, base: date, months: int, run: ExposureRun, *, is_first: bool
) -> RawDay:
    """Return the raw day of a reinspection by the place of use in a run.

    Args:
        months: those of the one before, where they are counted from the first treatment.
    """
    severe = terms.severe_exposure
    shorter = severe.reinspection_interval_months if severe else None
    shorter = min(shorter, duty.interval_months) if shorter else None
    usual_step = duty.first_after_months if is_first else duty.interval_months
    step = min(usual_step, shorter) if shorter else usual_step
    if duty.anchor is Anchor.LAST_VISIT or not run.severe or not shorter or step == usual_step:
        return count_from(base, months + usual_step, months + step, run, duty.window_before_days)
    # On a whole number of months from the first treatment, so put off by whole intervals.
    earliest = run.first + timedelta(days=duty.window_before_days)
    while add_months(base, months + step) < earliest:
        step += shorter
    if step >= usual_step:
        return RawDay(add_months(base, months + usual_step), months + usual_step)
    return RawDay(add_months(base, months + step), months + step, explain_exposure(run, shorter))


def _find_partial(visits: Visits, first: date, last: date) -> tuple[PartialLook, ...]:
    """Return the reinspections of some days that would have counted had they answered for every zone."""
    return tuple(look for look in visits.partial if first <= look.day <= last)


def explain_missed(found: Reinspection, duty: ReinspectionTerms) -> list[Explanation]:
    """Return what missing it means under the terms, and what made up for it."""
    opens_on, last_on, grace_until = found.laid.opens_on, found.laid.last_on, found.laid.grace_until
    consequence = explain(f"due.missed_means.{duty.missed_means}")
    if duty.missed_means is MissedMeans.REDUCES:
        consequence = explain("due.missed_means.reduces", percent=duty.reduced_to_percent)
    missed = explain("due.missed.last_day", opens_on=opens_on, last_on=last_on, consequence=consequence)
    if grace_until > last_on:
        missed = explain("due.missed.grace", opens_on=opens_on, grace_until=grace_until, consequence=consequence)
    return [missed, explain("due.made_up_for", visited_on=found.visit.day)] if found.visit else [missed]


def explain_done(visit: Visit, laid: LaidDates) -> Explanation:
    """Return when a visit did it, and whether that was in time."""
    if visit.day > laid.last_on:
        return explain("due.done.late", done_on=visit.day, grace_until=laid.grace_until)
    return explain("due.done.early" if visit.day < laid.opens_on else "due.done.in_time", done_on=visit.day)


def explain_reinspection(found: Reinspection, terms: Terms) -> DueItem:
    """Return the due item of a judged reinspection, with the reasons that tell all of it."""
    laid, visit = found.laid, found.visit
    assert terms.reinspection is not None
    dates = laid.explain(
        f"due.target.{found.base}", months=found.months, base_on=found.base_on, exposure=found.exposure
    )
    reasons = [dates.why_target]
    if found.early:
        reasons.append(explain("due.early_visit", visited_on=found.early.day, opens_on=laid.opens_on))
    for look in found.partial:
        reasons.append(explain("due.partial_inspection", inspected_on=look.day, count=len(look.unanswered)))
    if found.status is DueStatus.DONE and visit:
        reasons.append(explain_done(visit, laid))
    elif found.status is DueStatus.WAIVED and found.waiver:
        reasons.append(explain_waiver(found.waiver))
    elif found.status is DueStatus.MISSED:
        reasons += explain_missed(found, terms.reinspection)
    records = (visit.record,) if visit else (found.waiver.record,) if found.waiver else ()
    return DueItem(
        key=f"reinspection:{found.ordinal}",
        kind=DueKind.REINSPECTION,
        zones=(),
        dates=dates,
        status=found.status,
        reasons=tuple(reasons),
        done_on=visit.day if visit else None,
        records=records,
        waiver_key=f"{DueKind.REINSPECTION}:{found.raw}",
    )
