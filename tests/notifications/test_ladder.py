"""The ladder of a due item: which step holds on which day, told once each, the newest never lost, restarted or not."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notifications.enums import MessageKind, Step
from notifications.reminders.rules.ladder import DAYS_JOINED, EARLY_STEPS, ORDER, find_news, find_step, list_steps
from notifications.reminders.rules.reminders import DueThing, Reminder, choose_reminder
from scheduling.covers.rules.due_item import DueKind

DAY = date(2026, 6, 10)


def make_thing(key: str = "reinspection:1", *, opens: int = 60, grace: int = 30, last_on: date = DAY) -> DueThing:
    """Return a thing whose window opens ``opens`` days before its last day."""
    days = last_on - timedelta(days=opens), last_on, last_on, last_on + timedelta(days=grace)
    return DueThing(key, DueKind(key.partition(":")[0]), (), *days)


VISIT, FILM = make_thing(), make_thing("touch_up:1")


@pytest.mark.parametrize(
    ("thing", "expected"),
    [
        (
            VISIT,
            [
                (Step.OPENS, date(2026, 4, 11)),
                (Step.MONTH_LEFT, date(2026, 5, 10)),
                (Step.WEEK_LEFT, date(2026, 6, 3)),
                (Step.LAST_DAY, DAY),
                (Step.GRACE, date(2026, 6, 11)),
                (Step.MISSED, date(2026, 7, 11)),
            ],
        ),
        # Nothing within a week of the opening, whose message named the same days.
        (
            make_thing(opens=37, grace=0),
            [(Step.OPENS, 0), (Step.WEEK_LEFT, 30), (Step.LAST_DAY, 37), (Step.MISSED, 38)],
        ),
        (make_thing(opens=14, grace=0), [(Step.OPENS, 0), (Step.WEEK_LEFT, 7), (Step.LAST_DAY, 14), (Step.MISSED, 15)]),
        (make_thing(opens=13, grace=0), [(Step.OPENS, 0), (Step.LAST_DAY, 13), (Step.MISSED, 14)]),
        # A month before 31 July is 30 June.
        (
            make_thing(opens=90, grace=0, last_on=date(2026, 7, 31)),
            [
                (Step.OPENS, 0),
                (Step.MONTH_LEFT, date(2026, 6, 30)),
                (Step.WEEK_LEFT, 83),
                (Step.LAST_DAY, 90),
                (Step.MISSED, 91),
            ],
        ),
    ],
)
def test_each_step_has_its_day(thing: DueThing, expected: list[tuple[Step, date | int]]) -> None:
    days = [(step, thing.opens_on + timedelta(days=day) if isinstance(day, int) else day) for step, day in expected]
    assert [(one.step, one.day) for one in list_steps(thing)] == days


def test_a_window_of_one_day_begins_with_its_last_day() -> None:
    thing = make_thing(opens=0, grace=0)
    found = find_step(thing, DAY)
    assert found is not None and found.step is Step.LAST_DAY
    assert find_step(thing, DAY - timedelta(days=1)) is None


def test_only_steps_that_name_days_to_come_are_taken_early() -> None:
    assert find_step(VISIT, DAY - timedelta(days=13), ahead=6) == find_step(VISIT, DAY - timedelta(days=7))
    in_window = find_step(VISIT, DAY, ahead=6)
    assert in_window is not None and in_window.step is Step.LAST_DAY
    assert set(Step) - EARLY_STEPS == {Step.GRACE, Step.MISSED, Step.LAPSED, Step.CURED}


def find_told(things: list[DueThing], day: date, told: dict[str, Step]) -> list[tuple[str, Step]]:
    reminder = choose_reminder(things, day)
    assert reminder is not None
    return [(one.due_key, one.step) for one in find_news(reminder, day, told)]


def test_the_visit_goes_through_all_steps_and_a_film_beside_it_opens_only() -> None:
    assert find_told([VISIT, FILM], DAY, {}) == [(VISIT.key, Step.LAST_DAY), (FILM.key, Step.OPENS)]
    assert find_told([VISIT, FILM], DAY, {FILM.key: Step.OPENS}) == [(VISIT.key, Step.LAST_DAY)]
    assert find_told([VISIT, FILM], DAY, {VISIT.key: Step.LAST_DAY, FILM.key: Step.OPENS}) == []
    # Once the visit is made, the film that was not renewed has steps of its own.
    assert find_told([FILM], DAY, {FILM.key: Step.OPENS}) == [(FILM.key, Step.LAST_DAY)]


def test_a_step_that_went_back_is_not_told_once_more() -> None:
    """The dates of a duty may move, say by another place of use."""
    assert find_told([VISIT], DAY - timedelta(days=7), {VISIT.key: Step.LAST_DAY}) == []


@pytest.mark.parametrize(
    ("kind", "step"), [(MessageKind.COVER_LAPSED, Step.LAPSED), (MessageKind.COVER_IN_FORCE, Step.CURED)]
)
def test_a_turn_of_the_cover_is_told_once(kind: MessageKind, step: Step) -> None:
    reminder = Reminder(kind, None, (), ("cover:2026-06-10",), since=DAY)
    (news,) = find_news(reminder, DAY, {})
    assert (news.step, news.day) == (step, DAY)
    assert find_news(reminder, DAY, {news.due_key: step}) == ()


WINDOWS = st.builds(
    make_thing,
    opens=st.integers(0, 400),
    grace=st.integers(0, 90),
    last_on=st.dates(date(2024, 1, 1), date(2028, 12, 31)),
)
# On which days after the opening a run takes place, and whether it lives to write down what it told.
RUNS = st.lists(st.tuples(st.integers(0, 520), st.booleans()), min_size=1, max_size=60)


@given(WINDOWS)
def test_steps_come_in_order_and_each_day_has_at_most_one_new(thing: DueThing) -> None:
    steps = list_steps(thing)
    assert [one.day for one in steps] == sorted(one.day for one in steps)
    assert [ORDER[one.step] for one in steps] == sorted({ORDER[one.step] for one in steps})
    assert steps[0].day == thing.opens_on and steps[-1].step is Step.MISSED


@given(WINDOWS, RUNS)
def test_no_run_tells_a_step_twice_and_the_last_run_leaves_the_newest_told(
    thing: DueThing, runs: list[tuple[int, bool]]
) -> None:
    told: dict[str, Step] = {}
    heard: list[Step] = []
    for after, lives in sorted(runs):
        day = thing.opens_on + timedelta(days=after)
        reminder = choose_reminder([thing], day)
        assert reminder is not None
        for one in find_news(reminder, day, told):
            assert one.day <= day
            if lives:
                # Written in one transaction; a run that dies before its end has told nothing.
                told[one.due_key] = one.step
                heard.append(one.step)
        newest = find_step(thing, day)
        assert newest is not None
        assert not lives or told[thing.key] == newest.step
    assert len(heard) == len(set(heard))
    assert heard == sorted(heard, key=ORDER.__getitem__)


@given(WINDOWS)
def test_a_run_each_day_tells_every_step_on_its_day(thing: DueThing) -> None:
    told: dict[str, Step] = {}
    heard = []
    for after in range((thing.grace_until - thing.opens_on).days + 2):
        day = thing.opens_on + timedelta(days=after)
        reminder = choose_reminder([thing], day)
        assert reminder is not None
        for one in find_news(reminder, day, told):
            told[one.due_key] = one.step
            heard.append((one.step, day))
    last_of_day = {one.day: one.step for one in list_steps(thing)}
    assert heard == [(step, day) for day, step in last_of_day.items()]


@given(WINDOWS, st.integers(-10, 500))
def test_a_step_is_early_by_the_days_that_are_joined_at_most(thing: DueThing, after: int) -> None:
    day = thing.opens_on + timedelta(days=after)
    early = find_step(thing, day, ahead=DAYS_JOINED)
    if early is not None:
        assert early.day <= day + timedelta(days=DAYS_JOINED)
        assert early.day <= day or early.step in EARLY_STEPS
