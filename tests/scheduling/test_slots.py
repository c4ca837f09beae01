"""Times that are proposed for a visit: free, long enough, in the right order, and with a reason that is true."""

import zoneinfo
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.booking.rules.opening import (
    NeededTraining,
    Span,
    find_open_moment_from,
    finish_work,
    intersect,
    list_open_spans,
    list_worked_spans,
    subtract,
)
from scheduling.booking.rules.slots import (
    BayTimes,
    DueDates,
    PersonTimes,
    Preferences,
    SiteTimes,
    VisitWork,
    explain_slot,
    find_slots,
    judge_day,
)
from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import BayKind, Skill
from treatments.enums import Training
from treatments.rules.explanation import Explanation, OwnWords, Param, explain

pytestmark = pytest.mark.slow

ZONE = zoneinfo.ZoneInfo("America/New_York")
MONDAY = date(2026, 5, 4)
HOURS = {day: ((time(8), time(12)), (time(12, 30), time(17))) for day in range(1, 6)}
WORK = VisitWork(BayKind.LIFT, Skill.SPRAYING, 120, 30, height_mm=1700, mass_kg=2000)
BOTH = frozenset(Skill)


def local(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute), ZONE).astimezone(UTC)


def make_site(
    bays: tuple[BayTimes, ...] = (BayTimes(1, "Lift", BayKind.LIFT),),
    people: tuple[tuple[int, tuple[Span, ...]], ...] = ((7, ()),),
    first: date = MONDAY,
    days: int = 28,
) -> SiteTimes:
    spans = list_open_spans(HOURS, WorkingCalendar(), ZONE, first, first + timedelta(days=days))
    workers = tuple(PersonTimes(key, f"P{key}", BOTH, spans, taken) for key, taken in people)
    return SiteTimes(1, "Mill Lane", ZONE, spans, bays, workers)


def due(opens: date, last: date, grace: date, kind: DueKind = DueKind.REINSPECTION) -> DueDates:
    return DueDates(f"{kind}:{opens}", kind, opens, opens, last, grace)


def test_hours_follow_the_clock_of_the_place_through_both_changes_of_it() -> None:
    # Daylight saving time in New York began on 2026-03-08 and ends on 2026-11-01 (15 U.S.C. 260a), both Sundays.
    week = WorkingCalendar(open_weekdays=frozenset(range(1, 8)))
    every_day = {day: ((time(8), time(17)),) for day in range(1, 8)}
    spring = list_open_spans(every_day, week, ZONE, date(2026, 3, 7), date(2026, 3, 8))
    autumn = list_open_spans(every_day, week, ZONE, date(2026, 10, 31), date(2026, 11, 1))
    assert [span.start.hour for spans in spring.values() for span in spans] == [13, 12]
    assert [span.start.hour for spans in autumn.values() for span in spans] == [12, 13]
    night = {7: ((time(0), time(6)),)}
    (span,) = list_open_spans(night, week, ZONE, date(2026, 3, 8), date(2026, 3, 8))[date(2026, 3, 8)]
    assert span.end - span.start == timedelta(hours=5)  # one hour of that night does not exist


def test_work_waits_through_a_break_and_is_done_on_its_day_or_not_begun() -> None:
    site = make_site()
    worked = site.open_spans[MONDAY]
    assert finish_work(local(MONDAY, 11), 120, worked) == local(MONDAY, 13, 30)
    assert finish_work(local(MONDAY, 11), 60, worked) == local(MONDAY, 12)
    assert finish_work(local(MONDAY, 15), 120, worked) == local(MONDAY, 17)
    assert finish_work(local(MONDAY, 15, 15), 120, worked) is None
    late = local(MONDAY, 17, 20)
    assert find_open_moment_from(late, site.open_spans) == local(MONDAY + timedelta(days=1), 8)
    friday = MONDAY + timedelta(days=4)
    assert find_open_moment_from(local(friday, 18), site.open_spans) == local(friday + timedelta(days=3), 8)


def test_a_person_works_no_longer_than_the_site_is_open() -> None:
    spans = make_site().open_spans
    worked = list_worked_spans({1: ((time(10), time(20)),)}, ZONE, spans)
    assert worked[MONDAY] == (
        Span(local(MONDAY, 10), local(MONDAY, 12)),
        Span(local(MONDAY, 12, 30), local(MONDAY, 17)),
    )
    assert MONDAY + timedelta(days=1) not in worked
    assert list_worked_spans({}, ZONE, spans) == spans


def test_the_order_of_proposals_saves_the_cover_first_then_asks_for_wishes() -> None:
    site = make_site()
    in_two_weeks = MONDAY + timedelta(days=14)
    item = due(MONDAY, in_two_weeks, in_two_weeks + timedelta(days=30))
    first, second, *_ = find_slots([item], WORK, [site], local(MONDAY, 7), MONDAY + timedelta(days=27))
    assert (first.starts_at, second.starts_at) == (local(MONDAY, 8), local(MONDAY, 12, 30))
    when = explain("visit.before_last_day", days=14, last_on=in_two_weeks)
    day = explain("visit.day.in_window.reinspection", when=when, target=explain("visit.target.on"))
    assert first.why == explain_slot(day)
    assert first.ready_at == local(MONDAY, 10, 30) and first.bay_free_at == local(MONDAY, 10)
    assert first.serves == (item.key,)
    thursdays = Preferences(weekdays=frozenset({4}), part_of_day="afternoon")
    best = find_slots([item], WORK, [site], local(MONDAY, 7), MONDAY + timedelta(days=27), thursdays)[0]
    assert best.starts_at == local(MONDAY + timedelta(days=3), 12, 30)
    assert best.why is not None and best.why.params["wishes"] == explain("visit.wish.as_asked")
    # Where the only Thursday in question is the day after the last that counts, the cover comes before the wish.
    short = due(MONDAY, MONDAY + timedelta(days=1), MONDAY + timedelta(days=2))
    best = find_slots([short], WORK, [site], local(MONDAY, 7), MONDAY + timedelta(days=27), thursdays)[0]
    assert best.day == MONDAY
    assert best.why is not None and best.why.params["wishes"] == explain("visit.wish.not_weekday")


def test_times_lie_near_the_target_day_unless_the_customer_asks_for_the_earliest() -> None:
    site, until = make_site(), MONDAY + timedelta(days=40)
    friday = MONDAY + timedelta(days=18)
    item = replace(due(MONDAY, MONDAY + timedelta(days=35), MONDAY + timedelta(days=50)), target_on=friday)

    def find(*items: DueDates, wishes: Preferences = Preferences(), most: int = 5) -> list[date]:  # noqa: B008
        return [s.day for s in find_slots(items, WORK, [site], local(MONDAY, 7), until, wishes, most=most)]

    # Both halves of the target day, then of the day before it, since the days after it are a weekend.
    thursday = friday - timedelta(days=1)
    assert find(item) == [friday, friday, thursday, thursday, thursday - timedelta(days=1)]
    assert find(item, wishes=Preferences(earliest=True), most=1) == [MONDAY]
    assert find(item, wishes=Preferences(near=MONDAY + timedelta(days=9)), most=1) == [MONDAY + timedelta(days=9)]
    # The target day comes behind what saves the cover: here another thing whose window ends first.
    ends_first = due(MONDAY, MONDAY + timedelta(days=2), MONDAY + timedelta(days=4), DueKind.TOUCH_UP)
    assert find(item, ends_first, most=1) == [MONDAY]
    # What is late already is made good as early as can be, and where nothing is due nothing is waited for.
    late = replace(item, last_on=MONDAY - timedelta(days=3), opens_on=MONDAY - timedelta(days=30))
    assert find(late, most=1) == find(most=1) == [MONDAY]


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (-3, explain("visit.target.before", days=3, target_on=date(2026, 5, 22))),
        (-1, explain("visit.target.before", days=1, target_on=date(2026, 5, 22))),
        (0, explain("visit.target.on")),
        (3, explain("visit.target.after", days=3, target_on=date(2026, 5, 22))),
    ],
)
def test_a_proposal_says_how_far_it_lies_from_the_target_day(days: int, said: Explanation) -> None:
    target = MONDAY + timedelta(days=18)
    item = replace(due(MONDAY, MONDAY + timedelta(days=35), MONDAY + timedelta(days=50)), target_on=target)
    assert judge_day([item], target + timedelta(days=days), MONDAY).explanation.params["target"] == said


def test_what_is_overdue_is_not_kept_waiting_for_what_opens_later() -> None:
    site = make_site()
    until = MONDAY + timedelta(days=27)
    opens = MONDAY + timedelta(days=20)
    later = due(opens, opens + timedelta(days=20), opens + timedelta(days=30))
    alone = find_slots([later], WORK, [site], local(MONDAY, 7), until)[0]
    assert alone.day == opens + timedelta(days=1)  # the day itself is a Sunday
    overdue = due(date(2025, 5, 1), date(2025, 6, 1), date(2025, 7, 1), DueKind.TOUCH_UP)
    both = find_slots([later, overdue], WORK, [site], local(MONDAY, 7), until)[0]
    assert both.day == MONDAY and both.serves == (overdue.key,)
    assert both.why == explain_slot(explain("visit.day.makes_up.touch_up", last_on=date(2025, 6, 1)))


def test_a_vehicle_goes_only_where_it_fits_and_unknown_sizes_are_said() -> None:
    low = BayTimes(1, "Low lift", BayKind.LIFT, most_height_mm=1900, most_mass_kg=2500)
    tall = BayTimes(2, "Tall lift", BayKind.LIFT, most_height_mm=2800, most_mass_kg=4000)
    floor = BayTimes(3, "Floor", BayKind.GROUND)
    site = make_site((floor, low, tall), people=((7, ()), (8, ())))

    def best(work: VisitWork) -> tuple[str, Param]:
        slot = find_slots([], work, [site], local(MONDAY, 7), MONDAY + timedelta(days=3))[0]
        assert slot.why is not None
        return slot.bay_name, slot.why.params["bay"]

    assert best(WORK)[0] == "Low lift"  # the tall one is left to those that need it
    assert best(replace(WORK, height_mm=2600))[0] == "Tall lift"
    assert best(replace(WORK, mass_kg=3000))[0] == "Tall lift"
    assert best(replace(WORK, bay_kind=BayKind.GROUND))[0] == "Floor"
    unknown = explain("visit.bay.height_unknown", bay=OwnWords("Low lift"))
    assert best(replace(WORK, height_mm=None)) == ("Low lift", unknown)
    too_high = replace(WORK, height_mm=3000)
    assert find_slots([], too_high, [site], local(MONDAY, 7), MONDAY + timedelta(days=3)) == ()
    unskilled = replace(site, people=(replace(site.people[0], skills=frozenset({Skill.INSPECTING})),))
    assert find_slots([], WORK, [unskilled], local(MONDAY, 7), MONDAY + timedelta(days=3)) == ()


def test_days_on_which_the_customer_cannot_come_are_left_out() -> None:
    site = make_site()
    away = Preferences(avoid=((MONDAY, MONDAY + timedelta(days=2)),))
    slots = find_slots([], WORK, [site], local(MONDAY, 7), MONDAY + timedelta(days=10), away)
    assert min(slot.day for slot in slots) == MONDAY + timedelta(days=3)
    near = Preferences(near=MONDAY + timedelta(days=8))
    assert find_slots([], WORK, [site], local(MONDAY, 7), MONDAY + timedelta(days=10), near)[0].day == near.near


quarters = st.integers(0, 9 * 4 * 3)


@st.composite
def stretches(draw: st.DrawFn) -> tuple[Span, ...]:
    """Some stretches that are taken within the first three days, in quarters of an hour."""
    found = []
    for _ in range(draw(st.integers(0, 6))):
        day, quarter = divmod(draw(quarters), 36)
        start = local(MONDAY + timedelta(days=day), 8) + timedelta(minutes=15 * quarter)
        found.append(Span(start, start + timedelta(minutes=draw(st.integers(1, 300)))))
    return tuple(found)


@given(stretches(), stretches(), stretches(), st.integers(15, 480), st.integers(0, 90), st.booleans())
def test_every_proposal_is_free_and_the_first_is_the_earliest_there_is(
    bay_taken: tuple[Span, ...],
    person_taken: tuple[Span, ...],
    vehicle_taken: tuple[Span, ...],
    minutes: int,
    standing: int,
    stands_in_bay: bool,
) -> None:
    site = make_site((BayTimes(1, "Lift", BayKind.LIFT, taken=bay_taken),), ((7, person_taken),))
    work = VisitWork(BayKind.LIFT, Skill.SPRAYING, minutes, standing, stands_in_bay, vehicle_taken=vehicle_taken)
    until = MONDAY + timedelta(days=3)
    slots = find_slots([], work, [site], local(MONDAY, 8), until, most=50)

    def is_free(start: datetime, work_end: datetime, bay_end: datetime, ready: datetime) -> bool:
        return (
            not any(span.start < bay_end and start < span.end for span in bay_taken)
            and not any(span.start < work_end and start < span.end for span in person_taken)
            and not any(span.start < ready and start < span.end for span in vehicle_taken)
        )

    for slot in slots:
        assert is_free(slot.starts_at, slot.work_ends_at, slot.bay_free_at, slot.ready_at)
        opened = site.open_spans[slot.day]
        assert any(span.start <= slot.starts_at < span.end for span in opened)
        assert any(span.start < slot.work_ends_at <= span.end for span in opened)
        at_work = sum((min(s.end, slot.work_ends_at) - max(s.start, slot.starts_at)).total_seconds() / 60
                      for s in opened if s.start < slot.work_ends_at and slot.starts_at < s.end)  # fmt: skip
        assert at_work == minutes
        assert slot.ready_at >= slot.work_ends_at + timedelta(minutes=standing)
    # The earliest quarter of an hour at which it fits, looked for the slow way.
    earliest = None
    for step in range(4 * 24 * 4):
        start = local(MONDAY, 0) + timedelta(minutes=15 * step)
        day = start.astimezone(ZONE).date()
        spans = site.open_spans.get(day, ())
        if day > until or not any(span.start <= start < span.end for span in spans):
            continue
        left, end = minutes, None
        for minute in range(24 * 60):
            at = start + timedelta(minutes=minute)
            if any(span.start <= at < span.end for span in spans):
                left -= 1
                if left == 0:
                    end = at + timedelta(minutes=1)
                    break
        if end is None or end.astimezone(ZONE).date() != day:
            continue
        ready = end + timedelta(minutes=standing)
        while not any(s.start <= ready <= s.end for spans in site.open_spans.values() for s in spans):
            ready += timedelta(minutes=1)
        if is_free(start, end, ready if stands_in_bay else end, ready):
            earliest = start
            break
    assert (slots[0].starts_at if slots else None) == earliest


@st.composite
def due_dates(draw: st.DrawFn) -> DueDates:
    opens = MONDAY + timedelta(days=draw(st.integers(-20, 60)))
    last = opens + timedelta(days=draw(st.integers(0, 20)))
    grace = last + timedelta(days=draw(st.integers(0, 10)))
    target = opens + timedelta(days=draw(st.integers(0, (last - opens).days)))
    return replace(due(opens, last, grace, draw(st.sampled_from(DueKind))), target_on=target)


@given(st.lists(due_dates(), max_size=4), stretches(), st.booleans())
def test_looking_at_the_most_promising_days_first_misses_no_better_one(
    items: list[DueDates], taken: tuple[Span, ...], is_away: bool
) -> None:
    site = make_site(people=((7, taken),))
    wishes = Preferences(avoid=((MONDAY, MONDAY + timedelta(days=2)),) if is_away else ())
    until = MONDAY + timedelta(days=25)
    every = find_slots(items, WORK, [site], local(MONDAY, 7), until, wishes, most=1000)
    assert len(every) > 20 and list(every) == sorted(every, key=lambda slot: (slot.rank, slot.starts_at))
    for most in (1, 3):
        assert find_slots(items, WORK, [site], local(MONDAY, 7), until, wishes, most=most) == every[:most]
    late = any(item.last_on < MONDAY for item in items)
    for slot in every:
        early = {item.key: timedelta(days=30 if item.kind is DueKind.TOUCH_UP else 0) for item in items}
        assert slot.rank[:3] == (
            sum(MONDAY <= item.grace_until < slot.day for item in items),
            0 if late else sum(slot.day < item.opens_on - early[item.key] for item in items),
            sum(item.last_on < slot.day <= item.grace_until for item in items),
        )


@given(stretches(), stretches())
def test_cutting_and_joining_stretches_agrees_with_looking_at_every_minute(
    some: tuple[Span, ...], others: tuple[Span, ...]
) -> None:
    def minutes(spans: tuple[Span, ...]) -> set[datetime]:
        return {
            span.start + timedelta(minutes=step)
            for span in spans
            for step in range(int((span.end - span.start).total_seconds() // 60))
        }

    assert minutes(subtract(some, others)) == minutes(some) - minutes(others)
    assert minutes(intersect(some, others)) == minutes(some) & minutes(others)


@pytest.mark.parametrize("hours", [{}, {1: ()}])
def test_without_hours_on_record_a_site_works_a_usual_day(hours: dict[int, tuple[tuple[time, time], ...]]) -> None:
    spans = list_open_spans(hours, WorkingCalendar(), ZONE, MONDAY, MONDAY)
    assert spans == ({} if hours else {MONDAY: (Span(local(MONDAY, 8), local(MONDAY, 17)),)})


@pytest.mark.parametrize(("last_good", "found"), [(MONDAY, [7]), (MONDAY - timedelta(days=1), []), (None, [])])
def test_only_who_is_certified_on_the_day_is_proposed(last_good: date | None, found: list[int]) -> None:
    site = make_site(people=((6, ()), (7, ())))
    good_until = ((7, last_good),) if last_good else ()
    work = replace(WORK, training=NeededTraining((Training.HIGH_VOLTAGE,), good_until))
    slots = find_slots((), work, [site], local(MONDAY, 7), MONDAY)
    assert sorted({slot.person for slot in slots}) == found
    # A shop that books its bays alone has written nobody's certificates down.
    nobody = replace(site, people=(replace(site.people[0], key=None),))
    assert find_slots((), work, [nobody], local(MONDAY, 7), MONDAY)
