"""Reinspections one after another: which interval counts, and which visits are told beside the one that did it."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from scheduling.covers.rules.due_item import DueItem, DueStatus
from scheduling.covers.rules.facts import CoverFacts, Waiver, find_needed_zones, list_unanswered
from scheduling.terms.rules.terms import Anchor, MissedMeans, ReinspectionTerms, Terms
from tests.explained import list_codes, read_params
from tests.scheduling.test_due_and_cover import FACTS, START, due, make_history, make_terms, seen, treated
from treatments.enums import FactKind, InspectionKind
from treatments.records.rules.history import InspectionRecord, VehicleHistory
from treatments.rules.explanation import Explanation, explain
from treatments.vehicles.rules.coatable import StandingFact

DAY = timedelta(days=1)
FIRST_TARGET = date(2024, 3, 14)
OPENS, GRACE = date(2024, 1, 14), date(2024, 4, 13)


def ask(**duty: object) -> Terms:
    return make_terms(reinspection=ReinspectionTerms(**duty))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("anchor", "targets"),
    [
        (Anchor.ANNIVERSARY, [date(2025, 3, 14), date(2026, 3, 14), date(2027, 3, 14)]),
        (Anchor.LAST_VISIT, [date(2025, 3, 14), date(2026, 3, 4), date(2027, 2, 20)]),
    ],
)
def test_the_first_comes_after_its_own_interval_and_the_others_after_theirs(
    anchor: Anchor, targets: list[date]
) -> None:
    terms = ask(first_after_months=24, interval_months=12, anchor=anchor)
    items = due(terms, treated(START), seen(date(2025, 3, 4)), seen(date(2026, 2, 20)), as_of=date(2026, 3, 1))
    assert [item.dates.target_on for item in items] == targets
    assert [item.key for item in items] == ["reinspection:1", "reinspection:2", "reinspection:3"]
    assert [item.status for item in items] == [DueStatus.DONE, DueStatus.DONE, DueStatus.OPEN]


def first(*records: object, as_of: date, facts: CoverFacts = FACTS, **duty: object) -> DueItem:
    return due(ask(**duty), treated(START), *records, as_of=as_of, facts=facts)[0]


EARLY, PARTLY = "due.early_visit", "due.partial_inspection"
WAIVED = replace(FACTS, waivers=(Waiver("reinspection:2024-03-14", OPENS, "flood", "change 1"),))


@pytest.mark.parametrize(("early", "is_told"), [(START, False), (START + DAY, True), (OPENS - DAY, True)])
def test_a_visit_before_the_window_is_told_where_nothing_did_it(early: date, is_told: bool) -> None:
    for facts, status in ((FACTS, DueStatus.MISSED), (WAIVED, DueStatus.WAIVED)):
        found = first(seen(early), as_of=GRACE + DAY, facts=facts)
        assert (found.status, EARLY in list_codes(found.reasons)) == (status, is_told)
    done = first(seen(early), seen(OPENS), as_of=GRACE + DAY)
    assert (done.status, done.done_on, EARLY in list_codes(done.reasons)) == (DueStatus.DONE, OPENS, False)


def test_of_two_early_visits_the_later_is_told_and_none_that_belongs_to_the_one_before() -> None:
    found = first(seen(OPENS - 9 * DAY), seen(OPENS - DAY), as_of=GRACE)
    assert read_params(found.reasons, EARLY) == {"visited_on": OPENS - DAY, "opens_on": OPENS}
    for visit, is_told in ((GRACE, False), (GRACE + DAY, True)):
        second = due(ask(), treated(START), seen(visit), as_of=date(2025, 2, 1))[1]
        assert (second.status, EARLY in list_codes(second.reasons)) == (DueStatus.OPEN, is_told)


def test_where_the_last_visit_counts_no_visit_is_too_early() -> None:
    for day in (START + DAY, OPENS - DAY):
        found = first(seen(day), as_of=GRACE + DAY, anchor=Anchor.LAST_VISIT)
        assert (found.status, found.done_on, EARLY in list_codes(found.reasons)) == (DueStatus.DONE, day, False)
        assert found.reasons[-1] == explain("due.done.early", done_on=day)


def partly(day: date) -> InspectionRecord:
    return replace(seen(day), record=f"look {day}", answered=frozenset({"rocker_right"}))


@pytest.mark.parametrize(("day", "is_told"), [(OPENS - DAY, False), (OPENS, True), (GRACE, True), (GRACE + DAY, False)])
def test_an_inspection_that_leaves_a_zone_out_is_told_where_nothing_did_it(day: date, is_told: bool) -> None:
    missed = first(partly(day), as_of=GRACE + DAY)
    assert (missed.status, missed.done_on, PARTLY in list_codes(missed.reasons)) == (DueStatus.MISSED, None, is_told)
    done = first(partly(day), seen(GRACE), as_of=GRACE + DAY)
    assert (done.status, PARTLY in list_codes(done.reasons)) == (DueStatus.DONE, False)


@pytest.mark.parametrize(
    ("visit", "says"),
    [
        (OPENS, explain("due.done.in_time", done_on=OPENS)),
        (FIRST_TARGET, explain("due.done.in_time", done_on=FIRST_TARGET)),
        (FIRST_TARGET + DAY, explain("due.done.late", done_on=FIRST_TARGET + DAY, grace_until=GRACE)),
    ],
)
def test_a_visit_in_the_window_is_in_time_and_one_in_the_grace_is_late(visit: date, says: Explanation) -> None:
    found = first(seen(visit), as_of=visit)
    assert (found.done_on, found.records) == (visit, (f"inspection {visit}",))
    assert found.reasons[-1] == says


@pytest.mark.parametrize("means", MissedMeans)
def test_a_missed_one_is_made_up_for_by_the_first_visit_after_it_but_not_where_it_lapses(means: MissedMeans) -> None:
    visits = [seen(GRACE + 2 * DAY), seen(GRACE + 5 * DAY)]
    items = due(ask(missed_means=means), treated(START), *visits, as_of=GRACE + 9 * DAY)
    if means is MissedMeans.LAPSES:
        assert [(item.status, item.done_on, item.records) for item in items] == [(DueStatus.MISSED, None, ())]
    else:
        assert [(item.status, item.done_on) for item in items] == [
            (DueStatus.MISSED, GRACE + 2 * DAY),
            (DueStatus.OPEN, None),
        ]
        assert items[0].records == (visits[0].record,)


@pytest.mark.parametrize(
    ("grace_days", "code", "until"),
    [(30, "due.missed.grace", {"grace_until": GRACE}), (0, "due.missed.last_day", {"last_on": FIRST_TARGET})],
)
def test_a_missed_one_names_the_day_until_which_it_could_be_done(
    grace_days: int, code: str, until: dict[str, date]
) -> None:
    found = first(as_of=date(2024, 6, 1), grace_days=grace_days)
    assert read_params(found.reasons, code).items() >= {"opens_on": OPENS, **until}.items()
    assert "due.made_up_for" not in list_codes(found.reasons)


@pytest.mark.parametrize(("coated_on", "out_on", "is_needed"), [(-1, 1, True), (0, 1, False), (-1, 0, False)])
def test_a_zone_is_needed_where_it_was_coated_before_and_is_in_the_work(
    coated_on: int, out_on: int, is_needed: bool
) -> None:
    fact = StandingFact("fact 1", FactKind.ZONE_FORBIDDEN, OPENS + out_on * DAY, zones=("rocker_left",))
    needed = find_needed_zones({"rocker_left": OPENS + coated_on * DAY}, VehicleHistory(facts=(fact,)), OPENS)
    assert needed == ({"rocker_left"} if is_needed else set())


def test_an_inspection_leaves_the_coated_zones_unanswered_that_it_says_nothing_of() -> None:
    look = InspectionRecord("inspection 1", OPENS, InspectionKind.INTAKE)
    assert list_unanswered(make_terms(), make_history(treated(START), look), look) == ("rocker_left",)
    assert list_unanswered(make_terms(), make_history(look), look) == ()
