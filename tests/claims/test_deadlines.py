"""Deadlines of a claim: what was done keeps the day by which it was due, whatever is asked of the customer later."""

from collections.abc import Sequence
from datetime import date

import pytest

from claims.rules.deadlines import ClaimStep, Deadline, Pause, StepStatus, count_deadlines
from scheduling.rules.calendars import WorkingCalendar
from scheduling.rules.terms import ClaimTerms

# Every day is open, so that days are easy to count by hand.
CALENDAR = WorkingCalendar(frozenset(range(1, 8)))
TERMS = ClaimTerms(acknowledge_days=5, inspect_days=10, decide_days=20)
REPORTED = date(2026, 3, 1)
STILL_OWED = Pause(date(2026, 3, 5), None, "photos")


def count(pauses: Sequence[Pause], as_of: date = date(2026, 5, 1), **done: date) -> dict[str, Deadline]:
    found = count_deadlines(
        TERMS,
        reported_on=REPORTED,
        done={ClaimStep(step): day for step, day in done.items()},
        pauses=pauses,
        calendar=CALENDAR,
        as_of=as_of,
    )
    return {str(deadline.step): deadline for deadline in found}


def test_a_question_asked_after_a_step_was_done_leaves_its_day() -> None:
    found = count([STILL_OWED], acknowledge=date(2026, 3, 4))
    acknowledged = found["acknowledge"]
    assert (acknowledged.due_on, acknowledged.status) == (date(2026, 3, 6), StepStatus.DONE_IN_TIME)
    assert acknowledged.paused_days == 0
    assert acknowledged.sentence == (
        "5 open days after the report on 2026-03-01: 2026-03-06. Done on 2026-03-04, in time."
    )
    # What is not done yet still waits.
    assert (found["decide"].due_on, found["decide"].status) == (None, StepStatus.PAUSED)


def test_a_decision_while_the_customer_owes_keeps_the_day_as_it_stood_then() -> None:
    # Open are 2 to 4 March; on the 5th the clock stopped, on the 12th it was decided: 17 days from that day on.
    for came_on in (None, date(2026, 3, 12), date(2026, 4, 20)):
        decided = count([Pause(STILL_OWED.asked_on, came_on, "photos")], decide=date(2026, 3, 12))["decide"]
        assert (decided.due_on, decided.paused_days) == (date(2026, 3, 28), 7), came_on
        assert decided.status is StepStatus.DONE_IN_TIME and "Waiting" not in decided.sentence


def test_what_came_before_the_step_was_done_moves_its_day() -> None:
    answered = Pause(date(2026, 3, 5), date(2026, 3, 10), "photos")
    later = Pause(date(2026, 3, 20), None, "an invoice")
    found = count([answered, later], acknowledge=date(2026, 3, 11), inspect=date(2026, 3, 16))
    assert (found["acknowledge"].due_on, found["acknowledge"].status) == (date(2026, 3, 11), StepStatus.DONE_IN_TIME)
    assert (found["inspect"].due_on, found["inspect"].status) == (date(2026, 3, 16), StepStatus.DONE_IN_TIME)
    assert found["decide"].status is StepStatus.PAUSED


@pytest.mark.parametrize("came_on", [None, date(2026, 3, 9)])
def test_a_question_asked_when_it_was_overdue_makes_nothing_timely(came_on: date | None) -> None:
    late = count([Pause(date(2026, 3, 7), came_on, "photos")], acknowledge=date(2026, 3, 8))["acknowledge"]
    assert (late.due_on, late.status) == (date(2026, 3, 6), StepStatus.DONE_LATE)


def test_on_a_day_before_it_was_done_the_step_still_waits() -> None:
    waiting = count([STILL_OWED], as_of=date(2026, 3, 11), decide=date(2026, 3, 12))["decide"]
    assert (waiting.due_on, waiting.status) == (None, StepStatus.PAUSED)
