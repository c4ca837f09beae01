"""By when a claim must be acknowledged, inspected and decided: open days of the site, paused while the customer owes.

The terms give the number of open days; where law sets a shorter or longer time (in the United States 16 CFR 703.5(d)
where it applies), the law decides and a person must know it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.terms.rules.terms import ClaimTerms
from treatments.rules.explanation import Explanation, OwnWords, explain

# A deadline further out is a mistake in a pause or a calendar. Our own choice.
MOST_DAYS = 5 * 366


class ClaimStep(StrEnum):
    ACKNOWLEDGE = "acknowledge"
    INSPECT = "inspect"
    DECIDE = "decide"


class StepStatus(StrEnum):
    OPEN = "open"
    PAUSED = "paused"
    OVERDUE = "overdue"
    DONE_IN_TIME = "done_in_time"
    DONE_LATE = "done_late"


@dataclass(frozen=True, slots=True)
class Pause:
    """A time in which the customer owed something; the day it was asked counts, the day it came does not."""

    asked_on: date
    came_on: date | None
    what: str

    def holds(self, day: date) -> bool:
        return self.asked_on <= day and (self.came_on is None or day < self.came_on)


@dataclass(frozen=True, slots=True)
class Deadline:
    """One step of handling a claim. ``due_on`` is None while a pause without an end keeps it from being told.

    A step that was done keeps the day by which it was due as it stood then.
    """

    step: ClaimStep
    due_on: date | None
    done_on: date | None
    status: StepStatus
    paused_days: int
    explanations: tuple[Explanation, ...]


def count_deadlines(
    terms: ClaimTerms,
    *,
    reported_on: date,
    done: dict[ClaimStep, date | None],
    pauses: Sequence[Pause],
    calendar: WorkingCalendar,
    as_of: date,
) -> tuple[Deadline, ...]:
    """Return the deadlines that the terms set, in the order of the steps.

    Args:
        terms: how many open days each step may take; None sets no deadline.
        reported_on: the day on which the shop was told; the first open day after it counts as one.
        done: the day on which each step was done.
        pauses: when the customer owed something.
        calendar: the open days of the site.
        as_of: the day for which the answer holds.
    """
    steps = (
        (ClaimStep.ACKNOWLEDGE, terms.acknowledge_days),
        (ClaimStep.INSPECT, terms.inspect_days),
        (ClaimStep.DECIDE, terms.decide_days),
    )
    allowed = {step: days for step, days in steps if days is not None}
    if not allowed:
        return ()
    known = [pause for pause in pauses if pause.asked_on <= as_of]
    walk = _walk_open_days(max(allowed.values()), reported_on, known, calendar, as_of)
    found = []
    for step, days in allowed.items():
        done_on = done.get(step)
        if done_on is not None and done_on > as_of:
            done_on = None
        pauses_then, walk_then = known, walk
        if done_on is not None and (pauses_then := _end_pauses(known, done_on)) != known:
            walk_then = _walk_open_days(days, reported_on, pauses_then, calendar, as_of)
        found.append(_count(step, days, reported_on, done_on, pauses_then, walk_then, as_of))
    return tuple(found)


def _end_pauses(pauses: Sequence[Pause], day: date) -> list[Pause]:
    """Return the pauses as they count for a step done on a day: none goes on after it, a later one is empty."""
    return [replace(pause, came_on=min(pause.came_on or day, day)) for pause in pauses]


@dataclass(frozen=True, slots=True)
class _OpenDays:
    """The open days that count after a report, each with how many paused days came before it, and these in all."""

    days: list[tuple[date, int]]
    paused_days: int


def _walk_open_days(
    most: int, reported_on: date, pauses: Sequence[Pause], calendar: WorkingCalendar, as_of: date
) -> _OpenDays:
    """Return the first ``most`` open days, or those up to a pause of which nobody knows the end."""
    day, paused_days = reported_on, 0
    found: list[tuple[date, int]] = []
    while len(found) < most:
        day += timedelta(days=1)
        if (day - reported_on).days > MOST_DAYS:
            break
        pause = next((pause for pause in pauses if pause.holds(day)), None) if pauses else None
        if pause is not None:
            if pause.came_on is None and day > as_of:
                break  # nobody knows when it will come
            paused_days += 1
        elif calendar.is_open(day):
            found.append((day, paused_days))
    return _OpenDays(found, paused_days)


def _count(
    step: ClaimStep,
    days: int,
    reported_on: date,
    done_on: date | None,
    pauses: Sequence[Pause],
    walk: _OpenDays,
    as_of: date,
) -> Deadline:
    due_on: date | None = None
    counted, paused_days = len(walk.days), walk.paused_days
    if days == 0:
        due_on, paused_days = reported_on, 0
    elif days <= counted:
        due_on, paused_days = walk.days[days - 1]
    paused = explain("deadline.paused", days=paused_days) if paused_days else None
    if due_on is None:
        left = explain("deadline.left", days=days - counted)
        why = explain("deadline.not_told", days=days, reported_on=reported_on, paused=paused, left=left)
        open_pause = next((pause for pause in pauses if pause.came_on is None), None)
        waits = explain("deadline.waits")
        if open_pause:
            waits = explain("deadline.waits_for", asked_on=open_pause.asked_on, what=OwnWords(open_pause.what))
        if done_on is not None:
            done = explain("deadline.done", done_on=done_on)
            return Deadline(step, None, done_on, StepStatus.DONE_IN_TIME, paused_days, (why, waits, done))
        return Deadline(step, None, None, StepStatus.PAUSED, paused_days, (why, waits))
    why = explain("deadline.due", days=days, reported_on=reported_on, paused=paused, due_on=due_on)
    if done_on is not None:
        status = StepStatus.DONE_IN_TIME if done_on <= due_on else StepStatus.DONE_LATE
        done = explain(f"deadline.{status}", done_on=done_on)
        return Deadline(step, due_on, done_on, status, paused_days, (why, done))
    status = StepStatus.OPEN if as_of <= due_on else StepStatus.OVERDUE
    return Deadline(step, due_on, None, status, paused_days, (why,))
