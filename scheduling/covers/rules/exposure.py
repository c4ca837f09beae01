"""Severe exposure over time, and how a duty's dates move with it until the duty is settled.

A place of use that becomes known leaves the days before alone: no window opens before the shop knew of it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from scheduling.covers.rules.dates import LaidDates, add_months
from scheduling.covers.rules.due_item import DueStatus
from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.terms.rules.terms import Terms
from treatments.enums import CorrosivityCategory
from treatments.rules.explanation import Explanation, explain

CORROSIVITY_ORDER = {category: place for place, category in enumerate(CorrosivityCategory)}


def is_severe(terms: Terms, corrosivity: CorrosivityCategory) -> bool:
    """Say whether the place of use is at least as corrosive as the terms call severe (ISO 9223)."""
    severe = terms.severe_exposure
    return severe is not None and CORROSIVITY_ORDER[corrosivity] >= CORROSIVITY_ORDER[severe.from_category]


class ExposureRun(NamedTuple):
    """Days in a row on which the exposure is severe, or on which it is not; ``first`` is date.min for always."""

    first: date
    last: date
    severe: bool
    category: CorrosivityCategory


def list_exposure_runs(terms: Terms, facts: CoverFacts, as_of: date) -> tuple[ExposureRun, ...]:
    """Return the runs of days up to ``as_of``, the last one ending on it."""
    counting = {place.counts_from for place in facts.places} if terms.severe_exposure else set()
    runs: list[ExposureRun] = []
    for day in (date.min, *sorted(day for day in counting if day <= as_of)):
        category = facts.find_place_of_use(day)
        severe = is_severe(terms, category)
        if not runs or runs[-1].severe != severe:
            if runs:
                runs[-1] = runs[-1]._replace(last=day - timedelta(days=1))
            runs.append(ExposureRun(day, as_of, severe, category))
    return tuple(runs)


class RawDay(NamedTuple):
    """The day from which the dates of a duty are laid. ``exposure`` explains what severe exposure did to it."""

    day: date
    months: int
    exposure: Explanation | None = None


def count_from(base: date, usual_months: int, severe_months: int, run: ExposureRun, window_days: int) -> RawDay:
    """Return the raw day that is counted from ``base`` by whichever interval holds in the run.

    Under severe exposure it leaves room for the whole window after the day since when that counts.
    """
    usual = add_months(base, usual_months)
    if not run.severe or severe_months >= usual_months:
        return RawDay(usual, usual_months)
    severe, earliest = add_months(base, severe_months), run.first + timedelta(days=window_days)
    if severe >= earliest:
        return RawDay(severe, severe_months, explain_exposure(run, severe_months))
    if earliest >= usual:
        return RawDay(usual, usual_months)
    put_off = explain("due.exposure.put_off", category=run.category.value, since_on=run.first, days=window_days)
    return RawDay(earliest, severe_months, put_off)


def explain_exposure(run: ExposureRun, months: int) -> Explanation:
    """Return what is added to an interval that is the shorter one."""
    return explain("due.exposure.interval", category=run.category.value, months=months)


@dataclass(frozen=True, slots=True)
class Settlement:
    """What became of a duty up to a day, by the dates that stand for it.

    Attributes:
        done_on: the day that serves it in time, where one does.
        waivers: those that belong to it, in the order in which they were given.
    """

    raw: RawDay
    laid: LaidDates
    status: DueStatus
    done_on: date | None
    waivers: tuple[Waiver, ...] = ()


def settle_duty(
    runs: Sequence[ExposureRun],
    begins_on: date,
    lay: Callable[[ExposureRun], tuple[RawDay, LaidDates] | None],
    serve: Callable[[LaidDates], date | None],
    waivers: Sequence[Waiver] = (),
) -> Settlement | None:
    """Return what became of a duty by the last day of ``runs``; None where it does not arise.

    Args:
        begins_on: the day that its interval is counted from; it is neither done nor missed before.
        lay: its raw day and dates by the place of use in a run; None where it does not arise by them.
        serve: the day that serves it in time by these dates, None where there is none up to the last day.
        waivers: those that may belong to it, given by the last day, in the order in which they were given.
    """
    as_of = runs[-1].last
    for run in runs:
        found = lay(run)
        if found is None:
            continue
        raw, laid = found
        done_on = serve(laid)
        belonging = tuple(
            waiver
            for waiver in waivers
            if run.first <= waiver.day
            and laid.opens_on <= waiver.raw_day <= laid.grace_until
            and (done_on is None or done_on > waiver.day)
        )
        is_done = done_on is not None and begins_on <= run.last and done_on <= run.last
        is_missed = run.last > laid.grace_until and begins_on <= run.last
        if is_done or is_missed or run is runs[-1] or any(waiver.day <= run.last for waiver in belonging):
            if done_on is not None:
                status = DueStatus.DONE
            elif belonging:
                status = DueStatus.WAIVED
            else:
                status = DueStatus.MISSED if as_of > laid.grace_until else DueStatus.OPEN
            return Settlement(raw, laid, status, done_on, belonging)
    return None
