"""Deadlines of a claim: what was done keeps the day by which it was due, whatever is asked of the customer later."""

from collections.abc import Sequence
from datetime import date, timedelta

import pytest

from claims.rules.deadlines import ClaimStep, Deadline, Pause, StepStatus, count_deadlines
from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.terms.rules.terms import ClaimTerms
from tests.explained import list_codes, read_params
from treatments.rules.explanation import OwnWords, explain

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
    assert acknowledged.explanations == (
        explain("deadline.due", days=5, reported_on=REPORTED, paused=None, due_on=date(2026, 3, 6)),
        explain("deadline.done_in_time", done_on=date(2026, 3, 4)),
    )
    # What is not done yet still waits.
    assert (found["decide"].due_on, found["decide"].status) == (None, StepStatus.PAUSED)


def test_a_decision_while_the_customer_owes_keeps_the_day_as_it_stood_then() -> None:
    # Open are 2 to 4 March; on the 5th the clock stopped, on the 12th it was decided: 17 days from that day on.
    for came_on in (None, date(2026, 3, 12), date(2026, 4, 20)):
        decided = count([Pause(STILL_OWED.asked_on, came_on, "photos")], decide=date(2026, 3, 12))["decide"]
        assert (decided.due_on, decided.paused_days) == (date(2026, 3, 28), 7), came_on
        assert decided.status is StepStatus.DONE_IN_TIME
        assert list_codes(decided.explanations) == ["deadline.due", "deadline.done_in_time"]


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


# Each boundary on both sides. Reported on Sunday 1 March 2026; the site is open on weekdays but not on Monday the 9th.

WORKDAYS = WorkingCalendar(frozenset({1, 2, 3, 4, 5}), closed_days=frozenset({date(2026, 3, 9)}))


CLOSED_FOR_YEARS = WorkingCalendar(closed_days=frozenset(REPORTED + timedelta(days=n) for n in range(2_500)))


def count_open(
    days: int | None,
    as_of: date,
    *pauses: Pause,
    done_on: date | None = None,
    calendar: WorkingCalendar = WORKDAYS,
    reported_on: date = REPORTED,
) -> Deadline:
    """Return the deadline to decide within some open days."""
    (found,) = count_deadlines(
        ClaimTerms(acknowledge_days=None, inspect_days=None, decide_days=days),
        reported_on=reported_on,
        done={ClaimStep.DECIDE: done_on},
        pauses=pauses,
        calendar=calendar,
        as_of=as_of,
    )
    return found


@pytest.mark.parametrize(
    ("days", "due_on"),
    [
        (0, REPORTED),
        (1, date(2026, 3, 2)),
        (2, date(2026, 3, 3)),
        (5, date(2026, 3, 6)),
        (6, date(2026, 3, 10)),
        (7, date(2026, 3, 11)),
    ],
)
def test_the_first_open_day_after_the_report_is_day_one(days: int, due_on: date) -> None:
    for as_of, status in ((due_on, StepStatus.OPEN), (due_on + timedelta(days=1), StepStatus.OVERDUE)):
        found = count_open(days, as_of)
        assert (found.due_on, found.status, found.paused_days) == (due_on, status, 0)
    for done_on, status in ((due_on, StepStatus.DONE_IN_TIME), (due_on + timedelta(days=1), StepStatus.DONE_LATE)):
        found = count_open(days, date(2026, 5, 1), done_on=done_on)
        assert (found.due_on, found.done_on, found.status) == (due_on, done_on, status)


def test_a_report_on_an_open_day_counts_from_the_next() -> None:
    assert count_open(1, date(2026, 3, 1), reported_on=date(2026, 3, 6)).due_on == date(2026, 3, 10)


def test_steps_without_days_have_no_deadline() -> None:
    nothing = ClaimTerms(acknowledge_days=None, inspect_days=None, decide_days=None)
    assert count_deadlines(nothing, reported_on=REPORTED, done={}, pauses=[], calendar=WORKDAYS, as_of=REPORTED) == ()
    assert [deadline.step for deadline in count_deadlines(
        TERMS, reported_on=REPORTED, done={}, pauses=[], calendar=WORKDAYS, as_of=REPORTED
    )] == [ClaimStep.ACKNOWLEDGE, ClaimStep.INSPECT, ClaimStep.DECIDE]  # fmt: skip


@pytest.mark.parametrize(
    ("asked_on", "came_on", "due_on", "paused_days"),
    [
        # The day of asking is not counted, the day on which it came is.
        (date(2026, 3, 3), date(2026, 3, 4), date(2026, 3, 4), 1),
        (date(2026, 3, 3), date(2026, 3, 5), date(2026, 3, 5), 2),
        (date(2026, 3, 3), date(2026, 3, 3), date(2026, 3, 3), 0),
        # Asked on the day of the report or before, only days after the report are counted as paused.
        (date(2026, 3, 1), date(2026, 3, 3), date(2026, 3, 4), 1),
        # On the last day there is nothing left to wait for, after it even less.
        (date(2026, 3, 4), date(2026, 3, 6), date(2026, 3, 3), 0),
    ],
)
def test_days_on_which_the_customer_owes_something_are_not_counted(
    asked_on: date, came_on: date, due_on: date, paused_days: int
) -> None:
    """Two open days from 1 March: without a pause that is Tuesday the 3rd."""
    found = count_open(2, date(2026, 5, 1), Pause(asked_on, came_on, "photos"))
    assert (found.due_on, found.paused_days) == (due_on, paused_days)
    paused = explain("deadline.paused", days=paused_days) if paused_days else None
    assert read_params(found.explanations, "deadline.due")["paused"] == paused


def test_closed_days_of_a_pause_are_paused_days_too() -> None:
    found = count_open(2, date(2026, 5, 1), Pause(date(2026, 3, 3), date(2026, 3, 10), "photos"))
    assert (found.due_on, found.paused_days) == (date(2026, 3, 10), 7)


@pytest.mark.parametrize(("as_of", "left"), [(date(2026, 3, 3), 4), (date(2026, 3, 6), 4), (date(2026, 4, 20), 4)])
def test_while_the_customer_still_owes_nothing_runs(as_of: date, left: int) -> None:
    found = count_open(5, as_of, Pause(date(2026, 3, 3), None, "photos"))
    assert (found.due_on, found.status) == (None, StepStatus.PAUSED)
    told, waits = found.explanations
    assert (told.code, told.params["left"]) == ("deadline.not_told", explain("deadline.left", days=left))
    assert waits == explain("deadline.waits_for", asked_on=date(2026, 3, 3), what=OwnWords("photos"))
    assert found.paused_days == (as_of - date(2026, 3, 2)).days


def test_what_is_asked_later_than_the_day_of_the_answer_is_not_known_on_it() -> None:
    pause = Pause(date(2026, 3, 3), None, "photos")
    assert count_open(5, date(2026, 3, 2), pause).due_on == date(2026, 3, 6)
    assert count_open(5, date(2026, 3, 3), pause).due_on is None


@pytest.mark.parametrize(
    ("as_of", "status"), [(date(2026, 3, 4), StepStatus.OPEN), (date(2026, 3, 5), StepStatus.DONE_IN_TIME)]
)
def test_what_is_done_later_than_the_day_of_the_answer_is_not_done_on_it(as_of: date, status: StepStatus) -> None:
    assert count_open(5, as_of, done_on=date(2026, 3, 5)).status is status


@pytest.mark.parametrize(
    ("done_on", "due_on", "status"),
    [
        (date(2026, 3, 3), date(2026, 3, 3), StepStatus.DONE_IN_TIME),
        (date(2026, 3, 4), date(2026, 3, 4), StepStatus.DONE_IN_TIME),
        (date(2026, 3, 12), date(2026, 3, 12), StepStatus.DONE_IN_TIME),
    ],
)
def test_a_step_done_while_the_customer_owes_ends_the_pause_for_itself(
    done_on: date, due_on: date, status: StepStatus
) -> None:
    """Two open days: 2 March was one, and on the 3rd the clock stopped; the day on which it was done is the other."""
    found = count_open(2, date(2026, 5, 1), Pause(date(2026, 3, 3), None, "photos"), done_on=done_on)
    assert (found.due_on, found.status) == (due_on, status)


def test_two_pauses_over_one_another_count_a_day_once() -> None:
    first, second = (
        Pause(date(2026, 3, 3), date(2026, 3, 5), "photos"),
        Pause(date(2026, 3, 4), date(2026, 3, 6), "bill"),
    )
    found = count_open(2, date(2026, 5, 1), first, second)
    assert (found.due_on, found.paused_days) == (date(2026, 3, 6), 3)


def test_a_deadline_that_never_comes_waits_without_a_day() -> None:
    """A site that never opens, or a pause of many years: nothing is counted further than five years."""
    found = count_open(1, REPORTED, calendar=CLOSED_FOR_YEARS)
    assert (found.due_on, found.status) == (None, StepStatus.PAUSED)
    told, waits = found.explanations
    assert (told.params["left"], waits) == (explain("deadline.left", days=1), explain("deadline.waits"))
    for days, is_told in ((5 * 366, True), (5 * 366 + 1, False)):
        answered = Pause(REPORTED, REPORTED + timedelta(days=days), "photos")
        found = count_open(1, REPORTED, answered, calendar=CALENDAR)
        assert (found.due_on is not None) is is_told


def test_a_step_done_where_its_day_cannot_be_told_is_in_time() -> None:
    found = count_open(1, date(2026, 5, 1), done_on=date(2026, 3, 4), calendar=CLOSED_FOR_YEARS)
    assert (found.due_on, found.status, found.done_on) == (None, StepStatus.DONE_IN_TIME, date(2026, 3, 4))
    assert found.explanations[-1] == explain("deadline.done", done_on=date(2026, 3, 4))
