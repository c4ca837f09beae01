"""Random terms and pasts for the oracle, crowded around the days on which an answer changes.

The oracle itself tells where those days are; a case is drawn in the oracle's words and translated by oracle_translate.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from tests.scheduling.oracle import Answer, tell
from tests.scheduling.oracle_duties import CATEGORIES, ONE_DAY, after_months
from tests.scheduling.oracle_inputs import (
    Case,
    Deal,
    Fact,
    Look,
    LookedAt,
    Odometer,
    Owner,
    Place,
    Promise,
    Reinspection,
    Season,
    Severe,
    Site,
    Stay,
    TouchUp,
    Work,
    ZoneWork,
)

ZONES = {
    "rocker_left": "enclosed_cavity",
    "rocker_right": "enclosed_cavity",
    "underside_middle": "exposed_underside",
    "seam_rear": "seam",
}
FAMILIES = ("cavity_wax", "underbody_wax")
STARTS = tuple(
    date.fromisoformat(day)
    for day in (
        "2024-02-29", "2020-02-29", "2023-02-28", "2024-02-28", "2023-01-31", "2024-01-31", "2022-12-31", "2023-08-31",
        "2023-03-31", "2023-01-01", "2024-03-01", "2023-05-30",
    )
)  # fmt: skip
MOMENT = datetime(2026, 1, 1, 12, tzinfo=UTC)
WRITTEN = (None, None, None, None, None, None, MOMENT, MOMENT + timedelta(microseconds=1))
YEARS_WALKED = 3
Moments = Callable[[], datetime | None]


def some(*values: Any) -> st.SearchStrategy[Any]:
    """Repeat a value to draw it more often; put the plainest first, to which a failing case shrinks."""
    return st.sampled_from(values)


@st.composite
def reinspections(draw: st.DrawFn) -> Reinspection | None:
    """The window is cut to the room that the shortest month of the interval leaves, so that terms are accepted."""
    interval = draw(some(12, 6, 24, 3, 1, 18, 2))
    first = draw(some(interval, 12, 24, 1, 6))
    room = min(first, interval) * 28 - 14
    before = min(draw(some(60, 0, 1, 14, 45, 90, 200)), room)
    after = min(draw(some(0, 0, 1, 5, 30)), room - before)
    grace = min(draw(some(30, 0, 1, 5, 15, 60)), room - before - after)
    means = draw(some("suspends", "suspends", "nothing", "lapses", "reduces"))
    percent = draw(some(Decimal(50), Decimal(0), Decimal("33.3"))) if means == "reduces" else None
    anchor = draw(some("anniversary", "last_visit"))
    return Reinspection(first, interval, anchor, before, after, grace, means, percent)


@st.composite
def seasons(draw: st.DrawFn) -> Season:
    first = draw(some((9, 1), (3, 15), (12, 1), (2, 28), (1, 1), (12, 31), (5, 31)))
    last = draw(some((11, 30), (5, 31), (2, 28), first, (1, 31), (12, 31), (8, 30)))
    return Season(first, last)


def fit_window(duty: Reinspection, interval: int) -> Reinspection:
    """Cut the window and the grace to the room that a shorter interval leaves."""
    room = min(duty.first_after_months, interval) * 28 - 14
    before = min(duty.window_before_days, room)
    after = min(duty.window_after_days, room - before)
    return replace(
        duty,
        window_before_days=before,
        window_after_days=after,
        grace_days=min(duty.grace_days, room - before - after),
    )


@st.composite
def promises(draw: st.DrawFn) -> Promise:
    """Terms that do not contradict themselves: no touch-up's window opens before the coat, for one."""
    duty = draw(reinspections()) if draw(some(True, True, True, True, True, False)) else None
    exposed, shorter = draw(some(False, True, True)), None
    if duty and exposed and draw(some(True, False)):
        shorter = min(draw(some(6, 1, 12)), duty.interval_months)
        duty = fit_window(duty, shorter)
    before = duty.window_before_days if duty else 60
    intervals = [months for months in (12, 24, 6, 1, 2, 3, 18) if months * 28 > before]
    pairs = draw(
        st.lists(
            st.tuples(some(None, *FAMILIES), some(None, "enclosed_cavity", "exposed_underside")),
            min_size=0 if duty else 1,
            max_size=3,
            unique=True,
        )
    )
    rules = tuple(TouchUp(draw(some(*intervals)), *pair) for pair in pairs)
    touch_up = None
    if rules and exposed and (shorter is None or draw(some(False, True))):
        longest = max(rule.interval_months for rule in rules)
        touch_up = draw(some(*(months for months in intervals if months <= longest)))
    severe = Severe(draw(some("C4", "C5", "C3", "CX")), shorter, touch_up) if shorter or touch_up else None
    length = draw(some(None, None, None, None, 12, 24, 36, 13, 1))
    return Promise(
        reinspection=duty,
        touch_ups=rules,
        severe=severe,
        seasons=tuple(draw(st.lists(seasons(), max_size=3))) if draw(some(False, True)) else (),
        roll=draw(some("next_open_day", "stay")),
        length_months=length,
        registration_deadline_days=draw(some(None, None, None, 30, 0, 5)),
        required_zones=draw(some((), (), (), ("rocker_left",), ("rocker_left", "seam_rear"))),
        excluded_zones=draw(some((), (), ("underside_middle",))),
        waiting_days=draw(some(0, 0, 0, 1, 27 if length == 1 else 30)),
    )


def nudge(draw: st.DrawFn, day: date) -> date:
    days: int = draw(some(0, 0, 1, -1, 2, 7))
    return day + days * ONE_DAY


@st.composite
def zone_works(draw: st.DrawFn) -> tuple[ZoneWork, ...]:
    pairs = draw(st.lists(st.tuples(st.sampled_from(sorted(ZONES)), some(*FAMILIES, FAMILIES[0], None)), max_size=4))
    return tuple(ZoneWork(zone, ZONES[zone], family) for zone, family in pairs)


@st.composite
def looked_at(draw: st.DrawFn) -> tuple[LookedAt, ...] | None:
    """Mostly every zone; else some of them, or all but with one of them seen in part or left out."""
    if draw(some(True, True, False)):
        return None
    zones = [LookedAt(zone) for zone in sorted(ZONES)]
    answer = draw(some(*ANSWERS))
    place = draw(st.integers(0, len(zones) - 1))
    return tuple(
        replace(one, **answer) if answer is not None and number == place else one
        for number, one in enumerate(zones)
        if answer is not None or number != place
    )


ANSWERS: tuple[dict[str, bool] | None, ...] = (
    {"film": False, "rust": False, "why_not": True}, None, {"film": False}, {"rust": False},
    {"film": False, "rust": False},
)  # fmt: skip
FIRST_COATS = tuple(ZoneWork(zone, kind, FAMILIES[0]) for zone, kind in ZONES.items())


OTHER_KINDS = ("after_repair", "after_repair", "first_treatment", "intake", "claim")


def draw_record(draw: st.DrawFn, day: date, name: str, written: datetime | None) -> Work | Look:
    counts = draw(some(True, True, True, False))
    kind = draw(some("reinspection", "annual_touch_up") if counts else some(*OTHER_KINDS))
    if kind in ("reinspection", "intake", "claim"):
        return Look(day, kind, written, draw(looked_at()), name)
    return Work(name, day, kind, draw(zone_works()), written_at=written)


def add(case: Case, record: Work | Look) -> Case:
    if isinstance(record, Work):
        return replace(case, works=(*case.works, record))
    return replace(case, looks=(*case.looks, record))


def list_edges(case: Case, far: date) -> tuple[Answer, list[date]]:
    """Return what the text says about a far day, and the days on which a duty changes."""
    answer = tell(replace(case, asked_on=far))
    edges = {
        day + shift * ONE_DAY
        for duty in answer.duties
        for day, shift in ((duty.opens, 0), (duty.target, 0), (duty.last, 0), (duty.grace, 0), (duty.grace, 1))
    }
    return answer, sorted(day for day in edges if day <= far) or [far]


@st.composite
def cases(draw: st.DrawFn) -> Case:
    promise = draw(promises())
    start = draw(some(*STARTS)) + draw(some(0, 0, 0, 1, 17, 100)) * ONE_DAY
    far = after_months(start, 12 * YEARS_WALKED)
    case = Case(draw_season_at_the_opening(draw, promise, start), Deal(start), far, site=draw_site(draw, start))
    written = draw(some(False, False, True))

    def draw_written() -> datetime | None:
        return draw(some(*WRITTEN)) if written else None

    if draw(some(True) if written else some(*[True] * 12, False)):
        coats = draw(some(FIRST_COATS, None))
        coats = draw(zone_works()) if coats is None else coats
        case = add(case, Work("first", start, "first_treatment", coats, written_at=draw_written()))
    case = draw_visits(draw, case, start, draw_written)
    case = replace(case, deal=replace(case.deal, category=draw(some("C3", "C1", "C5", "C4"))))
    case = draw_places(draw, case, start, draw_written)
    number_at_edges = draw(some(0, 1, 1, 2))
    edges = list_edges(case, far)[1] if number_at_edges else []
    for number in range(number_at_edges):
        case = add(case, draw_record(draw, nudge(draw, draw(some(*edges))), f"edge {number}", draw_written()))
    case = draw_amendments(draw, case, draw_written)
    case = draw_owners(draw, case, start, draw_written)
    case = draw_readings(draw, case, start, draw_written)
    case = draw_facts(draw, case, start, far, draw_written)
    case = replace(case, known_at=MOMENT if written else None)
    case = draw_stays(draw, case, far, draw_written)
    answer, edges = list_edges(case, far)
    case = replace(case, deal=draw_deal(draw, case, start, edges))
    if case.promise.reinspection or case.promise.touch_ups:
        case = draw_waivers(draw, case, edges)
    if case.deal.waivers and draw(some(False, True)):
        # What is written down once somebody was let off.
        case = add(case, draw_record(draw, nudge(draw, draw(some(*edges))), "later", draw_written()))
        case = draw_amendments(draw, case, draw_written, "later amendment")
        case = draw_places(draw, case, start, draw_written)
    answer, edges = list_edges(case, far)
    return replace(case, asked_on=draw_day_asked(draw, case, start, answer, edges))


def draw_season_at_the_opening(draw: st.DrawFn, promise: Promise, start: date) -> Promise:
    """Let a season end where the first window opens, or a day beside it."""
    duty = promise.reinspection
    if not duty or not promise.seasons or draw(some(False, True)):
        return promise
    last = nudge(draw, after_months(start, duty.first_after_months) - duty.window_before_days * ONE_DAY)
    first = last - draw(some(0, 20)) * ONE_DAY
    if (2, 29) in ((first.month, first.day), (last.month, last.day)):
        return promise
    return replace(promise, seasons=(Season((first.month, first.day), (last.month, last.day)),))


def draw_site(draw: st.DrawFn, start: date) -> Site:
    weekdays = draw(some({1, 2, 3, 4, 5, 6, 7}, {1, 2, 3, 4, 5}, {1, 2, 3, 4, 5, 6}, {2, 4}, {3}))
    closed: set[date] = set()
    for _ in range(draw(some(0, 0, 1, 2))):
        begin = after_months(start, draw(some(12, 11, 6, 13, 24, 1, 36))) + draw(st.integers(-3, 3)) * ONE_DAY
        closed |= {begin + n * ONE_DAY for n in range(draw(some(1, 3, 10, 25, 50)))}
    return Site(frozenset(weekdays), frozenset(closed))


def draw_visits(draw: st.DrawFn, case: Case, start: date, draw_written: Moments) -> Case:
    """Each visit lies at an edge of the window that the interval gives after the one before, or anywhere."""
    duty = case.promise.reinspection or Reinspection(12, 12, "anniversary", 60, 0, 30, "nothing")
    before = start
    for number in range(draw(some(2, 0, 1, 3, 4, 5))):
        raw = after_months(draw(some(before, start)), duty.interval_months * draw(some(1, 1, 2, number + 1)))
        shifts = (0, -duty.window_before_days, duty.window_after_days, duty.window_after_days + duty.grace_days)
        where = draw(some("window", "window", "window", "any", "any", "any", "start"))
        if where == "window":
            day = nudge(draw, raw + draw(some(*shifts)) * ONE_DAY)
        elif where == "any":
            day = start + draw(st.integers(-30, 365 * YEARS_WALKED)) * ONE_DAY
        else:
            day = start + draw(some(-1, 0, 1, -20)) * ONE_DAY
        case = add(case, draw_record(draw, day, f"visit {number}", draw_written()))
        before = max(before, day)
    return case


def draw_amendments(draw: st.DrawFn, case: Case, draw_written: Moments, name: str = "amendment") -> Case:
    works = list(case.works)
    for number in range(draw(some(0, 0, 0, 1, 2)) if works else 0):
        replaced = {work.amends for work in works}
        old = draw(some(*[work for work in works if work.record not in replaced]))
        day = old.day + draw(some(0, 1, -1, 30, -30, 400)) * ONE_DAY
        kind = draw(some(old.kind, old.kind, old.kind, "annual_touch_up", "first_treatment"))
        zones = draw(zone_works()) if draw(some(False, True)) else old.zones
        works.append(Work(f"{name} {number}", day, kind, zones, old.record, draw_written()))
    looks = list(case.looks)
    if looks and draw(some(False, False, True)):
        look = draw(some(*looks))
        kind = draw(some(look.kind, "reinspection", "intake"))
        day = look.day + draw(some(0, 1, -1, 30)) * ONE_DAY
        looks.append(Look(day, kind, draw_written(), draw(looked_at()), f"look after {name}", look.record))
    return replace(case, works=tuple(works), looks=tuple(looks))


def draw_stays(draw: st.DrawFn, case: Case, far: date, draw_written: Moments) -> Case:
    """Let the vehicle have stood at the shop where a window of a touch-up opens or its grace ends, or a day beside."""
    number = draw(some(0, 0, 1, 2))
    touch_ups = [duty for duty in tell(replace(case, asked_on=far)).duties if duty.kind == "touch_up"] if number else []
    stays = []
    for _ in range(number if touch_ups else 0):
        duty = draw(some(*touch_ups))
        first = nudge(draw, draw(some(duty.opens, duty.grace, duty.raw)))
        stays.append(Stay(first, first + draw(some(0, 0, 1, 3)) * ONE_DAY, draw_written()))
    return replace(case, stays=tuple(stays))


def draw_places(draw: st.DrawFn, case: Case, start: date, draw_written: Moments) -> Case:
    """Where the vehicle is used: some known from the start, most of them beside a day on which a duty changes."""
    if not case.promise.severe:
        return case
    places = list(case.places)
    threshold = CATEGORIES.index(case.promise.severe.from_category)
    # Each place mostly turns the exposure around.
    severe = CATEGORIES.index(places[-1].category or case.deal.category if places else case.deal.category) >= threshold
    for _ in range(draw(some(1, 2, 0, 3))):
        severe = not severe
        edges = list_edges(replace(case, places=tuple(places)), case.asked_on)[1]
        where = draw(some("edge", "edge", "start", "any"))
        if where == "edge":
            day = nudge(draw, draw(some(*edges)) - draw(some(0, 0, 14, case.asked_on.day)) * ONE_DAY)
        else:
            day = start + (draw(st.integers(0, 900)) if where == "any" else draw(some(0, 1, -1, -200))) * ONE_DAY
        shift: int = draw(some(0, 0, 0, 1, 30, 300, -1, -100))
        counts, other = day, day - abs(shift) * ONE_DAY
        from_day, known_on = (counts, other) if shift < 0 else (other, counts)
        category = draw(some(*[CATEGORIES[threshold] if severe else "C1"] * 4, "C5", "C3", "CX", None))
        places.append(Place(category, from_day, known_on, draw_written()))
        if draw(some(False, False, True)):
            # The same beginning once more, for a mistake is mended so.
            later = known_on + draw(some(0, 1, 60)) * ONE_DAY
            places.append(Place(draw(some("C1", "C5", None)), from_day, later, draw_written()))
    return replace(case, places=tuple(places))


def draw_waivers(draw: st.DrawFn, case: Case, edges: list[date]) -> Case:
    """Let the customer off what is due on some days; now and then the name is that of a day beside it."""
    for _ in range(draw(some(0, 0, 1, 2, 4))):
        day = nudge(draw, draw(some(*edges)) + draw(some(0, 0, -30, 20)) * ONE_DAY)
        due = [duty for duty in tell(replace(case, asked_on=day)).duties if duty.settled_on is None]
        if not due:
            continue
        duty = draw(some(*reversed(due)))
        raw = draw(some(duty.raw, duty.raw, duty.raw, duty.opens, duty.grace, duty.last))
        raw += draw(some(0, 0, 1, -1)) * ONE_DAY if raw != duty.raw else timedelta(0)
        coat = duty.start + draw(some(0, 0, 0, 1, -1, 30)) * ONE_DAY
        middle = f":{duty.key.split(':')[1]}:{coat}" if duty.kind == "touch_up" else ""
        waiver = (f"{duty.kind}{middle}:{raw}", day)
        case = replace(case, deal=replace(case.deal, waivers=(*case.deal.waivers, waiver)))
    return case


def draw_owners(draw: st.DrawFn, case: Case, start: date, draw_written: Moments) -> Case:
    if draw(some(True, False)):
        return case
    days = {start + draw(some(-100, 0, 0, 1)) * ONE_DAY}
    for _ in range(draw(st.integers(0, 3))):
        days.add(max(days) + draw(some(10, 1, 29, 30, 31, 200)) * ONE_DAY)
    notice = draw(some(30, None, 0, 10))
    shifts = (None, None, 0, notice or 0, (notice or 0) + 1, -3, 60)
    owners = tuple(
        Owner(day, None if shift is None else day + shift * ONE_DAY, draw_written())
        for day, shift in [(day, draw(some(*shifts))) for day in sorted(days)]
    )
    allowed = draw(some(True, True, True, True, True, False))
    promise = replace(
        case.promise,
        transfer_allowed=allowed,
        # Terms that don't let a cover follow the vehicle say nothing about how it would.
        max_transfers=draw(some(None, None, None, 0, 1, 2)) if allowed else None,
        notice_days=notice if allowed else None,
    )
    told = tuple(
        sorted(
            draw(some(*owners)).from_day + draw(some((notice or 0) + 1, notice or 0, -1, 0, 1, 50)) * ONE_DAY
            for _ in range(draw(st.integers(0, 2)))
        )
    )
    return replace(case, owners=owners, promise=promise, deal=replace(case.deal, told_on=told))


def draw_readings(draw: st.DrawFn, case: Case, start: date, draw_written: Moments) -> Case:
    """A few readings, mostly at a steady rate so that the limit is met on a whole day, some of them backwards."""
    if draw(some(True, True, False)):
        return case
    day, km = start + draw(some(0, -2, -1, 1, -10)) * ONE_DAY, draw(some(0, 7, 1000))
    steady = draw(some(None, (3, 2), (14, 28), (6, 1), (90, 900)))
    readings = []
    for number in range(draw(st.integers(1, 5))):
        readings.append(Odometer(day, Decimal(km), draw_written()))
        days, driven = steady or (draw(some(3, 1, 0, 7, 90, 365, -2)), draw(some(1, 2, 0, 100, 365, 7, -3, 900)))
        if number and not steady and draw(some(False, True)):
            backwards = Decimal(max(0, km - draw(some(1, 50))))
            readings.append(Odometer(day + draw(some(1, 0)) * ONE_DAY, backwards, draw_written()))
        day, km = day + days * ONE_DAY, max(0, km + driven)
    last = readings[-1].kilometres
    if steady:
        limit = Decimal(draw(some(steady[1], 2 * steady[1], 3 * steady[1], steady[1] // 7 or 1, steady[1] // 10 or 1)))
    else:
        limit = max(draw(some(last, last - 1, last + 1, last - 60, Decimal("1.5"), Decimal(1007))), Decimal(1))
    promise = replace(case.promise, distance_limit_km=limit, distance_from=draw(some("odometer", "first_treatment")))
    return replace(case, odometer=tuple(readings), promise=promise)


def draw_facts(draw: st.DrawFn, case: Case, start: date, far: date, draw_written: Moments) -> Case:
    """A few standing facts, mostly at the grace of a touch-up, where a day more or less decides if it falls away."""
    if draw(some(True, False)):
        return case
    edges = list_edges(case, far)[1]
    facts = []
    for _ in range(draw(some(1, 2, 3))):
        day = nudge(draw, draw(some(start, start - 40 * ONE_DAY, draw(some(*edges)), draw(some(*edges)))))
        zones = draw(st.lists(st.sampled_from(sorted(ZONES)), max_size=2, unique=True))
        if case.promise.required_zones and draw(some(True, False)):
            # One without which the cover would not begin.
            zones = [case.promise.required_zones[-1]]
        withdrawn_on = day + draw(some(0, 1, 90, 400)) * ONE_DAY if draw(some(False, False, True)) else None
        written, withdrawal_written = draw_written(), draw_written()
        facts.append(Fact(day, tuple(zones), draw(some(False, False, True)), written, withdrawn_on, withdrawal_written))
    return replace(case, facts=tuple(facts))


def draw_deal(draw: st.DrawFn, case: Case, start: date, edges: list[date]) -> Deal:
    deadline = case.promise.registration_deadline_days or 0
    return replace(
        case.deal,
        registered_on=start + draw(some(0, 0, 0, 0, 0, deadline, deadline, deadline + 1, -3, 40)) * ONE_DAY,
        ended_on=nudge(draw, draw(some(*edges[len(edges) // 3 :], start)))
        if draw(some(False, False, False, False, False, True))
        else None,
    )


def draw_day_asked(draw: st.DrawFn, case: Case, start: date, answer: Answer, edges: list[date]) -> date:
    """Mostly a day on which a duty, a record or the cover changes, or a day beside it."""
    promise, deal = case.promise, case.deal
    days = [start, deal.registered_on, start + promise.waiting_days * ONE_DAY, *(day for _, day in deal.waivers)]
    days += [*(work.day for work in case.works), *(look.day for look in case.looks)]
    days += [owner.from_day + (promise.notice_days or 0) * ONE_DAY for owner in case.owners]
    days += [reading.day for reading in case.odometer]
    days += [day for fact in case.facts for day in (fact.day, fact.withdrawn_on) if day is not None]
    days += [max(place.from_day, place.known_on) for place in case.places]
    if promise.registration_deadline_days is not None:
        days.append(start + (promise.registration_deadline_days + 1) * ONE_DAY)
    if promise.length_months:
        days.append(after_months(start, promise.length_months))
    if deal.ended_on:
        days.append(deal.ended_on)
    if answer.since:
        days.append(answer.since)
    which = draw(some("late edge", "late edge", "edge", "record", "any"))
    if which == "any":
        return start + draw(st.integers(-5, 365 * YEARS_WALKED)) * ONE_DAY
    if which == "late edge":
        return nudge(draw, draw(some(*edges[len(edges) // 2 :])))
    return nudge(draw, draw(some(*(edges if which == "edge" else [day for day in days if day >= start]))))
