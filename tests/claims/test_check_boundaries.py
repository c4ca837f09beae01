"""The rules about a claim as a whole, each on both sides of its boundary, with the records that it names."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from claims.rules.check import (
    check_claim,
    check_damage_covered,
    check_distance,
    check_entry_on_record,
    check_in_force,
    check_in_service,
    check_reinspections,
    check_reported_in_time,
)
from claims.rules.claim import Finding
from scheduling.covers.rules.due import compute_due_items
from scheduling.covers.rules.ends import CoverStatus
from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.terms.rules.terms import DistanceFrom, EntryTerms, MissedMeans, ReinspectionTerms
from tests.claims.test_check_claim import (
    CALENDAR,
    CLAIM,
    FACTS,
    FIRST,
    FOUND,
    HISTORY,
    INTAKE,
    START,
    TERMS,
    TOUCH_UP,
    check,
)
from tests.explained import list_codes, read_params
from treatments.enums import Answer, DamageKind
from treatments.records.rules.history import InspectedZone, RecordedReading, VehicleHistory
from treatments.records.rules.odometer import Reading
from treatments.rules.explanation import Label, explain

DAY = timedelta(days=1)
HOLDS, FAILS, CANNOT_BE_TOLD = Answer.HOLDS, Answer.FAILS, Answer.CANNOT_BE_TOLD


def read(*readings: tuple[date, int]) -> VehicleHistory:
    """Return the usual history with these odometer readings alone."""
    return replace(
        HISTORY,
        readings=tuple(
            RecordedReading(Reading(day, Decimal(km), f"reading {n}")) for n, (day, km) in enumerate(readings, start=1)
        ),
    )


# The cover on the day of discovery.


@pytest.mark.parametrize(
    ("found_on", "expected"),
    [
        (START + 29 * DAY, FAILS),
        (START + 30 * DAY, HOLDS),
        (date(2024, 12, 31), HOLDS),
        (date(2025, 1, 1), FAILS),
    ],
)
def test_in_force_between_the_waiting_period_and_the_end(found_on: date, expected: Answer) -> None:
    facts = replace(FACTS, ended_on=date(2025, 1, 1), end_reason="sold")
    claim = replace(CLAIM, discovered_on=found_on, reported_on=found_on)
    finding = check_in_force(claim, TERMS, facts, HISTORY, CALENDAR)
    assert finding.answer is expected
    assert finding.records[0] == "cover C1"
    assert "in_force.when_reported" not in list_codes(finding.explanations)


def test_a_state_that_was_another_when_it_was_reported_is_told() -> None:
    facts = replace(FACTS, ended_on=FOUND + 10 * DAY, end_reason="sold")
    for reported_on, is_told in ((FOUND + 9 * DAY, False), (FOUND + 10 * DAY, True)):
        finding = check_in_force(replace(CLAIM, reported_on=reported_on), TERMS, facts, HISTORY, CALENDAR)
        assert finding.answer is HOLDS
        ended = explain("in_force.when_reported", reported_on=reported_on, status=Label(CoverStatus.ENDED))
        assert (ended in finding.explanations) is is_told


@pytest.mark.parametrize(
    ("second", "expected"),
    [(date(2024, 9, 20), CANNOT_BE_TOLD), (FOUND, FAILS), (date(2024, 8, 1), FAILS)],
)
def test_an_end_that_only_a_projection_gives_cannot_be_told(second: date, expected: Answer) -> None:
    """At 100,000 km it ended; the line to a reading after the discovery says that this was before it."""
    history = read((START, 10_000), (second, 190_000))
    claim = replace(CLAIM, kilometres=None, reported_on=FOUND)
    assert check_in_force(claim, TERMS, FACTS, history, CALENDAR).answer is expected


def test_without_a_day_of_discovery_each_rule_that_needs_it_asks_for_it() -> None:
    found = check(replace(CLAIM, discovered_on=None))
    asked = {finding.rule for finding in found.findings if explain("claim.day_not_given") in finding.explanations}
    assert asked == {"in_force", "distance", "reported_in_time", "reinspections"}
    assert all(finding.answer is CANNOT_BE_TOLD for finding in found.findings if finding.rule in asked)


@pytest.mark.parametrize(
    ("found_on", "in_service_on", "is_asked"),
    [
        (date(2024, 1, 2), date(2024, 1, 3), True),
        (date(2024, 1, 3), date(2024, 1, 3), False),
        (date(2024, 1, 4), date(2024, 1, 3), False),
        (None, date(2024, 1, 3), False),
        (date(2024, 1, 2), None, False),
    ],
)
def test_a_discovery_before_the_vehicle_was_in_service(
    found_on: date | None, in_service_on: date | None, is_asked: bool
) -> None:
    found = check_in_service(replace(CLAIM, discovered_on=found_on), in_service_on)
    assert [finding.answer for finding in found] == [CANNOT_BE_TOLD] * is_asked
    assert [finding.records for finding in found] == [("claim R1",)] * is_asked


def test_the_day_of_the_report_stands_in_for_a_discovery_that_is_not_known() -> None:
    """What is on record on the day of the report speaks; what came a day later does not."""
    coat_later = replace(TOUCH_UP, day=CLAIM.reported_on + DAY)
    history = replace(HISTORY, treatments=(coat_later,))
    for reported_on, expected in ((CLAIM.reported_on, FAILS), (coat_later.day, HOLDS)):
        found = check(replace(CLAIM, discovered_on=None, reported_on=reported_on), history=history)
        treated = next(finding for finding in found.findings if finding.rule == "treated")
        assert treated.answer is expected


def test_the_distance_that_the_claim_states_is_a_reading_of_the_day_of_discovery() -> None:
    for km, found_on, expected in (
        (Decimal(40_000), FOUND, HOLDS),
        (None, FOUND, CANNOT_BE_TOLD),
        (Decimal(40_000), None, CANNOT_BE_TOLD),
    ):
        found = check(replace(CLAIM, kilometres=km, discovered_on=found_on))
        distance = next(finding for finding in found.findings if finding.rule == "distance")
        assert distance.answer is expected
        assert ("claim R1" in distance.records) is (expected is HOLDS)


# Distance.


@pytest.mark.parametrize(("km", "expected"), [(99_999, HOLDS), (100_000, FAILS), (100_001, FAILS)])
def test_the_limit_on_the_odometer(km: int, expected: Answer) -> None:
    finding = check_distance(CLAIM, TERMS, read((START, 10_000), (FOUND, km)))
    assert finding.answer is expected
    assert finding.records == ("reading 1", "reading 2")
    told = explain("distance.odometer", kilometres=km, found_on=date(2024, 9, 1), limit=100_000)
    assert finding.explanations == (told,)


@pytest.mark.parametrize(("km", "expected"), [(109_999, HOLDS), (110_000, FAILS), (110_001, FAILS)])
def test_the_limit_since_the_first_treatment(km: int, expected: Answer) -> None:
    terms = replace(TERMS, distance_from=DistanceFrom.FIRST_TREATMENT)
    finding = check_distance(CLAIM, terms, read((START, 10_000), (FOUND, km)))
    assert finding.answer is expected
    assert read_params(finding.explanations, "distance.driven")["kilometres"] == km - 10_000


@pytest.mark.parametrize(
    ("history", "limit", "expected"),
    [
        (read(), Decimal(1), CANNOT_BE_TOLD),
        (read((START, 10_000)), Decimal(100_000), CANNOT_BE_TOLD),
        (read(), None, HOLDS),
        (replace(read((FOUND, 10)), treatments=()), Decimal(100_000), HOLDS),
    ],
)
def test_without_readings_the_distance_cannot_be_told(
    history: VehicleHistory, limit: Decimal | None, expected: Answer
) -> None:
    assert check_distance(CLAIM, replace(TERMS, distance_limit_km=limit), history).answer is expected


@pytest.mark.parametrize(
    "history",
    [
        read((START + DAY, 10_000), (FOUND, 20_000)),
        replace(read((FOUND, 10_000)), treatments=()),
    ],
)
def test_the_distance_since_a_first_treatment_without_a_reading_is_not_known(history: VehicleHistory) -> None:
    terms = replace(TERMS, distance_from=DistanceFrom.FIRST_TREATMENT)
    finding = check_distance(CLAIM, terms, history)
    assert finding.answer is CANNOT_BE_TOLD
    assert finding.explanations == (explain("distance.start_not_recorded"),)


@pytest.mark.parametrize(
    ("readings", "expected", "proof"),
    [
        # Between two readings: a later one within the limit proves that it was not reached.
        ([(START, 10_000), (FOUND + DAY, 99_999)], HOLDS, "later_within"),
        ([(START, 10_000), (FOUND + DAY, 100_000)], CANNOT_BE_TOLD, "not_proven"),
        # So does one of the day itself that is lower than an earlier one, and so not believed.
        ([(START, 10_000), (FOUND - DAY, 90_000), (FOUND, 50_000)], HOLDS, "later_within"),
        # An earlier one at or beyond the limit proves that it was.
        ([(START, 10_000), (FOUND - DAY, 100_000)], FAILS, "earlier_beyond"),
        ([(START, 10_000), (FOUND - DAY, 99_999)], CANNOT_BE_TOLD, "not_proven"),
        ([(START, 10_000), (FOUND - DAY, 20_000)], CANNOT_BE_TOLD, "not_proven"),
        ([(START, 100_000), (FOUND + DAY, 99_999), (FOUND + 2 * DAY, 100_500)], CANNOT_BE_TOLD, "not_proven"),
    ],
)
def test_a_projected_distance_is_only_told_where_a_reading_proves_it(
    readings: list[tuple[date, int]], expected: Answer, proof: str
) -> None:
    finding = check_distance(CLAIM, TERMS, read(*readings))
    assert finding.answer is expected
    assert list_codes(finding.explanations) == ["distance.odometer", f"distance.projected.{proof}"]


@pytest.mark.parametrize(("km", "expected"), [(109_999, HOLDS), (110_000, CANNOT_BE_TOLD)])
def test_a_projection_since_the_first_treatment_is_proven_from_there(km: int, expected: Answer) -> None:
    terms = replace(TERMS, distance_from=DistanceFrom.FIRST_TREATMENT)
    assert check_distance(CLAIM, terms, read((START, 10_000), (FOUND + DAY, km))).answer is expected


# Damage and notice.


def test_only_the_kinds_of_damage_that_the_terms_cover_are_covered() -> None:
    covered = TERMS.claims.damage_covered
    for kind in DamageKind:
        finding = check_damage_covered(replace(CLAIM, damage=kind), TERMS)
        assert finding.answer is (HOLDS if kind in covered else FAILS)
    nothing = replace(TERMS, claims=replace(TERMS.claims, damage_covered=()))
    told = explain("damage_covered.none", claimed=Label(CLAIM.damage))
    assert check_damage_covered(CLAIM, nothing).explanations == (told,)


@pytest.mark.parametrize(
    ("days", "expected"),
    [(-1, CANNOT_BE_TOLD), (0, HOLDS), (29, HOLDS), (30, HOLDS), (31, FAILS)],
)
def test_the_notice_period_runs_through_its_last_day(days: int, expected: Answer) -> None:
    claim = replace(CLAIM, reported_on=FOUND + days * DAY)
    finding = check_reported_in_time(claim, TERMS)
    assert finding.answer is expected
    notice = read_params(finding.explanations, "reported_in_time.notice")
    assert (notice["days"], notice["until"]) == (30, FOUND + 30 * DAY)
    assert (explain("reported_in_time.before_discovery") in finding.explanations) is (days < 0)
    assert finding.records == ("claim R1",)
    none_set = replace(TERMS, claims=replace(TERMS.claims, notice_days=None))
    assert check_reported_in_time(claim, none_set).answer is HOLDS
    at_once = replace(TERMS, claims=replace(TERMS.claims, notice_days=0))
    assert check_reported_in_time(claim, at_once).answer is ({-1: CANNOT_BE_TOLD, 0: HOLDS}.get(days, FAILS))


# Reinspections: due on 14 March each year, the grace ends on 13 April.


def judge(history: VehicleHistory, found_on: date, means: MissedMeans, facts: CoverFacts = FACTS) -> Finding:
    percent = Decimal(50) if means is MissedMeans.REDUCES else None
    terms = replace(TERMS, reinspection=ReinspectionTerms(missed_means=means, reduced_to_percent=percent), touch_ups=())
    items = compute_due_items(terms, facts, history.until(found_on), CALENDAR, found_on)
    return check_reinspections(replace(CLAIM, discovered_on=found_on), terms, items)


NEVER_CAME = replace(HISTORY, treatments=(FIRST,))
CAME_LATE = replace(HISTORY, treatments=(FIRST, replace(TOUCH_UP, day=date(2024, 6, 1))))


@pytest.mark.parametrize(
    ("means", "missed", "made_up_for"),
    [
        (MissedMeans.NOTHING, HOLDS, HOLDS),
        (MissedMeans.REDUCES, HOLDS, HOLDS),
        (MissedMeans.SUSPENDS, FAILS, HOLDS),
        (MissedMeans.LAPSES, FAILS, FAILS),
    ],
)
def test_what_a_missed_reinspection_is_to_a_claim(means: MissedMeans, missed: Answer, made_up_for: Answer) -> None:
    last_of_grace = date(2024, 4, 13)
    assert judge(NEVER_CAME, last_of_grace, means).explanations == (explain("reinspections.none_due"),)
    assert judge(NEVER_CAME, last_of_grace, means).answer is HOLDS
    assert judge(NEVER_CAME, last_of_grace + DAY, means).answer is missed
    assert judge(CAME_LATE, date(2024, 5, 31), means).answer is missed
    assert judge(CAME_LATE, date(2024, 6, 1), means).answer is made_up_for
    told = judge(CAME_LATE, date(2024, 6, 1), means).explanations
    assert told[0] == explain("reinspections.missed", missed=1, count=1)


def test_done_and_waived_reinspections_are_counted_and_named() -> None:
    waived = replace(FACTS, waivers=(Waiver("reinspection:2025-03-14", date(2025, 3, 1), "flood", "change 7"),))
    finding = judge(HISTORY, date(2025, 4, 14), MissedMeans.SUSPENDS, waived)
    assert finding.answer is HOLDS
    kept = explain("reinspections.done_and_waived", count=2, done_on=(date(2024, 3, 10),), waived=1)
    assert finding.explanations == (kept,)
    assert finding.records == ("treatment 2", "change 7")
    only_done = judge(HISTORY, FOUND, MissedMeans.SUSPENDS)
    kept = explain("reinspections.done", count=1, done_on=(date(2024, 3, 10),), waived=0)
    assert only_done.explanations == (kept,)
    only_waived = replace(FACTS, waivers=(Waiver("reinspection:2024-03-14", date(2024, 3, 1), "flood", "change 7"),))
    finding = judge(NEVER_CAME, FOUND, MissedMeans.SUSPENDS, only_waived)
    assert finding.explanations == (explain("reinspections.waived", count=1, done_on=(), waived=1),)


def test_of_several_missed_the_one_not_made_up_for_is_told() -> None:
    later = judge(CAME_LATE, date(2025, 4, 14), MissedMeans.SUSPENDS)
    assert later.answer is FAILS
    assert later.explanations[0] == explain("reinspections.missed", missed=2, count=2)
    assert later.explanations[1].params["months"] == 24
    both = replace(
        CAME_LATE, treatments=(*CAME_LATE.treatments, replace(TOUCH_UP, record="treatment 3", day=date(2025, 5, 1)))
    )
    made_up_for = judge(both, date(2025, 5, 1), MissedMeans.SUSPENDS)
    assert made_up_for.answer is HOLDS
    assert made_up_for.explanations[0] == explain("reinspections.missed", missed=2, count=2)
    assert made_up_for.explanations[1].params["months"] == 12


def test_terms_without_reinspections_ask_for_none() -> None:
    terms = replace(TERMS, reinspection=None)
    assert check_reinspections(replace(CLAIM, discovered_on=None), terms, ()).answer is HOLDS


# Entry.


def test_a_breach_of_entry_is_the_shops_to_answer_for_and_what_holds_is_not() -> None:
    rusted = replace(INTAKE, zones=(InspectedZone("rocker_left", Decimal(5), photos=1),))
    terms = replace(TERMS, entry=EntryTerms(max_rusted_area_percent=Decimal(5)))
    for percent, expected in ((Decimal(5), HOLDS), (Decimal("5.1"), FAILS)):
        seen = replace(rusted, zones=(replace(rusted.zones[0], rusted_area_percent=percent),))
        found = check_entry_on_record(terms, replace(HISTORY, inspections=(seen,)), None, frozenset())
        by_rule = {finding.rule: finding for finding in found}
        assert by_rule["entry_rust"].answer is expected
        assert by_rule["entry_rust"].shop_fell_short is (expected is FAILS)
        assert not by_rule["entry_intake"].shop_fell_short
    assert check_entry_on_record(terms, replace(HISTORY, treatments=(TOUCH_UP,)), None, frozenset()) == []


@pytest.mark.parametrize(("km", "expected"), [(10_000, HOLDS), (10_001, FAILS)])
def test_the_odometer_at_entry_is_that_of_the_first_treatment(km: int, expected: Answer) -> None:
    terms = replace(TERMS, entry=EntryTerms(max_distance_km=Decimal(10_000)))
    found = check_entry_on_record(terms, read((START, km), (FOUND, 90_000)), None, frozenset())
    assert {finding.rule: finding.answer for finding in found}["entry_distance"] is expected


def test_the_age_at_entry_is_counted_from_the_day_in_service() -> None:
    terms = replace(TERMS, entry=EntryTerms(max_age_months=12))
    for in_service_on, expected in (
        (date(2022, 3, 14), HOLDS),
        (date(2022, 3, 13), FAILS),
        (None, CANNOT_BE_TOLD),
    ):
        found = check_entry_on_record(terms, HISTORY, in_service_on, frozenset())
        assert {finding.rule: finding.answer for finding in found}["entry_age"] is expected


def test_every_zone_is_judged_on_the_records_up_to_the_day_of_discovery() -> None:
    """A coat on the day of discovery is on record; one of the day after is not."""
    for day, expected in ((FOUND, HOLDS), (FOUND + DAY, FAILS)):
        history = replace(HISTORY, treatments=(replace(FIRST, lines=()), replace(TOUCH_UP, day=day)))
        found = check_claim(CLAIM, TERMS, FACTS, history, CALENDAR, vehicle_zones=frozenset({"rocker_left"}))
        treated = next(finding for finding in found.findings if finding.rule == "treated")
        assert treated.answer is expected
