"""Which vehicles may enter a cover: each rule on both sides of its boundary, with what is unknown told as unknown."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from scheduling.covers.rules.entry import EntryAnswer, IntakeReport, check_entry, find_zones_outside
from scheduling.terms.rules.terms import EntryTerms
from tests.scheduling.test_due_and_cover import make_terms, treated
from treatments.enums import Answer, InspectionKind, TreatmentKind
from treatments.records.rules.history import InspectedZone, InspectionRecord, TreatmentRecord
from treatments.rules.explanation import Explanation, ZoneCode, explain

HOLDS, FAILS, CANNOT_BE_TOLD = Answer.HOLDS, Answer.FAILS, Answer.CANNOT_BE_TOLD
TREATED = date(2024, 3, 14)
CLEAN = InspectedZone("hood", Decimal(0), photos=1)
ROOF = ZoneCode("roof")


def too_much(zone: Explanation) -> Explanation:
    return explain("entry.rust.too_much", percent=Decimal(5), zones=(zone,))


def look(*zones: InspectedZone, day: date = TREATED) -> InspectionRecord:
    return InspectionRecord("inspection 1", day, InspectionKind.INTAKE, zones or (CLEAN,))


def judge(
    entry: EntryTerms,
    *,
    in_service_on: date | None = None,
    kilometres: Decimal | None = None,
    intake: InspectionRecord | None = None,
    first_treatment: TreatmentRecord | None = None,
    zones_out: tuple[str, ...] = (),
) -> IntakeReport:
    return check_entry(
        make_terms(entry=entry),
        treated_on=TREATED,
        in_service_on=in_service_on,
        kilometres=kilometres,
        intake=intake,
        first_treatment=first_treatment,
        zones_out=zones_out,
    )


def answer(rule: str, report: IntakeReport) -> EntryAnswer:
    return next(given for given in report.answers if given.rule == rule)


@pytest.mark.parametrize(("days", "expected"), [(-91, FAILS), (-90, HOLDS), (-1, HOLDS), (0, HOLDS), (1, FAILS)])
def test_an_intake_stands_from_ninety_days_before_through_the_day(days: int, expected: Answer) -> None:
    given = answer("intake", judge(EntryTerms(), intake=look(day=TREATED + timedelta(days=days))))
    assert (given.answer, given.records) == (expected, ("inspection 1",))


@pytest.mark.parametrize(("is_required", "expected"), [(True, CANNOT_BE_TOLD), (False, HOLDS)])
def test_without_an_intake_old_rust_cannot_be_told_where_the_terms_ask_for_one(
    is_required: bool, expected: Answer
) -> None:
    report = judge(EntryTerms(intake_inspection_required=is_required))
    assert [(given.rule, given.answer, given.records) for given in report.answers] == [("intake", expected, ())]
    assert report.answer is expected


@pytest.mark.parametrize(
    ("seen", "expected", "told", "outside"),
    [
        (InspectedZone("roof", None), CANNOT_BE_TOLD, "entry.intake.not_measured", ()),
        (InspectedZone("roof", None, perforated=True), HOLDS, "entry.intake.inspected", ("roof",)),
        (InspectedZone("roof", Decimal(0), perforated=True), HOLDS, "entry.intake.inspected", ("roof",)),
        (InspectedZone("roof", Decimal("0.01")), HOLDS, "entry.intake.no_photo", ("roof",)),
        (InspectedZone("roof", Decimal("0.01"), photos=1), HOLDS, "entry.intake.inspected", ("roof",)),
        (InspectedZone("roof", Decimal(1), photos=2), HOLDS, "entry.intake.inspected", ("roof",)),
        (InspectedZone("roof", Decimal(0)), HOLDS, "entry.intake.inspected", ()),
    ],
)
def test_what_an_intake_saw(seen: InspectedZone, expected: Answer, told: str, outside: tuple[str, ...]) -> None:
    report = judge(EntryTerms(), intake=look(CLEAN, seen))
    given = answer("intake", report)
    assert given.answer is expected and given.explanations[-1].code == told
    zones = given.explanations[-1].params.get("zones", (ZoneCode("roof"),))
    assert zones == (ZoneCode("roof"),)
    assert report.zones_outside == outside
    assert report.answer is expected


def test_without_an_intake_no_zone_is_outside() -> None:
    assert find_zones_outside(None) == ()


@pytest.mark.parametrize(
    ("in_service_on", "expected"),
    [
        (date(2014, 3, 13), FAILS),
        (date(2014, 3, 14), HOLDS),
        (date(2014, 3, 15), HOLDS),
        (None, CANNOT_BE_TOLD),
    ],
)
def test_the_age_runs_through_the_day_with_the_same_number(in_service_on: date | None, expected: Answer) -> None:
    report = judge(EntryTerms(max_age_months=120), in_service_on=in_service_on, intake=look())
    assert answer("age", report).answer is expected
    assert report.answer is expected
    assert [given.rule for given in report.answers] == ["intake", "age"]


@pytest.mark.parametrize(
    ("kilometres", "expected"),
    [(Decimal(49_999), HOLDS), (Decimal(50_000), HOLDS), (Decimal(50_001), FAILS), (None, CANNOT_BE_TOLD)],
)
def test_the_distance_at_entry(kilometres: Decimal | None, expected: Answer) -> None:
    report = judge(EntryTerms(max_distance_km=Decimal(50_000)), kilometres=kilometres, intake=look())
    assert answer("distance", report).answer is expected
    assert [given.rule for given in report.answers] == ["intake", "distance"]


@pytest.mark.parametrize(
    ("seen", "expected", "told"),
    [
        (InspectedZone("roof", Decimal(5)), HOLDS, explain("entry.rust", percent=Decimal(5))),
        (
            InspectedZone("roof", Decimal("5.1")),
            FAILS,
            too_much(explain("entry.rust.zone", zone=ROOF, percent=Decimal("5.1"))),
        ),
        (InspectedZone("roof", None, perforated=True), FAILS, too_much(explain("entry.rust.perforated", zone=ROOF))),
        (InspectedZone("roof", None), HOLDS, explain("entry.rust", percent=Decimal(5))),
    ],
)
def test_rust_at_entry(seen: InspectedZone, expected: Answer, told: Explanation) -> None:
    report = judge(EntryTerms(max_rusted_area_percent=Decimal(5)), intake=look(CLEAN, seen))
    given = answer("rust", report)
    assert (given.answer, given.records) == (expected, ("inspection 1",))
    assert given.explanations == (told,)


def test_rust_that_no_intake_graded_cannot_be_told() -> None:
    report = judge(EntryTerms(max_rusted_area_percent=Decimal(5)))
    assert answer("rust", report).answer is CANNOT_BE_TOLD


@pytest.mark.parametrize(
    ("coated", "zones_out", "expected", "told"),
    [
        (("hood", "roof"), (), HOLDS, explain("entry.required_zones.done")),
        (("hood",), (), FAILS, explain("entry.required_zones.missing", zones=(ROOF,))),
        (("hood",), ("roof",), HOLDS, explain("entry.required_zones.done_except", zones=(ROOF,))),
        (("door",), ("roof",), FAILS, explain("entry.required_zones.missing", zones=(ZoneCode("hood"),))),
    ],
)
def test_the_zones_that_the_terms_want(
    coated: tuple[str, ...], zones_out: tuple[str, ...], expected: Answer, told: Explanation
) -> None:
    first = treated(TREATED, TreatmentKind.FIRST_TREATMENT, *coated)
    entry = EntryTerms(required_zones=("hood", "roof"))
    report = judge(entry, intake=look(), first_treatment=first, zones_out=zones_out)
    given = answer("required_zones", report)
    assert (given.answer, given.records) == (expected, (first.record,))
    assert given.explanations == (told,)
    # Before the work nobody asks, and neither do terms that want none.
    assert [given.rule for given in judge(entry, intake=look()).answers] == ["intake"]
    assert [given.rule for given in judge(EntryTerms(), intake=look(), first_treatment=first).answers] == ["intake"]


def test_one_rule_that_fails_outweighs_one_that_cannot_be_told() -> None:
    report = judge(EntryTerms(max_age_months=1, max_distance_km=Decimal(1)), kilometres=Decimal(2), intake=look())
    assert [given.answer for given in report.answers] == [HOLDS, CANNOT_BE_TOLD, FAILS]
    assert report.answer is FAILS
    assert replace(report, answers=report.answers[:2]).answer is CANNOT_BE_TOLD
    assert replace(report, answers=report.answers[:1]).answer is HOLDS


@pytest.mark.parametrize(("days", "expected"), [(0, HOLDS), (1, CANNOT_BE_TOLD)])
def test_the_age_cannot_be_told_where_the_vehicle_was_in_service_after_its_treatment(
    days: int, expected: Answer
) -> None:
    in_service = TREATED + timedelta(days=days)
    given = answer("age", judge(EntryTerms(max_age_months=120), in_service_on=in_service, intake=look()))
    assert given.answer is expected
