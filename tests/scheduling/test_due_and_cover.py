"""Due dates and the state of a cover, by the rules alone: early, late, missed, waived, cured, moved and projected."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from scheduling.covers.rules.cover import NO_MORE_COVER, assess_cover, cover_on, list_cover_changes
from scheduling.covers.rules.dates import PUBLIC_HOLIDAY, WorkingCalendar, make_table
from scheduling.covers.rules.due import (
    DueItem,
    DueKind,
    DueStatus,
    compute_due_items,
    compute_what_needs_doing,
    list_open_kinds,
)
from scheduling.covers.rules.ends import CoverStatus, foresee_distance
from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.terms.rules.terms import (
    Anchor,
    ClaimTerms,
    DistanceFrom,
    MissedMeans,
    ReinspectionTerms,
    Roll,
    SeasonTerms,
    SevereExposureTerms,
    Terms,
    TouchUpTerms,
    TransferTerms,
)
from tests.explained import read_params
from treatments.enums import (
    CorrosivityCategory,
    InspectionKind,
    ProductFamily,
    TreatmentKind,
    ZoneKind,
)
from treatments.records.rules.history import (
    InspectionRecord,
    OwnerRecord,
    PlaceRecord,
    RecordedReading,
    TreatmentRecord,
    VehicleHistory,
    ZoneLine,
)
from treatments.records.rules.odometer import Reading
from treatments.rules.explanation import OwnWords, explain

pytestmark = pytest.mark.slow

ALWAYS_OPEN = WorkingCalendar(frozenset(range(1, 8)))
WEEKDAYS = WorkingCalendar()
START = date(2023, 3, 14)


def line(zone: str = "rocker_left", family: ProductFamily = ProductFamily.CAVITY_WAX) -> ZoneLine:
    return ZoneLine(zone, zone, ZoneKind.ENCLOSED_CAVITY, family, "Fenwax Cavity 40", "FC-1")


def treated(
    day: date, kind: TreatmentKind = TreatmentKind.FIRST_TREATMENT, *zones: str, **more: object
) -> TreatmentRecord:
    lines = tuple(line(zone) for zone in zones or ("rocker_left",))
    return TreatmentRecord(f"treatment {day}", day, kind, lines, **more)  # type: ignore[arg-type]


def seen(day: date) -> InspectionRecord:
    answered = frozenset({"rocker_left", "rocker_right"})
    return InspectionRecord(f"inspection {day}", day, InspectionKind.REINSPECTION, answered=answered)


def make_terms(**changes: object) -> Terms:
    usual: dict[str, object] = {"code": "t", "version": 1, "title": "T", "claims": ClaimTerms(waiting_days=0)}
    return Terms(**(usual | changes))  # type: ignore[arg-type]


FACTS = CoverFacts("C1", START, START)


def reinspections(items: tuple[DueItem, ...]) -> list[DueItem]:
    return [item for item in items if item.kind is DueKind.REINSPECTION]


def due(terms: Terms, *records: object, as_of: date, facts: CoverFacts = FACTS) -> list[DueItem]:
    return reinspections(compute_due_items(terms, facts, make_history(*records), ALWAYS_OPEN, as_of))


def make_history(*records: object) -> VehicleHistory:
    return VehicleHistory(
        treatments=tuple(r for r in records if isinstance(r, TreatmentRecord)),
        inspections=tuple(r for r in records if isinstance(r, InspectionRecord)),
        readings=tuple(r for r in records if isinstance(r, RecordedReading)),
        owners=tuple(r for r in records if isinstance(r, OwnerRecord)),
    )


def test_a_sunday_moves_to_the_next_open_day_and_says_so() -> None:
    start = date(2025, 3, 14)
    items = reinspections(compute_due_items(make_terms(), FACTS, make_history(treated(start)), WEEKDAYS, start))
    assert items[0].dates.target_on == date(2026, 3, 16)
    target = read_params(items[0].reasons, "due.target.first_treatment")
    assert (target["months"], target["base_on"], target["raw_on"]) == (12, start, date(2026, 3, 14))
    assert target["moved"] == explain(
        "due.moved.open_day",
        closed_on=date(2026, 3, 14),
        closed=explain("calendar.weekday.6"),
        moved_on=date(2026, 3, 16),
    )
    stays = make_terms(roll=Roll.STAY)
    items = reinspections(compute_due_items(stays, FACTS, make_history(treated(start)), WEEKDAYS, start))
    assert items[0].dates.target_on == date(2026, 3, 14)


def test_public_holidays_and_closed_days_are_not_open() -> None:
    calendar = WorkingCalendar(country="US", closed_days=frozenset({date(2026, 7, 6)}))
    assert calendar.explain_closed(date(2026, 7, 3)) == PUBLIC_HOLIDAY  # 4 July 2026 is a Saturday
    assert calendar.find_open_day_from(date(2026, 7, 3)) == date(2026, 7, 7)
    assert calendar.is_open(date(2026, 7, 7))


@pytest.mark.parametrize(
    ("visit", "status"),
    [
        (date(2024, 1, 13), DueStatus.MISSED),  # a day before the window opens: early, doesn't count
        (date(2024, 1, 14), DueStatus.DONE),  # the day on which it opens, 60 days before
        (date(2024, 3, 14), DueStatus.DONE),
        (date(2024, 4, 13), DueStatus.DONE),  # the last day of grace, 30 days after
        (date(2024, 4, 14), DueStatus.MISSED),
    ],
)
def test_the_window_counts_to_the_day_on_both_sides(visit: date, status: DueStatus) -> None:
    items = due(make_terms(), treated(START), seen(visit), as_of=date(2024, 6, 1))
    assert items[0].status is status
    if visit < date(2024, 1, 14):
        early = read_params(items[0].reasons, "due.early_visit")
        assert early == {"visited_on": visit, "opens_on": date(2024, 1, 14)}


def test_a_missed_reinspection_suspends_until_cured() -> None:
    terms, history = make_terms(), make_history(treated(START), seen(date(2024, 6, 20)))
    states = {
        day: cover_on(terms, FACTS, history, ALWAYS_OPEN, day).status
        for day in (date(2024, 4, 13), date(2024, 4, 14), date(2024, 6, 19), date(2024, 6, 20))
    }
    assert list(states.values()) == [
        CoverStatus.IN_FORCE,
        CoverStatus.SUSPENDED,
        CoverStatus.SUSPENDED,
        CoverStatus.IN_FORCE,
    ]
    changes = list_cover_changes(((date.min, terms),), FACTS, history, ALWAYS_OPEN, START, date(2024, 12, 31))
    assert [(c.status, c.day) for c in changes] == [
        (CoverStatus.IN_FORCE, START),
        (CoverStatus.SUSPENDED, date(2024, 4, 14)),
        (CoverStatus.IN_FORCE, date(2024, 6, 20)),
    ]


@pytest.mark.parametrize(
    ("means", "status", "percent"),
    [
        (MissedMeans.NOTHING, CoverStatus.IN_FORCE, 100),
        (MissedMeans.SUSPENDS, CoverStatus.SUSPENDED, 100),
        (MissedMeans.LAPSES, CoverStatus.LAPSED, 100),
        (MissedMeans.REDUCES, CoverStatus.IN_FORCE, 50),
    ],
)
def test_what_a_missed_reinspection_does_is_for_the_terms(
    means: MissedMeans, status: CoverStatus, percent: int
) -> None:
    reduced = Decimal(50) if means is MissedMeans.REDUCES else None
    terms = make_terms(reinspection=ReinspectionTerms(missed_means=means, reduced_to_percent=reduced))
    before = cover_on(terms, FACTS, make_history(treated(START)), ALWAYS_OPEN, date(2024, 4, 13))
    after = cover_on(terms, FACTS, make_history(treated(START)), ALWAYS_OPEN, date(2024, 4, 14))
    assert (before.status, before.percent) == (CoverStatus.IN_FORCE, 100)
    assert (after.status, after.percent) == (status, percent)


def test_a_lapsed_cover_is_not_cured_by_a_late_visit() -> None:
    terms = make_terms(reinspection=ReinspectionTerms(missed_means=MissedMeans.LAPSES))
    history = make_history(treated(START), seen(date(2024, 5, 1)))
    assert cover_on(terms, FACTS, history, ALWAYS_OPEN, date(2025, 1, 1)).status is CoverStatus.LAPSED


def test_a_waiver_stands_for_the_visit_and_nothing_else_does() -> None:
    waiver = Waiver("reinspection:2024-03-14", date(2024, 4, 1), "flood closed the road", "change 1")
    facts = CoverFacts("C1", START, START, waivers=(waiver,))
    waived = due(make_terms(), treated(START), as_of=date(2024, 6, 1), facts=facts)
    assert [item.status for item in waived] == [DueStatus.WAIVED, DueStatus.OPEN]
    assert read_params(waived[0].reasons, "due.waived")["reason"] == OwnWords("flood closed the road")
    assert due(make_terms(), treated(START), as_of=date(2024, 6, 1))[0].status is DueStatus.MISSED


def test_counting_from_the_last_visit_follows_the_visits() -> None:
    terms = make_terms(reinspection=ReinspectionTerms(anchor=Anchor.LAST_VISIT))
    items = due(terms, treated(START), seen(date(2023, 11, 2)), as_of=date(2024, 1, 1))
    assert [(item.status, item.dates.target_on) for item in items] == [
        (DueStatus.DONE, date(2024, 3, 14)),
        (DueStatus.OPEN, date(2024, 11, 2)),
    ]
    target = read_params(items[1].reasons, "due.target.visit")
    assert (target["months"], target["base_on"]) == (12, date(2023, 11, 2))


def test_29_february_is_counted_from_the_first_anchor_and_clips() -> None:
    start = date(2024, 2, 29)
    visits = [seen(date(year, 2, 20)) for year in (2025, 2026, 2027)]
    items = due(make_terms(), treated(start), *visits, as_of=date(2027, 12, 1))
    targets = [item.dates.target_on for item in items]
    assert targets == [date(2025, 2, 28), date(2026, 2, 28), date(2027, 2, 28), date(2028, 2, 29)]


def test_a_retreated_zone_restarts_its_own_clock_and_nothing_else() -> None:
    terms = make_terms(touch_ups=(TouchUpTerms(24, ProductFamily.CAVITY_WAX),))
    repair = treated(date(2024, 3, 1), TreatmentKind.AFTER_REPAIR, "rocker_left")
    history = make_history(treated(START, TreatmentKind.FIRST_TREATMENT, "rocker_left", "rocker_right"), repair)
    items = compute_due_items(terms, FACTS, history, ALWAYS_OPEN, date(2024, 3, 20))
    open_touch_ups = {
        item.zones: item.dates.target_on
        for item in items
        if item.kind is DueKind.TOUCH_UP and item.status is DueStatus.OPEN
    }
    assert open_touch_ups == {("rocker_right",): date(2025, 3, 14), ("rocker_left",): date(2026, 3, 1)}
    # The repair is no reinspection: the one of 2024 is still open.
    assert reinspections(items)[0].status is DueStatus.OPEN


def test_the_most_exact_touch_up_rule_wins() -> None:
    rules = (
        TouchUpTerms(12),
        TouchUpTerms(18, None, ZoneKind.ENCLOSED_CAVITY),
        TouchUpTerms(24, ProductFamily.CAVITY_WAX),
        TouchUpTerms(36, ProductFamily.CAVITY_WAX, ZoneKind.ENCLOSED_CAVITY),
    )
    for count, months in ((1, 12), (2, 18), (3, 24), (4, 36)):
        items = compute_due_items(
            make_terms(touch_ups=rules[:count]), FACTS, make_history(treated(START)), ALWAYS_OPEN, START
        )
        (touch_up,) = (item for item in items if item.kind is DueKind.TOUCH_UP)
        assert touch_up.dates.target_on == START + relativedelta(months=months)


def test_severe_exposure_shortens_and_says_so() -> None:
    terms = make_terms(severe_exposure=SevereExposureTerms(CorrosivityCategory.C4, reinspection_interval_months=6))
    mild = due(terms, treated(START), as_of=START)
    severe = due(terms, treated(START), as_of=START, facts=CoverFacts("C1", START, START, CorrosivityCategory.C5))
    assert mild[0].dates.target_on == date(2024, 3, 14)
    assert severe[0].dates.target_on == date(2023, 9, 14)
    exposure = read_params(severe[0].reasons, "due.target.first_treatment")["exposure"]
    assert exposure == explain("due.exposure.interval", category="C5", months=6)


def test_the_season_pulls_earlier_where_the_window_allows() -> None:
    season = SeasonTerms(9, 1, 11, 30)
    start = date(2023, 12, 20)
    inside = due(make_terms(seasons=(season,)), treated(start), as_of=start)
    assert inside[0].dates.target_on == date(2024, 11, 30)
    assert inside[0].dates.last_on == date(2024, 12, 20)
    too_far = due(make_terms(seasons=(season,)), treated(START), as_of=START)
    assert too_far[0].dates.target_on == date(2024, 3, 14)


def test_the_end_of_the_term_is_the_same_numbered_day() -> None:
    terms = make_terms(length_months=24, reinspection=None)
    history = make_history(treated(START))
    assert cover_on(terms, FACTS, history, ALWAYS_OPEN, date(2025, 3, 14)).status is CoverStatus.IN_FORCE
    expired = cover_on(terms, FACTS, history, ALWAYS_OPEN, date(2025, 3, 15))
    assert (expired.status, expired.since) == (CoverStatus.EXPIRED, date(2025, 3, 15))


def test_pending_registration_and_waiting() -> None:
    terms = make_terms(registration_deadline_days=30, claims=ClaimTerms(waiting_days=30))
    history = make_history(treated(START))
    in_time = CoverFacts("C1", START, START + timedelta(days=30))
    assert cover_on(terms, in_time, history, ALWAYS_OPEN, START).status is CoverStatus.PENDING
    assert cover_on(terms, in_time, history, ALWAYS_OPEN, date(2023, 4, 13)).status is CoverStatus.IN_FORCE
    late = CoverFacts("C1", START, START + timedelta(days=31))
    assert cover_on(terms, late, history, ALWAYS_OPEN, date(2023, 6, 1)).status is CoverStatus.LAPSED
    assert cover_on(terms, in_time, make_history(), ALWAYS_OPEN, date(2023, 6, 1)).status is CoverStatus.PENDING


def reading(day: date, km: int) -> RecordedReading:
    return RecordedReading(Reading(day, Decimal(km), f"reading {day}"))


def test_distance_ends_the_cover_between_readings_by_projection() -> None:
    terms = make_terms(distance_limit_km=Decimal(100_000), reinspection=None)
    history = make_history(treated(START), reading(date(2024, 1, 1), 90_000), reading(date(2024, 1, 21), 110_000))
    before = cover_on(terms, FACTS, history, ALWAYS_OPEN, date(2024, 1, 10))
    at = cover_on(terms, FACTS, history, ALWAYS_OPEN, date(2024, 1, 11))
    assert before.status is CoverStatus.IN_FORCE
    assert (at.status, at.projected) == (CoverStatus.EXPIRED, True)
    assert [told.code for told in at.explanations] == ["cover.expired.distance.odometer", "odometer.reached_between"]
    # Beyond the last reading a projection ends nothing.
    short = make_history(treated(START), reading(START, 10_000), reading(date(2024, 1, 1), 90_000))
    assert cover_on(terms, FACTS, short, ALWAYS_OPEN, date(2025, 1, 1)).status is CoverStatus.IN_FORCE
    since = make_terms(
        distance_limit_km=Decimal(100_000), distance_from=DistanceFrom.FIRST_TREATMENT, reinspection=None
    )
    driven = make_history(treated(START), reading(START, 20_000), reading(date(2024, 1, 21), 110_000))
    assert cover_on(since, FACTS, driven, ALWAYS_OPEN, date(2024, 1, 21)).status is CoverStatus.IN_FORCE


def test_transfer_of_owner() -> None:
    sold = date(2023, 9, 1)
    history = make_history(
        treated(START), OwnerRecord("ownership 1", "1", START), OwnerRecord("ownership 2", "2", sold)
    )

    def on(day: date, transfer: TransferTerms, told: tuple[date, ...] = ()) -> CoverStatus:
        facts = CoverFacts("C1", START, START, transfers_notified_on=told)
        return cover_on(make_terms(transfer=transfer), facts, history, ALWAYS_OPEN, day).status

    assert on(sold, TransferTerms(allowed=False)) is CoverStatus.ENDED
    assert on(sold - timedelta(days=1), TransferTerms(allowed=False)) is CoverStatus.IN_FORCE
    assert on(sold, TransferTerms(max_transfers=0)) is CoverStatus.ENDED
    assert on(sold, TransferTerms(max_transfers=1)) is CoverStatus.IN_FORCE
    noticed = TransferTerms(notice_days=30)
    assert on(date(2023, 10, 1), noticed) is CoverStatus.IN_FORCE
    late, last_day_to_tell = (date(2023, 10, 2),), (date(2023, 10, 1),)
    assert on(date(2023, 10, 1), noticed, late) is CoverStatus.IN_FORCE
    assert on(date(2023, 10, 2), noticed, late) is CoverStatus.ENDED
    assert on(date(2023, 10, 2), noticed, last_day_to_tell) is CoverStatus.IN_FORCE
    # When the shop was told is not on record: that can't be held against anybody.
    assert on(date(2023, 10, 2), noticed) is CoverStatus.IN_FORCE
    came_on = replace(history, owners=(history.owners[0], replace(history.owners[1], told_on=sold)))
    told_late = replace(history, owners=(history.owners[0], replace(history.owners[1], told_on=date(2023, 10, 2))))
    facts = CoverFacts("C1", START, START)
    day = date(2023, 12, 1)
    assert cover_on(make_terms(transfer=noticed), facts, came_on, ALWAYS_OPEN, day).status is CoverStatus.IN_FORCE
    assert cover_on(make_terms(transfer=noticed), facts, told_late, ALWAYS_OPEN, day).status is CoverStatus.ENDED


def test_an_amendment_changes_what_is_known_now_and_not_what_was_known_then() -> None:
    written = datetime(2023, 3, 14, 18, tzinfo=UTC)
    corrected = datetime(2024, 5, 1, 9, tzinfo=UTC)
    old = TreatmentRecord("treatment 1", START, TreatmentKind.FIRST_TREATMENT, (line(),), written)
    new = TreatmentRecord(
        "treatment 2", date(2023, 4, 14), TreatmentKind.FIRST_TREATMENT, (line(),), corrected, amends="treatment 1"
    )
    history = make_history(old, new)
    now = due(make_terms(), old, new, as_of=date(2024, 1, 1))
    assert now[0].dates.target_on == date(2024, 4, 14)
    then = history.known_at(datetime(2024, 1, 1, tzinfo=UTC))
    items = compute_due_items(make_terms(), FACTS, then, ALWAYS_OPEN, date(2024, 1, 1))
    assert reinspections(items)[0].dates.target_on == date(2024, 3, 14)


# Invariants over any terms and any visits.

days = st.dates(date(2018, 1, 1), date(2024, 12, 31))
any_terms = st.builds(
    lambda anchor, missed, before, grace, length, interval: make_terms(
        length_months=length,
        touch_ups=(TouchUpTerms(interval),),
        reinspection=ReinspectionTerms(
            anchor=anchor,
            missed_means=missed,
            window_before_days=before,
            grace_days=grace,
            reduced_to_percent=Decimal(50) if missed is MissedMeans.REDUCES else None,
        ),
    ),
    st.sampled_from(Anchor),
    st.sampled_from(MissedMeans),
    st.integers(0, 150),
    st.integers(0, 150),
    st.none() | st.integers(1, 180),
    st.integers(1, 60),
)
offsets = st.lists(st.integers(1, 3000), max_size=8, unique=True)


@given(any_terms, days, offsets, st.integers(0, 3500))
def test_dates_are_always_in_order_and_within_the_cover(
    terms: Terms, start: date, visits: list[int], after: int
) -> None:
    facts = CoverFacts("C1", start, start)
    history = make_history(treated(start), *(seen(start + timedelta(days=n)) for n in visits))
    as_of = start + timedelta(days=after)
    end = start + relativedelta(months=terms.length_months) if terms.length_months else None
    items = compute_due_items(terms, facts, history, WEEKDAYS, as_of)
    assert len({item.key for item in items}) == len(items)
    for item in items:
        dates = item.dates
        assert dates.opens_on <= dates.target_on <= dates.last_on <= dates.grace_until
        assert end is None or dates.grace_until <= end
        if item.status is DueStatus.OPEN:
            assert as_of <= dates.grace_until


@given(any_terms, days, offsets, st.integers(0, 3000), st.integers(1, 500))
def test_a_record_dated_later_never_changes_the_state_before(
    terms: Terms, start: date, visits: list[int], after: int, later: int
) -> None:
    facts = CoverFacts("C1", start, start)
    day = start + timedelta(days=after)
    history = make_history(treated(start), *(seen(start + timedelta(days=n)) for n in visits))
    more = make_history(
        treated(start), *(seen(start + timedelta(days=n)) for n in visits), seen(day + timedelta(days=later))
    )
    assert cover_on(terms, facts, history, WEEKDAYS, day) == cover_on(terms, facts, more, WEEKDAYS, day)


@given(days, st.integers(0, 200), st.integers(0, 200), st.integers(0, 200), st.none() | st.integers(0, 400))
def test_laid_dates_never_pass_the_end_of_cover(
    raw: date, before: int, after: int, grace: int, room: int | None
) -> None:
    end = raw + timedelta(days=room) if room is not None else None
    duty = ReinspectionTerms(window_before_days=before, window_after_days=after, grace_days=grace)
    terms = make_terms(reinspection=duty, roll=Roll.NEXT_OPEN_DAY, seasons=(SeasonTerms(9, 1, 11, 30),))
    dates = make_table(terms, WEEKDAYS).lay(raw, end)
    assert dates.opens_on <= dates.target_on <= dates.last_on <= dates.grace_until
    assert end is None or dates.grace_until <= end


@st.composite
def covers(draw: st.DrawFn) -> tuple[Terms, CoverFacts, VehicleHistory]:
    """A cover of two or three years with visits around the days that matter."""
    start = draw(days)
    offsets = st.integers(-20, 1100)
    duty = ReinspectionTerms(
        anchor=draw(st.sampled_from(Anchor)),
        missed_means=draw(st.sampled_from(MissedMeans)),
        grace_days=draw(st.integers(0, 40)),
        reduced_to_percent=Decimal(50),
    )
    terms = make_terms(
        length_months=draw(st.none() | st.integers(6, 30)),
        reinspection=draw(st.none() | st.just(duty)),
        touch_ups=(TouchUpTerms(draw(st.integers(1, 24))),),
        severe_exposure=draw(st.none() | st.just(SevereExposureTerms(CorrosivityCategory.C5, 6, 6))),
        claims=ClaimTerms(waiting_days=draw(st.integers(0, 60))),
        transfer=TransferTerms(notice_days=draw(st.none() | st.integers(0, 30))),
        distance_limit_km=draw(st.none() | st.just(Decimal(40_000))),
    )
    visits = [start + timedelta(days=n) for n in draw(st.lists(offsets, max_size=4, unique=True))]
    kinds = draw(st.lists(st.sampled_from(TreatmentKind), min_size=4, max_size=4))
    readings = [
        RecordedReading(Reading(start + timedelta(days=100 * n), Decimal(draw(st.integers(0, 80_000))), f"r{n}"))
        for n in range(draw(st.integers(0, 4)))
    ]
    sold = start + timedelta(days=draw(offsets))
    told = draw(st.none() | st.integers(0, 60).map(lambda n: sold + timedelta(days=n)))
    owners = [OwnerRecord("o0", "1", start), OwnerRecord("o1", "2", sold, told_on=told)]
    waivers = tuple(
        Waiver(
            f"reinspection:{start + timedelta(days=draw(offsets))}", start + timedelta(days=draw(offsets)), "goodwill",
            f"w{number}",
        )
        for number in range(draw(st.integers(0, 2)))
    )  # fmt: skip
    places = tuple(
        PlaceRecord(
            f"place {number}", draw(st.sampled_from([CorrosivityCategory.C5, None])),
            start + timedelta(days=draw(offsets)), start + timedelta(days=draw(offsets)),
        )
        for number in range(draw(st.integers(0, 2)))
    )  # fmt: skip
    facts = CoverFacts(
        "C1",
        start,
        start + timedelta(days=draw(st.integers(0, 40))),
        waivers=waivers,
        places=places,
        ended_on=draw(st.none() | offsets.map(lambda n: start + timedelta(days=abs(n) + 1))),
        end_reason="sold",
    )
    work = [treated(day, kind) for day, kind in zip(visits, kinds, strict=False) if kind.value != "first_treatment"]
    return terms, facts, make_history(treated(start), *work, *readings, *draw(st.sampled_from([owners, owners[:1]])))


@given(covers(), st.integers(-10, 1100), st.integers(0, 400))
def test_an_assessment_holds_through_its_last_day_and_says_what_the_plain_rules_say(
    cover: tuple[Terms, CoverFacts, VehicleHistory], after: int, later: int
) -> None:
    terms, facts, history = cover
    table = make_table(terms, WEEKDAYS)
    day = facts.sold_on + timedelta(days=after)
    found = assess_cover(table, facts, history, day)
    assert found.state == cover_on(terms, facts, history, WEEKDAYS, day)
    needed = [item for item in compute_due_items(terms, facts, history, WEEKDAYS, day) if item.needs_doing]
    for opens_by in (date.max, day):
        opened = tuple(item for item in needed if item.dates.opens_on <= opens_by)
        assert compute_what_needs_doing(terms, facts, history, WEEKDAYS, day, opens_by=opens_by) == opened
    kinds = list_open_kinds(terms, facts, history, WEEKDAYS, day)
    assert sorted(kinds) == sorted((item.kind, len(item.zones)) for item in opened)
    assert [kind for kind, _zones in kinds] == [item.kind for item in opened]
    if found.state.status in NO_MORE_COVER:
        needed = []
    told = sorted(found.list_what_needs_doing(), key=lambda item: item.key)
    assert told == sorted(needed, key=lambda item: item.key)
    then = day + timedelta(days=later)
    if found.holds_until is not None:
        assert found.holds_until >= day
        then = min(then, found.holds_until)
    again = assess_cover(table, facts, history, then)
    assert replace(again.state, day=day) == found.state
    assert sorted(again.list_what_needs_doing(), key=lambda item: item.key) == told


@given(covers())
def test_the_changes_of_a_cover_are_those_of_its_days(cover: tuple[Terms, CoverFacts, VehicleHistory]) -> None:
    terms, facts, history = cover
    first, last = facts.sold_on - timedelta(days=5), facts.sold_on + timedelta(days=500)
    changes = list_cover_changes(((date.min, terms),), facts, history, WEEKDAYS, first, last)
    walked = []
    day = first
    while day <= last:
        state = cover_on(terms, facts, history, WEEKDAYS, day)
        if not walked or (state.status, state.percent) != (walked[-1].status, walked[-1].percent):
            walked.append(state)
        day += timedelta(days=1)
    assert list(changes) == walked


def test_a_second_first_treatment_counts_as_a_visit_and_restarts_nothing() -> None:
    again = treated(date(2024, 3, 4), TreatmentKind.FIRST_TREATMENT)
    items = due(make_terms(), treated(START), again, as_of=date(2024, 6, 1))
    assert (items[0].status, items[0].done_on) == (DueStatus.DONE, date(2024, 3, 4))
    assert items[1].dates.target_on == date(2025, 3, 14)  # 24 months after the first one
    after_repair = treated(date(2024, 3, 4), TreatmentKind.AFTER_REPAIR)
    items = due(make_terms(), treated(START), after_repair, as_of=date(2024, 6, 1))
    assert items[0].status is DueStatus.MISSED


def test_a_distance_beyond_the_last_reading_is_foreseen_and_ends_nothing() -> None:
    terms = make_terms(distance_limit_km=Decimal(40_000))
    readings = [
        RecordedReading(Reading(START, Decimal(10_000), "r1")),
        RecordedReading(Reading(START + timedelta(days=100), Decimal(20_000), "r2")),
    ]
    history = make_history(treated(START), *readings)
    day = START + timedelta(days=301)
    told = foresee_distance(terms, history)
    limit, reached, ask = told
    assert limit == explain("cover.distance_ahead.odometer", kilometres=Decimal(40_000))
    assert (reached.code, reached.params["reached_on"]) == ("odometer.reached_at_rate", START + timedelta(days=300))
    assert ask == explain("cover.distance_ahead.ask")
    assert cover_on(terms, FACTS, history, ALWAYS_OPEN, day).status is CoverStatus.IN_FORCE
    passed = make_history(
        treated(START), *readings, RecordedReading(Reading(START + timedelta(days=300), Decimal(40_000), "r3"))
    )
    assert foresee_distance(terms, passed) == ()
    assert cover_on(terms, FACTS, passed, ALWAYS_OPEN, day).status is CoverStatus.EXPIRED
    assert foresee_distance(make_terms(), history) == ()


# The Gregorian calendar repeats after 400 years, which are 20,871 whole weeks: the only shift by weeks under which
# months too keep their lengths.
FOUR_CENTURIES = timedelta(weeks=20_871)


def shift_history(history: VehicleHistory, by: timedelta) -> VehicleHistory:
    return VehicleHistory(
        tuple(replace(work, day=work.day + by) for work in history.treatments),
        tuple(replace(look, day=look.day + by) for look in history.inspections),
        tuple(replace(r, reading=replace(r.reading, day=r.reading.day + by)) for r in history.readings),
        tuple(
            replace(owner, from_day=owner.from_day + by, told_on=owner.told_on + by if owner.told_on else None)
            for owner in history.owners
        ),
    )


@given(covers(), st.integers(-10, 1100))
def test_a_shift_of_everything_by_whole_weeks_shifts_every_date(
    cover: tuple[Terms, CoverFacts, VehicleHistory], after: int
) -> None:
    terms, facts, history = cover
    by = FOUR_CENTURIES
    later = replace(
        facts,
        sold_on=facts.sold_on + by,
        registered_on=facts.registered_on + by,
        waivers=tuple(
            replace(waiver, day=waiver.day + by, due_key=f"reinspection:{waiver.raw_day + by}")
            for waiver in facts.waivers
        ),
        places=tuple(
            replace(place, from_day=place.from_day + by, known_on=place.known_on + by) for place in facts.places
        ),
        ended_on=facts.ended_on + by if facts.ended_on else None,
    )
    day = facts.sold_on + timedelta(days=after)
    here = cover_on(terms, facts, history, WEEKDAYS, day)
    there = cover_on(terms, later, shift_history(history, by), WEEKDAYS, day + by)
    assert (there.status, there.percent) == (here.status, here.percent)
    assert there.since == (here.since + by if here.since else None)
    assert there.last_day == (here.last_day + by if here.last_day else None)
    items = compute_due_items(terms, facts, history, WEEKDAYS, day)
    shifted = compute_due_items(terms, later, shift_history(history, by), WEEKDAYS, day + by)
    assert [(i.kind, i.status, i.dates.target_on + by, i.dates.grace_until + by) for i in items] == [
        (i.kind, i.status, i.dates.target_on, i.dates.grace_until) for i in shifted
    ]


@given(days, st.integers(-500, 500), st.integers(0, 90), st.integers(0, 60), st.integers(0, 60))
def test_window_and_grace_shift_by_any_whole_weeks_where_there_are_no_holidays(
    raw: date, weeks: int, before: int, after: int, grace: int
) -> None:
    duty = ReinspectionTerms(window_before_days=before, window_after_days=after, grace_days=grace)
    terms, by = make_terms(reinspection=duty), timedelta(weeks=weeks)
    table = make_table(terms, WEEKDAYS)
    here, there = table.lay(raw, None), table.lay(raw + by, None)
    for name in ("opens_on", "target_on", "last_on", "grace_until"):
        assert getattr(there, name) == getattr(here, name) + by
