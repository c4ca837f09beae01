"""Times for many visits in turn: each gets what a search for it alone finds, with all that those before it take."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from scheduling.booking.rules.opening import Span, list_open_spans, list_worked_spans
from scheduling.booking.rules.slots import (
    BayTimes,
    DueDates,
    PersonTimes,
    Preferences,
    SiteTimes,
    Slot,
    VisitWork,
    find_slots,
)
from scheduling.booking.rules.slots_in_turn import VisitInTurn, find_slots_in_turn
from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import BayKind, Skill
from tests.scheduling.test_slots import HOURS, MONDAY, ZONE, due_dates, local, stretches


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


def take(site: SiteTimes, slot: Slot) -> SiteTimes:
    stay, at_work = Span(slot.starts_at, slot.bay_free_at), Span(slot.starts_at, slot.work_ends_at)
    bays = [replace(bay, taken=(*bay.taken, stay)) if bay.key == slot.bay else bay for bay in site.bays]
    people = [
        replace(person, taken=(*person.taken, at_work)) if person.key == slot.person is not None else person
        for person in site.people
    ]
    return replace(site, bays=tuple(bays), people=tuple(people))


def search_one_by_one(
    visits: Sequence[VisitInTurn], sites: dict[int, SiteTimes], from_moment: datetime
) -> list[Slot | None]:
    left, found = dict(sites), []
    for visit in visits:
        wishes = Preferences(earliest=visit.earliest)
        slots = find_slots(visit.items, visit.work, [left[visit.site]], from_moment, visit.until, wishes, most=1)
        if slots:
            left[visit.site] = take(left[visit.site], slots[0])
        found.append(slots[0] if slots else None)
    return found


@given(sites(1), sites(2), st.lists(visits(), min_size=1, max_size=8), st.integers(1, 3), st.integers(0, 2000))
def test_each_gets_the_time_that_a_search_for_it_alone_finds(
    first: SiteTimes, second: SiteTimes, wanted: list[VisitInTurn], repeats: int, minutes: int
) -> None:
    # Visits that take alike come again, so that days fill up.
    every = wanted * repeats
    known = {1: first, 2: second}
    begin = local(MONDAY, 7) + timedelta(minutes=minutes)
    assert find_slots_in_turn(every, known, begin) == search_one_by_one(every, known, begin)


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
