"""Times for many visits in turn: each gets what a search for it alone finds, with all that those before it take."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.booking.rules.opening import list_open_spans, list_worked_spans
from scheduling.booking.rules.slots import (
    BayTimes,
    DueDates,
    PersonTimes,
    Preferences,
    SiteTimes,
    VisitWork,
    find_slots,
)
from scheduling.booking.rules.slots_in_turn import VisitInTurn, find_slots_in_turn
from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import BayKind, Skill
from tests.scheduling.test_slots import HOURS, MONDAY, ZONE, due_dates, local, stretches

pytestmark = pytest.mark.slow


@st.composite
def sites(draw: st.DrawFn, key: int) -> SiteTimes:
    """Draw a site with some bays and people, or with nobody's skills written down, where a part of each is taken."""
    spans = list_open_spans(HOURS, WorkingCalendar(), ZONE, MONDAY, MONDAY + timedelta(days=20))
    kinds = st.sampled_from([(BayKind.LIFT, None), (BayKind.LIFT, 1900), (BayKind.LIFT, 2800), (BayKind.GROUND, None)])
    bays = []
    for number in range(draw(st.integers(1, 3))):
        kind, height = draw(kinds)
        bays.append(BayTimes(10 * key + number, f"Bay {number}", kind, height, taken=draw(stretches())))
    people = []
    for number in range(draw(st.integers(0, 2))):
        skills = draw(st.sets(st.sampled_from(Skill), min_size=1))
        own = draw(st.sampled_from([HOURS, {1: HOURS[1], 3: HOURS[3]}]))
        worked = list_worked_spans(own, ZONE, spans)
        people.append(PersonTimes(10 * key + number, f"P{number}", frozenset(skills), worked, draw(stretches())))
    nobody = PersonTimes(None, "", frozenset(Skill), spans)
    return SiteTimes(key, f"Site {key}", ZONE, spans, tuple(bays), tuple(people) or (nobody,))


@st.composite
def visits(draw: st.DrawFn) -> VisitInTurn:
    work = VisitWork(
        draw(st.sampled_from(BayKind)),
        draw(st.sampled_from(Skill)),
        draw(st.sampled_from([20, 90, 240])),
        draw(st.sampled_from([0, 45, 900])),
        draw(st.booleans()),
        draw(st.sampled_from([None, 1700, 2500])),
        draw(st.sampled_from([None, 2000])),
        draw(st.one_of(st.just(()), stretches())),
    )
    until = MONDAY + timedelta(days=draw(st.integers(0, 12)))
    items = tuple(draw(st.lists(due_dates(), max_size=3)))
    return VisitInTurn(draw(st.integers(1, 2)), items, work, until, draw(st.booleans()))


@given(sites(1), sites(2), st.lists(visits(), min_size=1, max_size=8), st.integers(1, 3), st.integers(0, 2000))
def test_each_gets_what_is_free_after_those_before_it(
    first: SiteTimes, second: SiteTimes, wanted: list[VisitInTurn], repeats: int, minutes: int
) -> None:
    # Visits that take alike come again, so that days fill up.
    every = wanted * repeats
    known = {1: first, 2: second}
    begin = local(MONDAY, 7) + timedelta(minutes=minutes)
    found = find_slots_in_turn(every, known, begin)
    assert found[0] == next(
        iter(find_slots(every[0].items, every[0].work, [known[every[0].site]], begin, every[0].until,
                        Preferences(earliest=every[0].earliest), most=1)), None,
    )  # fmt: skip
    taken = [(visit, slot) for visit, slot in zip(every, found, strict=True) if slot]
    for at, (visit, slot) in enumerate(taken):
        assert slot.starts_at >= begin
        for other, before in taken[:at]:
            if visit.site != other.site:
                continue
            if slot.bay == before.bay:
                assert slot.starts_at >= before.bay_free_at or before.starts_at >= slot.bay_free_at
            if slot.person is not None and slot.person == before.person:
                assert slot.starts_at >= before.work_ends_at or before.starts_at >= slot.work_ends_at


def test_visits_alike_follow_one_another_and_the_last_finds_nothing() -> None:
    spans = list_open_spans(HOURS, WorkingCalendar(), ZONE, MONDAY, MONDAY + timedelta(days=3))
    bays = (BayTimes(1, "Lift", BayKind.LIFT),)
    site = SiteTimes(1, "Mill Lane", ZONE, spans, bays, (PersonTimes(None, "", frozenset(Skill), spans),))
    item = DueDates("reinspection", DueKind.REINSPECTION, MONDAY, MONDAY, MONDAY, MONDAY)
    visit = VisitInTurn(1, (item,), VisitWork(BayKind.LIFT, Skill.SPRAYING, 240), MONDAY + timedelta(days=1))
    found = find_slots_in_turn([visit] * 5, {1: site}, local(MONDAY, 7))
    assert [slot and slot.starts_at for slot in found] == [
        local(MONDAY, 8), local(MONDAY, 12, 30), local(date(2026, 5, 5), 8), local(date(2026, 5, 5), 12, 30), None
    ]  # fmt: skip
