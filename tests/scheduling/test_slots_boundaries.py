"""How a day stands to what is due, what a slot says of it, and how a stay ends: each on both sides of its boundary."""

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduling.booking.rules.opening import BayTimes, Span, VisitWork
from scheduling.booking.rules.slots import (
    DueDates,
    Preferences,
    Stay,
    choose_day_to_be_near,
    count_day,
    end_stay,
    explain_slot,
    find_most_pressing,
    find_slots,
    judge_day,
    lay_stay,
    measure_distance,
)
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import BayKind, Skill
from tests.scheduling.test_slots import MONDAY, WORK, ZONE, due, local, make_site
from treatments.rules.explanation import Explanation, OwnWords, Param, explain

DAY = timedelta(days=1)
# Opens on Monday, its target is ten days later, its last day five after that, and its grace ends after ten more.
ITEM = DueDates("one", DueKind.REINSPECTION, MONDAY, MONDAY + 10 * DAY, MONDAY + 15 * DAY, MONDAY + 25 * DAY)
FILM = replace(ITEM, kind=DueKind.TOUCH_UP)
LAST = ITEM.last_on


def in_window(kind: str, days_left: int, target: Explanation | None) -> Explanation:
    code = "before_last_day" if days_left else "on_last_day"
    days: dict[str, Param] = {"days": days_left} if days_left else {}
    return explain(f"visit.day.in_window.{kind}", when=explain(f"visit.{code}", **days, last_on=LAST), target=target)


def from_target(days: int) -> Explanation:
    if days == 0:
        return explain("visit.target.on")
    code = "visit.target.after" if days > 0 else "visit.target.before"
    return explain(code, days=abs(days), target_on=ITEM.target_on)


def in_grace(days_left: int) -> Explanation:
    code = "before_end_of_grace" if days_left else "on_end_of_grace"
    days: dict[str, Param] = {"days": days_left} if days_left else {}
    when = explain(f"visit.{code}", **days, last_on=ITEM.grace_until)
    return explain("visit.day.in_grace.reinspection", when=when)


NOTHING_DUE = explain("visit.day.nothing_due")
TOO_EARLY = explain("visit.day.before_window.reinspection", opens_on=MONDAY)
SHORTLY_BEFORE = explain("visit.day.shortly_before.touch_up", opens_on=MONDAY)
TOO_LATE = explain("visit.day.too_late_in_grace.reinspection", grace_until=ITEM.grace_until)


@pytest.mark.parametrize(
    ("item", "days", "counted", "said"),
    [
        (ITEM, -1, (0, 1, 0), TOO_EARLY),
        (ITEM, 0, (0, 0, 0), in_window("reinspection", 15, from_target(-10))),
        (FILM, -31, (0, 1, 0), explain("visit.day.before_window.touch_up", opens_on=MONDAY)),
        (FILM, -30, (0, 0, 0), SHORTLY_BEFORE),
        (FILM, -1, (0, 0, 0), SHORTLY_BEFORE),
        (FILM, 0, (0, 0, 0), in_window("touch_up", 15, from_target(-10))),
        (ITEM, 10, (0, 0, 0), in_window("reinspection", 5, from_target(0))),
        (ITEM, 11, (0, 0, 0), in_window("reinspection", 4, from_target(1))),
        (ITEM, 9, (0, 0, 0), in_window("reinspection", 6, from_target(-1))),
        (ITEM, 8, (0, 0, 0), in_window("reinspection", 7, from_target(-2))),
        (ITEM, 14, (0, 0, 0), in_window("reinspection", 1, from_target(4))),
        (ITEM, 15, (0, 0, 0), in_window("reinspection", 0, from_target(5))),
        (ITEM, 16, (0, 0, 1), in_grace(9)),
        (ITEM, 24, (0, 0, 1), in_grace(1)),
        (ITEM, 25, (0, 0, 1), in_grace(0)),
        (ITEM, 26, (1, 0, 0), TOO_LATE),
        (replace(ITEM, grace_until=LAST), 16, (1, 0, 0), explain("visit.day.too_late.reinspection", last_on=LAST)),
    ],
)
def test_how_a_day_serves_what_is_due(
    item: DueDates, days: int, counted: tuple[int, int, int], said: Explanation
) -> None:
    judged = judge_day([item], MONDAY + days * DAY, MONDAY - 40 * DAY)
    assert (judged.run_over, judged.not_served, judged.in_grace) == counted
    assert judged.explanation == said


def test_where_the_window_ends_on_the_target_day_one_day_is_told() -> None:
    item = replace(ITEM, target_on=LAST)
    for day, when in (
        (LAST, explain("visit.on_last_and_target_day", last_on=LAST)),
        (LAST - DAY, explain("visit.before_last_and_target_day", days=1, last_on=LAST)),
    ):
        said = explain("visit.day.in_window.reinspection", when=when, target=None)
        assert judge_day([item], day, MONDAY).explanation == said


def test_what_has_run_over_before_today_is_made_good_and_counts_as_run_over_no_more() -> None:
    after = ITEM.grace_until + DAY
    makes_up = explain("visit.day.makes_up.reinspection", last_on=LAST)
    for today, counted, said in ((ITEM.grace_until, 1, TOO_LATE), (after, 0, makes_up)):
        judged = judge_day([ITEM], after, today)
        assert judged.run_over == counted and judged.explanation == said


def test_while_something_is_late_nothing_that_opens_later_is_waited_for() -> None:
    later = replace(ITEM, key="later", opens_on=MONDAY + 90 * DAY)
    for today, not_served in ((LAST, 1), (LAST + DAY, 0)):
        assert judge_day([ITEM, later], LAST + DAY, today).not_served == not_served
    assert count_day([ITEM, later], MONDAY, MONDAY, is_late=False) == (0, 1, 0)
    nothing = judge_day([], MONDAY, MONDAY)
    assert (nothing.run_over, nothing.not_served, nothing.in_grace) == (0, 0, 0)
    assert nothing.explanation == NOTHING_DUE


def test_the_day_to_be_near() -> None:
    wishes, none = Preferences(near=MONDAY + 3 * DAY), Preferences()
    assert choose_day_to_be_near([ITEM], MONDAY, wishes) == MONDAY + 3 * DAY
    assert choose_day_to_be_near([ITEM], MONDAY, none) == ITEM.target_on
    assert choose_day_to_be_near([ITEM], LAST, none) == ITEM.target_on
    assert choose_day_to_be_near([ITEM], LAST + DAY, none) is None
    assert choose_day_to_be_near([ITEM], MONDAY, Preferences(earliest=True)) is None
    assert choose_day_to_be_near([], MONDAY, none) is None
    assert [measure_distance(MONDAY + n * DAY, MONDAY) for n in (-2, 0, 2)] == [2, 0, 2]
    assert measure_distance(MONDAY, None) == MONDAY.toordinal()


def test_the_most_pressing_ends_its_grace_first_then_has_the_earlier_target_then_the_first_key() -> None:
    sooner = replace(ITEM, key="two", grace_until=ITEM.grace_until - DAY, target_on=ITEM.target_on + DAY)
    earlier = replace(ITEM, key="two", target_on=ITEM.target_on - DAY)
    assert find_most_pressing([ITEM, sooner]) is sooner
    assert find_most_pressing([ITEM, earlier]) is earlier
    assert find_most_pressing([replace(ITEM, key="two"), ITEM]) is ITEM


@pytest.mark.parametrize(
    ("hour", "part", "weekdays", "unmet"),
    [
        (11, "morning", {1}, ()),
        (12, "morning", {1}, ("part of the day",)),
        (11, "afternoon", {1}, ("part of the day",)),
        (12, "afternoon", {1}, ()),
        (11, "", set(), ()),
        (12, "", {2}, ("weekday",)),
        (12, "morning", {2}, ("weekday", "part of the day")),
    ],
)
def test_wishes_that_a_start_does_not_meet(hour: int, part: str, weekdays: set[int], unmet: tuple[str, ...]) -> None:
    wishes = Preferences(weekdays=frozenset(weekdays), part_of_day=part)
    assert wishes.list_unmet(local(MONDAY, hour).astimezone(ZONE)) == unmet


def test_days_to_avoid_are_left_out_from_the_first_through_the_last() -> None:
    wishes = Preferences(avoid=((MONDAY, MONDAY + DAY), (MONDAY + 5 * DAY, MONDAY + 5 * DAY)))
    assert [n for n in range(-1, 7) if wishes.rules_out(MONDAY + n * DAY)] == [0, 1, 5]


# One slot.


NO_WISHES = Preferences()


def first_slot(
    work: VisitWork = WORK, wishes: Preferences = NO_WISHES, **bay: object
) -> tuple[str, Explanation | None]:
    usual: dict[str, object] = {"key": 1, "name": "Lift", "kind": BayKind.LIFT}
    site = make_site((BayTimes(**(usual | bay)),))  # type: ignore[arg-type]
    slot = find_slots([], work, [site], local(MONDAY, 7), MONDAY, wishes, most=1)[0]
    return f"{slot.starts_at:%H:%M}", slot.why


LIFT = OwnWords("Lift")


@pytest.mark.parametrize(
    ("work", "bay", "said"),
    [
        (WORK, {}, None),
        (WORK, {"most_height_mm": 1700}, explain("visit.bay.high_enough", bay=LIFT)),
        (replace(WORK, height_mm=None), {}, None),
        (replace(WORK, height_mm=None), {"most_height_mm": 1700}, explain("visit.bay.height_unknown", bay=LIFT)),
        (replace(WORK, mass_kg=None), {"most_mass_kg": 2000}, explain("visit.bay.mass_unknown", bay=LIFT)),
        (replace(WORK, mass_kg=None), {}, None),
        (WORK, {"most_mass_kg": 2000}, None),
        (replace(WORK, bay_kind=BayKind.GROUND), {"most_height_mm": 2000, "kind": BayKind.GROUND}, None),
    ],
)
def test_what_is_said_of_the_bay(work: VisitWork, bay: dict[str, object], said: Explanation | None) -> None:
    assert first_slot(work, **bay)[1] == explain_slot(NOTHING_DUE, bay=said)


@pytest.mark.parametrize(
    ("wishes", "code"),
    [
        (Preferences(weekdays=frozenset({2})), "visit.wish.not_weekday"),
        (Preferences(weekdays=frozenset({1})), "visit.wish.as_asked"),
        (Preferences(part_of_day="morning"), "visit.wish.as_asked"),
        (Preferences(earliest=True), "visit.wish.earliest"),
    ],
)
def test_what_is_said_of_the_wishes(wishes: Preferences, code: str) -> None:
    assert first_slot(wishes=wishes)[1] == explain_slot(NOTHING_DUE, explain(code))


def test_of_two_wishes_that_are_not_met_the_weekday_is_told() -> None:
    wishes = Preferences(weekdays=frozenset({2}), part_of_day="morning")
    slot = find_slots([], WORK, [make_site()], local(MONDAY, 13), MONDAY, wishes, most=1)[0]
    assert slot.why == explain_slot(NOTHING_DUE, explain("visit.wish.not_weekday"))


def test_visits_begin_on_quarters_of_an_hour_from_the_moment_on() -> None:
    site = make_site()
    for minute, starts in ((0, (9, 0)), (1, (9, 15)), (15, (9, 15)), (16, (9, 30)), (59, (10, 0))):
        slot = find_slots([], WORK, [site], local(MONDAY, 9, minute), MONDAY, most=1)[0]
        assert slot.starts_at == local(MONDAY, *starts)
    odd = local(MONDAY, 9) + timedelta(seconds=1)
    assert find_slots([], WORK, [site], odd, MONDAY, most=1)[0].starts_at == local(MONDAY, 9, 15)
    odd = local(MONDAY, 9) + timedelta(microseconds=1)
    assert find_slots([], WORK, [site], odd, MONDAY, most=1)[0].starts_at == local(MONDAY, 9, 15)


def test_a_slot_in_each_half_of_a_day_and_no_day_after_the_last() -> None:
    site = make_site()
    slots = find_slots([], WORK, [site], local(MONDAY, 7), MONDAY + DAY)
    assert [slot.starts_at for slot in slots] == [
        local(MONDAY + n * DAY, hour, minute) for n in (0, 1) for hour, minute in ((8, 0), (12, 30))
    ]
    assert len(find_slots([], WORK, [site], local(MONDAY, 7), MONDAY + 4 * DAY)) == 5
    assert find_slots([], WORK, [site], local(MONDAY, 7), MONDAY - DAY) == ()
    tall = BayTimes(1, "Tall", BayKind.LIFT, 2800)
    low = BayTimes(2, "Low", BayKind.LIFT, 2700)
    assert find_slots([], WORK, [make_site((tall, low))], local(MONDAY, 7), MONDAY, most=1)[0].bay_name == "Low"
    much = replace(low, most_height_mm=2899)
    assert find_slots([], WORK, [make_site((tall, much))], local(MONDAY, 7), MONDAY, most=1)[0].bay_name == "Tall"


def test_a_bay_a_person_and_a_vehicle_are_free_to_the_minute() -> None:
    """Two hours of work from 08:00 and half an hour of standing: until 10:00 and 10:30."""

    def start(work: VisitWork = WORK, **taken: Span) -> str:
        bay = BayTimes(1, "Lift", BayKind.LIFT, taken=(taken["bay"],) if "bay" in taken else ())
        site = make_site((bay,), ((7, (taken["person"],) if "person" in taken else ()),))
        slot = find_slots([], work, [site], local(MONDAY, 8), MONDAY, most=1)[0]
        return f"{(slot.starts_at - local(MONDAY, 8)).total_seconds() / 3600:.2f}"

    at_ten = Span(local(MONDAY, 10), local(MONDAY, 11))
    earlier = Span(local(MONDAY, 9, 59), local(MONDAY, 10))
    assert start(bay=at_ten) == start(person=at_ten) == "0.00"
    assert start(bay=earlier) == start(person=earlier) == "2.00"
    stands = replace(WORK, stands_in_bay=True)
    assert start(stands, bay=at_ten) == "3.00"  # and through the break
    assert start(stands, person=at_ten) == "0.00"
    gone = Span(local(MONDAY, 10, 29), local(MONDAY, 10, 30))
    assert start(replace(WORK, vehicle_taken=(gone,))) == "2.50"
    gone = Span(local(MONDAY, 10, 30), local(MONDAY, 10, 45))
    assert start(replace(WORK, vehicle_taken=(gone,))) == "0.00"


def test_a_stay_is_laid_until_its_film_has_stood_and_the_site_is_open() -> None:
    site = make_site()
    worked = site.open_spans[MONDAY]
    stay = lay_stay(local(MONDAY, 15), WORK, site, worked)
    tuesday = local(MONDAY + DAY, 8)
    assert stay == Stay(local(MONDAY, 15), local(MONDAY, 17), local(MONDAY, 17), tuesday)
    # Nothing stands, and not in the bay, unless it is said.
    plain = VisitWork(BayKind.LIFT, Skill.SPRAYING, 60)
    nine = local(MONDAY, 9)
    assert lay_stay(local(MONDAY, 8), plain, site, worked) == Stay(local(MONDAY, 8), nine, nine, nine)
    assert VisitWork(plain.bay_kind, plain.skill, 60).standing_minutes == 0
    standing = lay_stay(local(MONDAY, 8), replace(plain, standing_minutes=60), site, worked)
    assert standing == Stay(local(MONDAY, 8), nine, nine, local(MONDAY, 10))
    stands = replace(WORK, stands_in_bay=True)
    assert lay_stay(local(MONDAY, 15), stands, site, worked) == replace(stay, bay_free_at=tuesday)
    assert lay_stay(local(MONDAY, 15, 15), WORK, site, worked) is None


def test_a_stay_that_is_over_gives_back_what_is_left_and_takes_no_more() -> None:
    site = make_site()
    planned = Stay(local(MONDAY, 8), local(MONDAY, 10), local(MONDAY, 10), local(MONDAY, 10, 30))
    early = end_stay(planned, local(MONDAY, 9), 30, site, stands_in_bay=False)
    assert early == Stay(local(MONDAY, 8), local(MONDAY, 9), local(MONDAY, 9), local(MONDAY, 9, 30))
    late = end_stay(planned, local(MONDAY, 11), 30, site, stands_in_bay=False)
    assert late == Stay(local(MONDAY, 8), local(MONDAY, 10), local(MONDAY, 10), local(MONDAY, 11))
    in_bay = replace(planned, bay_free_at=planned.ready_at)
    early = end_stay(in_bay, local(MONDAY, 9), 30, site, stands_in_bay=True)
    assert (early.bay_free_at, early.ready_at) == (local(MONDAY, 9, 30), local(MONDAY, 9, 30))
    assert end_stay(in_bay, local(MONDAY, 11), 30, site, stands_in_bay=True).bay_free_at == local(MONDAY, 10, 30)


def test_a_touch_up_may_be_served_before_its_window_and_is_then_named() -> None:
    site, monday = make_site(), MONDAY
    films = due(monday + 30 * DAY, monday + 60 * DAY, monday + 60 * DAY, DueKind.TOUCH_UP)
    looked_at = due(monday + 1 * DAY, monday + 60 * DAY, monday + 60 * DAY)
    wishes = Preferences(near=monday)
    slot = find_slots([films, looked_at], WORK, [site], local(monday, 7), monday, wishes, most=1)[0]
    assert slot.serves == (films.key,)
