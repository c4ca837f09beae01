"""How two checks of a claim differ, and changes of fact to be tried out: values, on both sides of each boundary."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from claims.rules.claim import ClaimCheck, ClaimedZone, Finding
from claims.rules.compare import (
    Change,
    ClaimDifference,
    WhatIfError,
    add_visit,
    compare_checks,
    discover_on,
    move_record,
    treat_zone,
)
from tests.claims.test_check_claim import CLAIM, FIRST, HISTORY, INTAKE, LINE, ROCKER, TOUCH_UP
from tests.explained import read_params
from treatments.enums import Answer, InspectionKind, ProductFamily, ZoneKind
from treatments.records.rules.history import VehicleHistory, ZoneLine
from treatments.rules.explanation import Explanation, Label, ZoneCode, explain

HOLDS, FAILS, CANNOT_BE_TOLD = Answer.HOLDS, Answer.FAILS, Answer.CANNOT_BE_TOLD
DOOR = ClaimedZone("door_left", "Left door", ZoneKind.SEAM)
BOTH = replace(CLAIM, zones=(ROCKER, DOOR))


def find(rule: str, answer: Answer, zone: ClaimedZone | None = None, why: str = "") -> Finding:
    return Finding(rule, zone.zone if zone else None, answer, (explain(why or f"{rule}.{answer}"),))


def compare(before: list[Finding], after: list[Finding]) -> ClaimDifference | None:
    return compare_checks(ClaimCheck(BOTH, tuple(before)), ClaimCheck(BOTH, tuple(after)))


def quote(answer: Answer) -> Explanation:
    return explain("difference.answer", answer=Label(answer))


def test_checks_that_answer_alike_do_not_differ() -> None:
    assert compare([], []) is None
    assert compare([find("lots", HOLDS, DOOR)], [find("lots", HOLDS, DOOR, "lots.otherwise_said")]) is None


def test_one_zone_that_turns_is_told_with_its_rule_and_the_claim_as_a_whole() -> None:
    difference = compare(
        [find("in_force", HOLDS), find("lots", HOLDS, DOOR)],
        [find("in_force", HOLDS), find("lots", FAILS, DOOR)],
    )
    assert difference is not None
    assert (difference.number, difference.before, difference.after) == ("R1", HOLDS, HOLDS)
    assert difference.zones == (("rocker_left", HOLDS, HOLDS), ("door_left", HOLDS, FAILS))
    (finding,) = difference.findings
    assert (finding.rule, finding.zone, finding.before, finding.after) == ("lots", "door_left", HOLDS, FAILS)
    assert (finding.question, finding.explanations) == (explain("question.lots"), (explain("lots.fails"),))
    assert difference.comes_out_differently
    turned = {"zone": ZoneCode("door_left"), "before": quote(HOLDS), "after": quote(FAILS)}
    assert difference.explanations == (
        explain("difference.claim_stays", claim="R1", now=explain("difference.now.holds")),
        explain("difference.zone", **turned),
        explain("difference.rule_of_zone", question=finding.question, **turned),
        explain("lots.fails"),
    )


def test_a_claim_that_turns_says_what_it_would_come_to() -> None:
    difference = compare([find("in_force", HOLDS)], [find("in_force", FAILS)])
    assert difference is not None
    assert (difference.before, difference.after, difference.comes_out_differently) == (HOLDS, FAILS, True)
    now, would = explain("difference.now.holds"), explain("difference.would.fails")
    assert difference.explanations[0] == explain("difference.claim_turns", claim="R1", now=now, would=would)
    # No zone: it is about the claim as a whole.
    turned = {"question": explain("question.in_force"), "before": quote(HOLDS), "after": quote(FAILS)}
    assert explain("difference.rule", **turned) in difference.explanations


def test_a_shortfall_of_the_shop_changes_no_outcome() -> None:
    fell_short = replace(find("film", FAILS, DOOR), shop_fell_short=True)
    difference = compare([find("film", HOLDS, DOOR)], [fell_short])
    assert difference is not None
    assert not difference.comes_out_differently
    assert [zone[1:] for zone in difference.zones] == [(HOLDS, HOLDS)] * 2


def test_a_rule_that_is_not_asked_under_one_of_the_terms() -> None:
    added = compare([], [find("lots", FAILS, ROCKER)])
    assert added is not None
    assert [(f.before, f.after, f.explanations) for f in added.findings] == [(None, FAILS, (explain("lots.fails"),))]
    not_asked = read_params(added.explanations, "difference.rule_of_zone")["before"]
    assert not_asked == explain("difference.not_asked")
    dropped = compare([find("lots", FAILS, ROCKER)], [])
    assert dropped is not None
    assert [(f.before, f.after, f.explanations) for f in dropped.findings] == [(FAILS, None, (explain("lots.fails"),))]


def test_several_answers_of_a_rule_are_compared_in_their_order() -> None:
    difference = compare(
        [find("lots", HOLDS, DOOR), find("lots", FAILS, DOOR)],
        [find("lots", HOLDS, DOOR), find("lots", HOLDS, DOOR), find("lots", CANNOT_BE_TOLD, DOOR)],
    )
    assert difference is not None
    assert [(f.before, f.after) for f in difference.findings] == [(FAILS, HOLDS), (None, CANNOT_BE_TOLD)]


def test_the_claim_comes_first_then_its_zones_as_claimed_and_their_rules_by_name() -> None:
    rules = ["film", "intake_rust", "lots", "reach", "touch_ups", "treated"]
    asked = [*(find(rule, HOLDS, DOOR) for rule in reversed(rules)), find("lots", HOLDS, ROCKER), find("notice", HOLDS)]
    difference = compare(asked, [replace(found, answer=FAILS) for found in asked])
    assert difference is not None
    assert [(f.zone, f.rule) for f in difference.findings] == [
        (None, "notice"),
        ("rocker_left", "lots"),
        *(("door_left", rule) for rule in rules),
    ]


# What if?

DAY = date(2024, 5, 6)


def try_out(change: Change, history: VehicleHistory = HISTORY) -> VehicleHistory:
    claim, changed = change(BOTH, history)
    assert claim == BOTH
    return changed


def refuse(change: Change, history: VehicleHistory = HISTORY) -> Explanation:
    with pytest.raises(WhatIfError) as refused:
        change(BOTH, history)
    return refused.value.explanation


def test_a_record_on_another_day_leaves_the_others() -> None:
    moved = try_out(move_record("treatment 2", DAY))
    assert [(t.record, t.day) for t in moved.treatments] == [("treatment 1", FIRST.day), ("treatment 2", DAY)]
    assert moved.inspections == HISTORY.inspections
    looked = try_out(move_record("inspection 1", DAY))
    assert [(i.record, i.day) for i in looked.inspections] == [("inspection 1", DAY)]
    assert looked.treatments == HISTORY.treatments
    known = ("treatment 1", "treatment 2", "inspection 1")
    assert refuse(move_record("treatment 9", DAY)) == explain(
        "what_if.no_such_record", record="treatment 9", known=known
    )
    nothing = explain("what_if.no_records", record="treatment 9")
    assert refuse(move_record("treatment 9", DAY), VehicleHistory()) == nothing


def test_a_visit_more_answers_for_every_zone_that_was_worked_on() -> None:
    added = try_out(add_visit(DAY))
    assert added.inspections[:-1] == (INTAKE,)
    visit = added.inspections[-1]
    assert (visit.day, visit.kind, visit.answered) == (DAY, InspectionKind.REINSPECTION, frozenset({"rocker_left"}))


def test_a_claimed_zone_is_coated_in_one_recorded_treatment() -> None:
    not_done = ZoneLine("door_left", "Left door", ZoneKind.SEAM, not_done_reason="no access")
    history = replace(HISTORY, treatments=(replace(FIRST, lines=(LINE, not_done)), TOUCH_UP))
    coated = try_out(treat_zone("door_left", "treatment 1", ProductFamily.CAVITY_WAX), history)
    first, second = coated.treatments
    assert second == TOUCH_UP
    assert first.lines[0] == LINE
    assert [(line.zone, line.family, line.zone_kind) for line in first.lines[1:]] == [
        ("door_left", ProductFamily.CAVITY_WAX, ZoneKind.SEAM)
    ]
    # A coat that is on record stays beside the supposed one.
    again = try_out(treat_zone("rocker_left", "treatment 2", ProductFamily.CAVITY_WAX))
    assert [line.product for line in again.treatments[1].lines] == [LINE.product, "supposed product"]
    wax = ProductFamily.CAVITY_WAX
    claimed = (ZoneCode("rocker_left"), ZoneCode("door_left"))
    hood = explain("what_if.not_claimed", zone=ZoneCode("hood"), claimed=claimed)
    assert refuse(treat_zone("hood", "treatment 1", wax)) == hood
    known = explain("what_if.no_such_record", record="treatment 9", known=("treatment 1", "treatment 2"))
    assert refuse(treat_zone("door_left", "treatment 9", wax)) == known
    nothing = explain("what_if.no_records", record="treatment 9")
    assert refuse(treat_zone("door_left", "treatment 9", wax), VehicleHistory()) == nothing


def test_rust_found_on_another_day() -> None:
    day = CLAIM.reported_on - timedelta(days=1)
    claim, history = discover_on(day)(CLAIM, HISTORY)
    assert (claim.discovered_on, claim.reported_on, history) == (day, CLAIM.reported_on, HISTORY)
