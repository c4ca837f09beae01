"""Severe exposure over time, and how a duty's dates move with it until the duty is settled. Whom to call first: how
much metal a bare spot would have lost since the vehicle was last seen.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import NamedTuple

from scheduling.covers.rules.dates import LaidDates, add_months
from scheduling.covers.rules.due_item import DueStatus
from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.terms.rules.terms import Terms
from treatments.enums import CorrosivityCategory
from treatments.records.rules.history import VehicleHistory
from treatments.rules.explanation import Explanation, explain
from treatments.vehicles.rules.corrosivity import (
    EXPONENT,
    FIRST_YEAR_UPPER_UM,
    POWER_LAW_YEARS,
    MetalLoss,
    compute_metal_loss_um,
    estimate_metal_loss,
)

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


REFERENCE_LOSS_UM = 50.0
"""Our own choice: the upper bound of a year at C3, the middle category. Any depth ranks vehicles of one age alike."""

FURTHEST_YEARS = 100.0
DAYS_A_YEAR = 365.25


@lru_cache
def count_days_to_lose(category: CorrosivityCategory, loss_um: float = REFERENCE_LOSS_UM) -> int:
    """Return the days in which bare steel loses ``loss_um`` at the upper bound of a category (ISO 9224 inverted).

    Up to 20 years t = (D / r)^(1 / b), from then on the tangent; at most a hundred years, since beyond that the
    figure says nothing.
    """
    rate = FIRST_YEAR_UPPER_UM[category]
    years = float((loss_um / rate) ** (1 / EXPONENT))
    if years > POWER_LAW_YEARS:
        slope = float(rate) * EXPONENT * POWER_LAW_YEARS ** (EXPONENT - 1)
        years = POWER_LAW_YEARS + float(loss_um - compute_metal_loss_um(rate, POWER_LAW_YEARS)) / slope
    return math.ceil(min(years, FURTHEST_YEARS) * DAYS_A_YEAR)


def find_risk_day(last_seen_on: date, category: CorrosivityCategory) -> date:
    """Return the day by which a bare spot would have lost the reference depth; the earlier, the sooner to call.

    A day is kept rather than a depth, because it stays the same from one night to the next and so can be indexed.
    """
    days = min(count_days_to_lose(category), (date.max - last_seen_on).days)
    return last_seen_on + timedelta(days=days)


def find_last_seen(history: VehicleHistory, as_of: date) -> date | None:
    """Return the last day up to ``as_of`` on which the vehicle was treated or inspected, or None."""
    days = [treatment.day for treatment in history.current_treatments if treatment.day <= as_of]
    days += [inspection.day for inspection in history.current_inspections if inspection.day <= as_of]
    return max(days, default=None)


def estimate_risk(last_seen_on: date, category: CorrosivityCategory, as_of: date) -> MetalLoss:
    """Return the estimated loss of bare steel from ``last_seen_on`` to ``as_of``, with its source in words."""
    return estimate_metal_loss(category, max((as_of - last_seen_on).days, 0) / DAYS_A_YEAR)
