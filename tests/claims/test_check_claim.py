"""Claims against the record: each rule turned from holds to fails, or to cannot be told, by one changed fact."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from claims.explanations import MESSAGES
from claims.rules.check import check_claim
from claims.rules.claim import ClaimCheck, ClaimedZone, Finding, RustClaim, explain_clause
from claims.rules.letter import LetterFacts, write_letter
from claims.rules.recommend import recommend
from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.covers.rules.facts import CoverFacts
from scheduling.terms.rules.terms import ClaimTerms, EntryTerms, MissedMeans, ReinspectionTerms, Terms, TouchUpTerms
from tests.explained import list_codes, read_params
from tests.stories.words import list_rules
from treatments.enums import (
    Answer,
    DamageKind,
    InspectionKind,
    ProductFamily,
    TreatmentKind,
    ZoneKind,
)
from treatments.records.rules.conditions import SurfaceConditions
from treatments.records.rules.history import (
    InspectedZone,
    InspectionRecord,
    RecordedReading,
    TreatmentRecord,
    VehicleHistory,
    ZoneLine,
)
from treatments.records.rules.odometer import Reading
from treatments.rules.explanation import Explanation, OwnWords, ZoneCode, explain
from treatments.rules.formats import Money
from treatments.shared.rendering import render_all

START = date(2023, 3, 14)
FOUND = date(2024, 9, 1)
CALENDAR = WorkingCalendar(frozenset(range(1, 8)))
TERMS = Terms(
    "t",
    1,
    "T",
    distance_limit_km=Decimal(100_000),
    entry=EntryTerms(),
    reinspection=ReinspectionTerms(missed_means=MissedMeans.SUSPENDS),
    touch_ups=(TouchUpTerms(12),),
    claims=ClaimTerms(notice_days=30, waiting_days=30),
)
FACTS = CoverFacts("C1", START, START)
ROCKER = ClaimedZone("rocker_left", "Left rocker panel", ZoneKind.ENCLOSED_CAVITY)
LINE = ZoneLine(
    "rocker_left",
    "Left rocker panel",
    ZoneKind.ENCLOSED_CAVITY,
    ProductFamily.CAVITY_WAX,
    "Fenwax Cavity 40",
    "FC-1",
    lot_expires_on=date(2026, 1, 1),
    quantity_ml=Decimal(175),
    area_m2=Decimal("1.1"),
    target_dry_film_um=Decimal(50),
    volume_solids_percent=Decimal(40),
    loss_fraction=Decimal("0.2"),
    pressure_kpa=Decimal("413.7"),
    access_points_used=2,
    mist_seen_at_far_end=True,
)
DRY = SurfaceConditions(Decimal(18), Decimal(17), Decimal(50), True, True, False)
FIRST = TreatmentRecord("treatment 1", START, TreatmentKind.FIRST_TREATMENT, (LINE,), conditions=DRY)
TOUCH_UP = TreatmentRecord("treatment 2", date(2024, 3, 10), TreatmentKind.ANNUAL_TOUCH_UP, (LINE,), conditions=DRY)
INTAKE = InspectionRecord(
    "inspection 1", START, InspectionKind.INTAKE, (InspectedZone("rocker_left", Decimal(0), photos=1),)
)
HISTORY = VehicleHistory((FIRST, TOUCH_UP), (INTAKE,), (RecordedReading(Reading(START, Decimal(10_000), "reading 1")),))
CLAIM = RustClaim(
    "R1", FOUND, FOUND + timedelta(days=10), DamageKind.PERFORATION_FROM_WITHIN, (ROCKER,), Decimal(40_000)
)


def check(
    claim: RustClaim = CLAIM,
    terms: Terms = TERMS,
    facts: CoverFacts = FACTS,
    history: VehicleHistory = HISTORY,
    vehicle_zones: frozenset[str] | None = frozenset({"rocker_left"}),
) -> ClaimCheck:
    return check_claim(claim, terms, facts, history, CALENDAR, vehicle_zones=vehicle_zones)


def answers(found: ClaimCheck) -> dict[str, Answer]:
    return {finding.rule: finding.answer for finding in found.findings}


def with_line(**changes: object) -> VehicleHistory:
    changed = replace(LINE, **changes)  # type: ignore[arg-type]
    return replace(HISTORY, treatments=(replace(FIRST, lines=(changed,)), TOUCH_UP))


def test_a_claim_that_the_record_bears_out_holds_by_every_rule() -> None:
    found = check()
    assert found.answer is Answer.HOLDS
    assert set(answers(found).values()) == {Answer.HOLDS}
    assert {"in_force", "distance", "treated", "film", "lots", "reach", "surface_conditions"} <= set(answers(found))
    treated = next(finding for finding in found.findings if finding.rule == "treated")
    assert treated.records == ("treatment 1", "treatment 2")


@pytest.mark.parametrize(
    ("rule", "changed", "expected"),
    [
        ("reported_in_time", {"claim": replace(CLAIM, reported_on=FOUND + timedelta(days=30))}, Answer.HOLDS),
        ("reported_in_time", {"claim": replace(CLAIM, reported_on=FOUND + timedelta(days=31))}, Answer.FAILS),
        ("damage_covered", {"claim": replace(CLAIM, damage=DamageKind.SURFACE_CORROSION)}, Answer.FAILS),
        ("distance", {"claim": replace(CLAIM, kilometres=Decimal("99999.9"))}, Answer.HOLDS),
        # The limit is reached at its own figure, and the cover expires on that day (fixtures/terms/MEANING.md).
        ("distance", {"claim": replace(CLAIM, kilometres=Decimal(100_000))}, Answer.FAILS),
        ("distance", {"claim": replace(CLAIM, kilometres=None)}, Answer.CANNOT_BE_TOLD),
        ("in_force", {"claim": replace(CLAIM, discovered_on=None)}, Answer.CANNOT_BE_TOLD),
        ("in_force", {"claim": replace(CLAIM, discovered_on=START + timedelta(days=29))}, Answer.FAILS),
        ("in_force", {"claim": replace(CLAIM, discovered_on=START + timedelta(days=30))}, Answer.HOLDS),
        ("reinspections", {"history": replace(HISTORY, treatments=(FIRST,))}, Answer.FAILS),
        (
            "not_excluded",
            {"claim": replace(CLAIM, zones=(ClaimedZone("exhaust", "Exhaust", ZoneKind.NEVER_COATED),))},
            Answer.FAILS,
        ),
        (
            "treated",
            {"claim": replace(CLAIM, zones=(ClaimedZone("door_front_left", "Door", ZoneKind.OPENING_PANEL),))},
            Answer.FAILS,
        ),
        ("intake_rust", {"history": replace(HISTORY, inspections=())}, Answer.CANNOT_BE_TOLD),
        (
            "intake_rust",
            {
                "history": replace(
                    HISTORY, inspections=(replace(INTAKE, zones=(InspectedZone("rocker_left", Decimal("0.2")),)),)
                )
            },
            Answer.FAILS,
        ),
    ],
)
def test_one_changed_fact_turns_one_rule_and_the_claim(rule: str, changed: dict[str, object], expected: Answer) -> None:
    found = check(**changed)  # type: ignore[arg-type]
    assert answers(found)[rule] is expected
    if expected is Answer.FAILS:
        assert found.answer is Answer.FAILS
    elif expected is Answer.CANNOT_BE_TOLD:
        assert found.answer is Answer.CANNOT_BE_TOLD


@pytest.mark.parametrize(
    ("rule", "history", "expected"),
    [
        ("film", with_line(quantity_ml=Decimal(80)), Answer.FAILS),
        ("film", with_line(area_m2=None), Answer.CANNOT_BE_TOLD),
        ("lots", with_line(lot_recalled_on=date(2024, 1, 1)), Answer.FAILS),
        ("lots", with_line(lot_expires_on=date(2023, 3, 13)), Answer.FAILS),
        ("lots", with_line(lot_expires_on=START), Answer.HOLDS),
        ("lots", with_line(lot=None), Answer.CANNOT_BE_TOLD),
        ("reach", with_line(access_points_used=1), Answer.FAILS),
        ("reach", with_line(mist_seen_at_far_end=None), Answer.CANNOT_BE_TOLD),
        (
            "surface_conditions",
            replace(HISTORY, treatments=(replace(FIRST, conditions=replace(DRY, clean=False)), TOUCH_UP)),
            Answer.FAILS,
        ),
        (
            "surface_conditions",
            replace(HISTORY, treatments=(replace(FIRST, conditions=None), TOUCH_UP)),
            Answer.CANNOT_BE_TOLD,
        ),
    ],
)
def test_the_shops_own_shortfall_is_shown_and_not_held_against_the_customer(
    rule: str, history: VehicleHistory, expected: Answer
) -> None:
    found = check(history=history)
    assert answers(found)[rule] is expected
    assert found.answer is Answer.HOLDS
    if expected is not Answer.HOLDS:
        assert rule in [finding.rule for finding in found.shop_shortfalls]


def test_each_zone_is_judged_for_itself() -> None:
    door = ClaimedZone("door_front_left", "Left front door", ZoneKind.OPENING_PANEL)
    found = check(replace(CLAIM, zones=(ROCKER, door)))
    assert found.judge_zone("rocker_left") is Answer.HOLDS
    assert found.judge_zone("door_front_left") is Answer.FAILS
    assert found.holds_in_part


def find_treated(found: ClaimCheck) -> Finding:
    return next(finding for finding in found.findings if finding.rule == "treated")


def test_a_zone_left_out_with_a_reason_says_so() -> None:
    skipped = ZoneLine("rocker_left", "Left rocker panel", ZoneKind.ENCLOSED_CAVITY, not_done_reason="plug seized")
    history = replace(HISTORY, treatments=(replace(FIRST, lines=(skipped,)),))
    treated = find_treated(check(history=history))
    assert (treated.answer, treated.shop_fell_short) == (Answer.FAILS, False)
    assert treated.explanations == (explain("treated.not_done", treated_on=START, reason=OwnWords("plug seized")),)


DOOR = ClaimedZone("door_front_left", "Left front door", ZoneKind.OPENING_PANEL)
DOOR_CLAIM = replace(CLAIM, zones=(DOOR,))
SEEN_AT_INTAKE = replace(INTAKE, zones=(*INTAKE.zones, InspectedZone("door_front_left", Decimal(0), photos=1)))
HISTORY_WITH_DOOR_SEEN = replace(HISTORY, inspections=(SEEN_AT_INTAKE,))


def test_a_zone_that_the_shop_forgot_is_its_own_shortfall_and_not_held_against_the_customer() -> None:
    found = check(DOOR_CLAIM, history=HISTORY_WITH_DOOR_SEEN, vehicle_zones=frozenset({"rocker_left", DOOR.zone}))
    treated = find_treated(found)
    assert (treated.answer, treated.shop_fell_short) == (Answer.FAILS, True)
    none_names_it = explain("treated.none_names_it", count=2)
    assert treated.explanations == (explain("treated.left_out", none=none_names_it, treated_on=START),)
    assert treated in found.shop_shortfalls
    assert found.judge_zone(DOOR.zone) is Answer.HOLDS


@pytest.mark.parametrize(
    ("vehicle_zones", "treatments", "expected", "code"),
    [
        (frozenset({"rocker_left"}), (FIRST, TOUCH_UP), Answer.FAILS, "treated.not_on_body"),
        (None, (FIRST, TOUCH_UP), Answer.CANNOT_BE_TOLD, "treated.no_body_style"),
        (frozenset({DOOR.zone}), (TOUCH_UP,), Answer.FAILS, "treated.no_first_treatment"),
        (frozenset({DOOR.zone}), (), Answer.FAILS, "treated.nothing_on_record"),
    ],
)
def test_a_zone_that_is_not_known_to_have_been_forgotten_is_no_shortfall(
    vehicle_zones: frozenset[str] | None, treatments: tuple[TreatmentRecord, ...], expected: Answer, code: str
) -> None:
    history = replace(HISTORY_WITH_DOOR_SEEN, treatments=treatments)
    treated = find_treated(check(DOOR_CLAIM, history=history, vehicle_zones=vehicle_zones))
    assert (treated.answer, treated.shop_fell_short) == (expected, False)
    assert list_codes(treated.explanations) == [code]


def test_an_excluded_zone_is_not_asked_whether_it_was_treated() -> None:
    terms = replace(TERMS, claims=replace(TERMS.claims, excluded_zones=(DOOR.zone,)))
    found = check(DOOR_CLAIM, terms, history=HISTORY_WITH_DOOR_SEEN, vehicle_zones=frozenset({DOOR.zone}))
    assert "treated" not in answers(found)
    assert found.answer is Answer.FAILS
    assert not found.shop_shortfalls or all(f.rule != "treated" for f in found.shop_shortfalls)


def test_counts_of_one_are_put_in_the_singular() -> None:
    late = check(terms=replace(TERMS, claims=replace(TERMS.claims, notice_days=1)))
    notice = next(f.explanations for f in late.findings if f.rule == "reported_in_time")
    assert "the notice period of 1 day ran" in render_all(notice)
    once = replace(HISTORY_WITH_DOOR_SEEN, treatments=(FIRST,))
    treated = find_treated(check(DOOR_CLAIM, history=once, vehicle_zones=frozenset({DOOR.zone})))
    told = render_all(treated.explanations)
    assert told.startswith("The one treatment recorded up to that day does not name this zone, although")
    touched = next(f.explanations for f in check().findings if f.rule == "touch_ups")
    assert render_all(touched) == "1 touch-up had come due; renewed in time: 1."


def test_every_clause_that_a_rule_names_has_words() -> None:
    found = check(DOOR_CLAIM, replace(TERMS, entry=EntryTerms(max_age_months=12)), history=HISTORY_WITH_DOOR_SEEN)
    clauses = {finding.clause for finding in (*found.findings, *check().findings) if finding.clause}
    assert {"length_months", "claims.excluded_zones", "touch_ups"} <= clauses
    for clause in clauses:
        assert explain_clause(clause).code in MESSAGES, clause


LETTER_FACTS = LetterFacts(
    "Mill Lane Rust Protection", "desk@example.org", "Lena Orchard", "R1", "C1", "2025 Harrow Finch", "T", 1,
    FOUND, FOUND + timedelta(days=31), date(2024, 10, 3),
)  # fmt: skip


def write(
    found: ClaimCheck, kind: str, amount: int = 0, reason: str = "", facts: LetterFacts = LETTER_FACTS
) -> list[Explanation]:
    """Return what a letter says, from its first line to its last."""
    money = Money(Decimal(amount), "USD")
    letter = write_letter(facts, found, recommend(found, None), kind=kind, amount=money, reason=reason)
    return [one for paragraph in letter for line in paragraph for one in line]


def test_every_rule_has_a_question_and_every_question_a_rule() -> None:
    questions = {code.removeprefix("question.") for code in MESSAGES if code.startswith("question.")}
    assert questions == list_rules()


def test_a_refusal_says_what_was_claimed_and_what_speaks_against_it() -> None:
    terms = replace(TERMS, entry=EntryTerms(required_zones=("rocker_left", "rocker_right")))
    found = check(replace(CLAIM, reported_on=FOUND + timedelta(days=31)), terms)
    letter = write(found, "refuse")
    assert list_codes(letter)[:6] == [
        "letter.day", "letter.greeting", "letter.claim", "letter.refuse", "letter.against", "letter.finding",
    ]  # fmt: skip
    claimed = read_params(letter, "letter.claim")
    assert (claimed["found_on"], claimed["reported_on"]) == (FOUND, FOUND + timedelta(days=31))
    assert claimed["zones"] == (ZoneCode("rocker_left"),)
    for finding in found.findings:
        if finding.answer is Answer.FAILS:
            assert set(list_codes(finding.explanations)) <= set(list_codes(letter)), finding.rule
    assert list_codes(letter)[-3:] == ["letter.object", "letter.law", "letter.signed"]
    no_day = write(check(replace(CLAIM, discovered_on=None)), "refuse", facts=replace(LETTER_FACTS, discovered_on=None))
    assert "found_on" not in read_params(no_day, "letter.claim.no_day")


def test_that_nothing_is_owed_is_said_only_where_the_rules_refuse() -> None:
    late = check(replace(CLAIM, reported_on=FOUND + timedelta(days=31)))
    for claimed, code in ((late, "letter.goodwill.nothing_owed"), (check(), "letter.goodwill")):
        letter = write(claimed, "goodwill", 40, "so")
        assert read_params(letter, code)["amount"] == Money(Decimal(40), "USD")
        assert read_params(letter, "letter.reason")["reason"] == OwnWords("so")
