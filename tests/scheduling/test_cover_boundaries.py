"""The state of a cover on both sides of each day on which it changes, since when, and until when an answer holds."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from scheduling.covers.rules.cover import CoverOnDay, assess_cover, cover_on, find_terms_on, list_cover_changes
from scheduling.covers.rules.dates import make_table
from scheduling.covers.rules.due_item import DueKind, DueStatus
from scheduling.covers.rules.ends import CoverStatus
from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.terms.rules.terms import (
    ClaimTerms,
    EntryTerms,
    MissedMeans,
    ReinspectionTerms,
    Terms,
    TouchUpTerms,
)
from tests.scheduling.test_due_and_cover import ALWAYS_OPEN, FACTS, START, make_history, make_terms, seen, treated
from tests.scheduling.test_ends_boundaries import owned, read
from treatments.enums import CorrosivityCategory, TreatmentKind
from treatments.records.rules.history import PlaceRecord, VehicleHistory
from treatments.rules.explanation import ZoneCode, explain

DAY = timedelta(days=1)
PENDING, IN_FORCE, SUSPENDED = CoverStatus.PENDING, CoverStatus.IN_FORCE, CoverStatus.SUSPENDED
LAPSED, EXPIRED = CoverStatus.LAPSED, CoverStatus.EXPIRED
FIRST = treated(START)
# Due on 2024-03-14, with thirty days of grace.
GRACE = date(2024, 4, 13)
NO_DUTY = make_terms(reinspection=None)


def on(days: int, terms: Terms, *records: object, facts: CoverFacts = FACTS) -> CoverOnDay:
    return cover_on(terms, facts, make_history(FIRST, *records), ALWAYS_OPEN, START + days * DAY)


def holds_until(day: date, terms: Terms, *records: object, facts: CoverFacts = FACTS) -> date | None:
    history = make_history(*records)
    return assess_cover(make_table(terms, ALWAYS_OPEN), facts, history, day).holds_until


def list_codes(state: CoverOnDay) -> list[str]:
    return [explanation.code for explanation in state.explanations]


def test_before_the_first_treatment_a_cover_is_pending_since_no_day() -> None:
    state = on(-1, NO_DUTY)
    assert (state.status, state.since, state.last_day, state.records) == (PENDING, None, None, ())
    assert list_codes(state) == ["cover.pending.no_treatment"]
    assert on(0, NO_DUTY).status is IN_FORCE


def test_a_cover_runs_from_the_day_of_its_registration() -> None:
    facts = replace(FACTS, registered_on=START + 10 * DAY)
    before, after = on(9, NO_DUTY, facts=facts), on(10, NO_DUTY, facts=facts)
    assert (before.status, before.since) == (PENDING, START)
    assert before.explanations == (explain("cover.pending.registered_later", registered_on=START + 10 * DAY),)
    assert (after.status, after.since, after.records) == (IN_FORCE, START + 10 * DAY, (FIRST.record,))
    assert not before.projected and not after.projected
    unlimited = explain("cover.without_end")
    assert after.explanations == (explain("cover.in_force", since_on=START + 10 * DAY, until=unlimited),)
    ends = make_terms(reinspection=None, length_months=12)
    until = explain("cover.until", last_on=date(2024, 3, 14))
    assert on(0, ends).explanations == (explain("cover.in_force", since_on=START, until=until),)


def test_a_cover_runs_after_its_waiting_period() -> None:
    terms = make_terms(reinspection=None, claims=ClaimTerms(waiting_days=30))
    before, after = on(29, terms), on(30, terms)
    assert (before.status, before.since) == (PENDING, START)
    assert before.explanations == (explain("cover.pending.waiting", from_on=START + 30 * DAY, days=30),)
    assert (after.status, after.since) == (IN_FORCE, START + 30 * DAY)
    # Registered later than the waiting period ends, it runs from its registration, and of both that is told first.
    facts = replace(FACTS, registered_on=START + 40 * DAY)
    assert list_codes(on(29, terms, facts=facts)) == ["cover.pending.registered_later"]
    assert on(40, terms, facts=facts).since == START + 40 * DAY


def test_a_cover_waits_for_the_zones_that_the_terms_want() -> None:
    terms = make_terms(reinspection=None, entry=EntryTerms(required_zones=("rocker_left", "hood")))
    hood = treated(START + 20 * DAY, TreatmentKind.AFTER_REPAIR, "hood", "rocker_left")
    before, after = on(19, terms, hood), on(20, terms, hood)
    assert (before.status, before.since) == (PENDING, START)
    assert before.explanations == (explain("cover.pending.zones", zones=(ZoneCode("hood"),)),)
    assert (after.status, after.since) == (IN_FORCE, START + 20 * DAY)
    # A zone that was coated before the first treatment is not done; a later coat of a zone moves nothing.
    earlier = treated(START - DAY, TreatmentKind.AFTER_REPAIR, "hood")
    assert on(5, terms, earlier).status is PENDING
    again = treated(START + 50 * DAY, TreatmentKind.ANNUAL_TOUCH_UP, "hood")
    assert on(60, terms, hood, again).since == START + 20 * DAY
    # What is wanted first is told first: the registration, then the zones, then the wait.
    waiting = replace(terms, claims=ClaimTerms(waiting_days=90))
    assert list_codes(on(5, waiting)) == ["cover.pending.zones"]
    late = replace(FACTS, registered_on=START + 6 * DAY)
    assert list_codes(on(5, waiting, facts=late)) == ["cover.pending.registered_later"]
    assert on(90, waiting, hood).since == START + 90 * DAY


def test_a_projected_end_is_one_until_a_reading_proves_it() -> None:
    terms = make_terms(reinspection=None, distance_limit_km=Decimal(40_000))
    readings = [read(0, 10_000), read(101, 40_300)]  # 40,000 on day 100, by the line
    assert on(99, terms, *readings).status is IN_FORCE
    assert (on(100, terms, *readings).status, on(100, terms, *readings).projected) == (EXPIRED, True)
    assert (on(101, terms, *readings).status, on(101, terms, *readings).projected) == (EXPIRED, False)
    assert on(101, terms, *readings).since == START + 100 * DAY


def test_of_two_ends_the_earlier_counts_and_it_names_what_it_rests_on() -> None:
    terms = make_terms(reinspection=None, length_months=12, registration_deadline_days=5)
    facts = replace(FACTS, registered_on=START + 6 * DAY)
    assert [(on(n, terms, facts=facts).status, on(n, terms, facts=facts).last_day) for n in (5, 6, 400)] == [
        (PENDING, date(2024, 3, 14)),
        (LAPSED, date(2024, 3, 14)),
        (LAPSED, date(2024, 3, 14)),
    ]
    assert on(366, replace(terms, registration_deadline_days=None)).status is IN_FORCE
    assert on(367, replace(terms, registration_deadline_days=None)).since == date(2024, 3, 15)


@pytest.mark.parametrize(
    ("means", "percent", "status", "since", "pays"),
    [
        (MissedMeans.SUSPENDS, None, SUSPENDED, GRACE + DAY, 100),
        (MissedMeans.LAPSES, None, LAPSED, GRACE + DAY, 100),
        (MissedMeans.REDUCES, Decimal(40), IN_FORCE, GRACE + DAY, 40),
        (MissedMeans.REDUCES, Decimal(0), IN_FORCE, GRACE + DAY, 0),
        (MissedMeans.REDUCES, None, IN_FORCE, GRACE + DAY, 100),
        (MissedMeans.NOTHING, None, IN_FORCE, START, 100),
    ],
)
def test_what_a_missed_reinspection_does_from_the_day_after_its_grace(
    means: MissedMeans, percent: Decimal | None, status: CoverStatus, since: date, pays: int
) -> None:
    duty = ReinspectionTerms(missed_means=means, reduced_to_percent=percent, grace_days=30)
    terms = make_terms(reinspection=duty)
    history = make_history(FIRST)
    before = cover_on(terms, FACTS, history, ALWAYS_OPEN, GRACE)
    assert (before.status, before.since, before.percent) == (IN_FORCE, START, Decimal(100))
    after = cover_on(terms, FACTS, history, ALWAYS_OPEN, GRACE + DAY)
    assert (after.status, after.since, after.percent) == (status, since, Decimal(pays))


def test_a_visit_cures_a_suspension_from_its_day_and_the_last_one_missed_is_told() -> None:
    terms = make_terms()
    cured = seen(GRACE + 10 * DAY)
    history = make_history(FIRST, cured)
    for day, status, since in (
        (GRACE + 9 * DAY, SUSPENDED, GRACE + DAY),
        (GRACE + 10 * DAY, IN_FORCE, GRACE + 10 * DAY),
    ):
        state = cover_on(terms, FACTS, history, ALWAYS_OPEN, day)
        assert (state.status, state.since) == (status, since)
    assert cover_on(terms, FACTS, history, ALWAYS_OPEN, GRACE + 10 * DAY).records == (FIRST.record, cured.record)
    # The next one is missed too: suspended since then; made up for as well, in force since the second visit.
    second_grace = date(2025, 4, 13)
    state = cover_on(terms, FACTS, history, ALWAYS_OPEN, second_grace + DAY)
    assert (state.status, state.since) == (SUSPENDED, second_grace + DAY)
    again = make_history(FIRST, cured, seen(second_grace + 5 * DAY))
    state = cover_on(terms, FACTS, again, ALWAYS_OPEN, second_grace + 5 * DAY)
    assert (state.status, state.since) == (IN_FORCE, second_grace + 5 * DAY)


def test_a_reduced_cover_is_reduced_since_the_first_one_missed() -> None:
    duty = ReinspectionTerms(missed_means=MissedMeans.REDUCES, reduced_to_percent=Decimal(50))
    history = make_history(FIRST, seen(GRACE + 10 * DAY))
    state = cover_on(make_terms(reinspection=duty), FACTS, history, ALWAYS_OPEN, date(2025, 6, 1))
    assert (state.status, state.since, state.percent) == (IN_FORCE, GRACE + DAY, Decimal(50))
    reduced, target, missed, _made_up_for = state.explanations
    until = explain("cover.without_end")
    assert reduced == explain("cover.in_force.reduced", until=until, percent=Decimal(50), since_on=GRACE + DAY)
    assert (target.code, target.params["months"]) == ("due.target.first_treatment", 12)
    assert missed.params["consequence"] == explain("due.missed_means.reduces", percent=Decimal(50))


# Until when an answer holds.


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (START - 2 * DAY, START - DAY),
        (START - DAY, START - DAY),
        (START, GRACE),
        (GRACE, GRACE),
    ],
)
def test_an_answer_holds_until_the_day_before_the_next_change(day: date, expected: date) -> None:
    assert holds_until(day, make_terms(), FIRST) == expected


def test_an_answer_for_which_nothing_comes_holds_for_ever() -> None:
    assert holds_until(START, NO_DUTY, FIRST) is None
    assert holds_until(START, NO_DUTY) is None
    lapses = make_terms(reinspection=ReinspectionTerms(missed_means=MissedMeans.LAPSES))
    assert holds_until(GRACE, lapses, FIRST) == GRACE
    assert holds_until(GRACE + DAY, lapses, FIRST) is None


@pytest.mark.parametrize(
    ("terms", "changes", "coming"),
    [
        (NO_DUTY, {"registered_on": START + 10 * DAY}, 10),
        (NO_DUTY, {"ended_on": START + 20 * DAY, "end_reason": "sold"}, 20),
        (NO_DUTY, {"waivers": (Waiver("reinspection:2024-03-14", START + 7 * DAY, "x", "w"),)}, 7),
        (
            NO_DUTY,
            {"places": (PlaceRecord("p", CorrosivityCategory.C5, START + 8 * DAY, START + 3 * DAY),)},
            8,
        ),
        (make_terms(reinspection=None, claims=ClaimTerms(waiting_days=30)), {}, 30),
        (make_terms(reinspection=None, length_months=12), {}, 367),
        (make_terms(reinspection=None, registration_deadline_days=4), {"registered_on": START + 9 * DAY}, 5),
    ],
)
def test_what_changes_a_state_next(terms: Terms, changes: dict[str, object], coming: int) -> None:
    facts = replace(FACTS, **changes)  # type: ignore[arg-type]
    assert holds_until(START, terms, FIRST, facts=facts) == START + (coming - 1) * DAY
    assert holds_until(START + (coming - 1) * DAY, terms, FIRST, facts=facts) == START + (coming - 1) * DAY
    assert holds_until(START + coming * DAY, terms, FIRST, facts=facts) != START + (coming - 1) * DAY


def test_records_of_later_days_and_open_touch_ups_change_it_too() -> None:
    assert holds_until(START, NO_DUTY, FIRST, treated(START + 12 * DAY)) == START + 11 * DAY
    assert holds_until(START, NO_DUTY, FIRST, owned(-5), owned(14)) == START + 13 * DAY
    films = make_terms(reinspection=None, touch_ups=(TouchUpTerms(12),))
    assert holds_until(START, films, FIRST) == GRACE
    # A reading that proves a projected end, once it has come.
    distance = make_terms(reinspection=None, distance_limit_km=Decimal(40_000))
    readings = [read(0, 10_000), read(105, 41_500)]
    assert holds_until(START, distance, FIRST, *readings) == START + 99 * DAY
    assert holds_until(START + 100 * DAY, distance, FIRST, *readings) == START + 104 * DAY
    assert holds_until(START + 105 * DAY, distance, FIRST, *readings) is None


def test_an_assessment_lists_its_duties_and_what_needs_doing_while_there_is_a_cover() -> None:
    terms = make_terms(touch_ups=(TouchUpTerms(12),), length_months=24)
    history = make_history(FIRST)
    table = make_table(terms, ALWAYS_OPEN)
    found = assess_cover(table, FACTS, history, date(2024, 4, 14))
    assert [(item.kind, item.status) for item in found.list_due_items()] == [
        (DueKind.REINSPECTION, DueStatus.MISSED),
        (DueKind.TOUCH_UP, DueStatus.MISSED),
        (DueKind.REINSPECTION, DueStatus.OPEN),
    ]
    assert len(found.list_what_needs_doing()) == 3
    # What was done asks for nobody.
    coated = make_history(FIRST, treated(date(2024, 3, 1)))
    kept = assess_cover(table, FACTS, coated, date(2024, 4, 14))
    needed = [item.status for item in kept.list_what_needs_doing()]
    assert needed == [DueStatus.OPEN] * 2 and len(kept.list_due_items()) == 4
    assert assess_cover(table, FACTS, history, date(2024, 4, 14), with_touch_ups=False).touch_ups == ()
    assert assess_cover(table, FACTS, history, date(2025, 3, 14)).list_what_needs_doing()
    over = assess_cover(table, FACTS, history, date(2025, 3, 15))
    assert (over.state.status, over.list_what_needs_doing()) == (EXPIRED, [])


# Versions of terms.


def test_a_cover_is_under_the_version_that_began_last() -> None:
    one, two = make_terms(version=1), make_terms(version=2)
    by_day = ((START, one), (START + 10 * DAY, two))
    assert [find_terms_on(by_day, START + n * DAY).version for n in (-1, 0, 9, 10, 11)] == [1, 1, 1, 2, 2]


def test_the_changes_of_a_cover_are_told_from_the_first_day_through_the_last() -> None:
    short = make_terms(reinspection=None, length_months=12)
    reduced = make_terms(reinspection=None, length_months=6)
    by_day = ((START, short), (START + 300 * DAY, reduced))

    def tell(first: int, last: int, history: VehicleHistory) -> list[tuple[CoverStatus, int]]:
        states = list_cover_changes(by_day, FACTS, history, ALWAYS_OPEN, START + first * DAY, START + last * DAY)
        return [(state.status, (state.day - START).days) for state in states]

    history = make_history(FIRST)
    assert tell(-5, 400, history) == [(PENDING, -5), (IN_FORCE, 0), (EXPIRED, 300)]
    assert tell(-5, 299, history) == [(PENDING, -5), (IN_FORCE, 0)]
    assert tell(-5, 300, history) == [(PENDING, -5), (IN_FORCE, 0), (EXPIRED, 300)]
    assert tell(300, 300, history) == [(EXPIRED, 300)]
    assert tell(301, 300, history) == []
    percent = make_terms(
        reinspection=ReinspectionTerms(missed_means=MissedMeans.REDUCES, reduced_to_percent=Decimal(50))
    )
    for last in (GRACE + DAY, GRACE + 500 * DAY):
        states = list_cover_changes(((START, percent),), FACTS, history, ALWAYS_OPEN, START, last)
        assert [(state.day, state.percent) for state in states] == [(START, 100), (GRACE + DAY, 50)]
    cured = make_history(FIRST, seen(GRACE + 10 * DAY))
    states = list_cover_changes(((START, make_terms()),), FACTS, cured, ALWAYS_OPEN, START, GRACE + 20 * DAY)
    assert [state.status for state in states] == [IN_FORCE, SUSPENDED, IN_FORCE]
    # Before the first version it is under that one, and the next one is not passed over.
    late = ((START + 5 * DAY, NO_DUTY), (START + 300 * DAY, reduced))
    states = list_cover_changes(late, FACTS, history, ALWAYS_OPEN, START, START + 400 * DAY)
    assert [(state.status, state.day) for state in states] == [(IN_FORCE, START), (EXPIRED, START + 300 * DAY)]
