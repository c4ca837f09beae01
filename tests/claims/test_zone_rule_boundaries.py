"""The rules about one claimed zone, each on both sides of its boundary, with the records that it names."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from claims.rules.check import check_zone
from claims.rules.claim import Finding
from claims.rules.zone_rules import (
    check_conditions_on_record,
    check_film_on_record,
    check_intake_rust,
    check_looks_on_record,
    check_lots,
    check_not_excluded,
    check_reach_on_record,
    check_touch_ups,
    check_treated,
)
from scheduling.covers.rules.due import compute_due_items
from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.terms.rules.terms import EntryTerms, TouchUpTerms
from tests.claims.test_check_claim import (
    CALENDAR,
    DRY,
    FACTS,
    FIRST,
    FOUND,
    HISTORY,
    INTAKE,
    LINE,
    ROCKER,
    START,
    TERMS,
    TOUCH_UP,
    with_line,
)
from tests.explained import list_codes, read_params
from treatments.enums import Answer, FactKind, FilmState, InspectionKind, ProductFamily, TreatmentKind, ZoneKind
from treatments.records.rules.history import (
    InspectedZone,
    InspectionRecord,
    StayRecord,
    TreatmentRecord,
    VehicleHistory,
    ZoneLine,
)
from treatments.rules.explanation import OwnWords, ProductName, explain
from treatments.vehicles.rules.coatable import StandingFact

DAY = timedelta(days=1)
HOLDS, FAILS, CANNOT_BE_TOLD = Answer.HOLDS, Answer.FAILS, Answer.CANNOT_BE_TOLD
OTHER = replace(LINE, zone="sill_right", zone_name="Right sill")


def keep(*treatments: TreatmentRecord, looks: tuple[InspectionRecord, ...] = (INTAKE,)) -> VehicleHistory:
    return replace(HISTORY, treatments=treatments, inspections=looks)


# Excluded and treated.


def test_an_excluded_zone_gets_no_other_finding() -> None:
    terms = replace(TERMS, claims=replace(TERMS.claims, excluded_zones=("rocker_left",)))
    assert check_not_excluded(ROCKER, TERMS).answer is HOLDS
    assert check_not_excluded(replace(ROCKER, kind=ZoneKind.NEVER_COATED), TERMS).answer is FAILS
    assert [f.rule for f in check_zone(ROCKER, terms, HISTORY, (), FOUND)] == ["not_excluded"]


def test_a_zone_that_was_not_treated_is_not_asked_how() -> None:
    found = check_zone(ROCKER, TERMS, keep(replace(FIRST, lines=())), (), FOUND, frozenset({"rocker_left"}))
    assert [finding.rule for finding in found] == ["not_excluded", "treated", "intake_rust"]
    found = check_zone(ROCKER, TERMS, HISTORY, (), FOUND)
    assert [finding.rule for finding in found[3:]] == [
        "touch_ups", "film", "lots", "surface_conditions", "reach",
    ]  # fmt: skip


def test_one_coat_and_several_are_told_apart() -> None:
    once = check_treated(ROCKER, keep(FIRST), None, FOUND)
    wax, lot = ProductName("Fenwax Cavity 40"), OwnWords("FC-1")
    assert once.explanations == (explain("treated.last", treated_on=START, product=wax, lot=lot),)
    twice = check_treated(ROCKER, HISTORY, None, FOUND)
    assert twice.explanations == (
        explain("treated.last", treated_on=date(2024, 3, 10), product=wax, lot=lot),
        explain("treated.coats", count=2, first_on=START),
    )
    repaired = check_treated(ROCKER, keep(FIRST, replace(TOUCH_UP, kind=TreatmentKind.AFTER_REPAIR)), None, FOUND)
    assert list_codes(repaired.explanations) == ["treated.last", "treated.coats", "treated.after_repair"]
    no_lot = check_treated(ROCKER, keep(replace(FIRST, lines=(replace(LINE, lot=None),))), None, FOUND)
    assert no_lot.explanations == (explain("treated.last.no_lot", treated_on=START, product=wax),)


def test_two_coats_of_one_visit_rest_on_one_record() -> None:
    both = keep(replace(FIRST, lines=(LINE, replace(LINE, family=ProductFamily.PENETRATING_FILM))))
    assert check_treated(ROCKER, both, None, FOUND).records == ("treatment 1",)


def test_the_last_reason_for_leaving_a_zone_out_is_told() -> None:
    left = ZoneLine("rocker_left", "Left rocker panel", ZoneKind.ENCLOSED_CAVITY, not_done_reason="plug seized")
    again = replace(left, not_done_reason="sill bent")
    finding = check_treated(ROCKER, keep(replace(FIRST, lines=(left,)), replace(TOUCH_UP, lines=(again,))), None, FOUND)
    assert (finding.answer, finding.records, finding.shop_fell_short) == (FAILS, ("treatment 2",), False)
    not_done = explain("treated.not_done", treated_on=TOUCH_UP.day, reason=OwnWords("sill bent"))
    assert finding.explanations == (not_done,)


def test_of_two_facts_that_take_a_zone_out_the_first_is_told() -> None:
    kinds = (FactKind.ZONE_FORBIDDEN, START), (FactKind.ZONE_ABSENT, START + timedelta(days=9))
    facts = tuple(
        StandingFact(f"fact {number}", kind, day, order=number, zones=("rocker_left",))
        for number, (kind, day) in enumerate(kinds)
    )
    for told in (facts, facts[:1]):
        finding = check_treated(ROCKER, VehicleHistory(facts=told), None, FOUND)
        assert (finding.answer, finding.records) == (FAILS, tuple(fact.record for fact in told))
        out = explain("treated.out_of_work", since_on=START, why=explain("fact.zone_forbidden"))
        assert finding.explanations == (out,)


# Rust at the intake.


@pytest.mark.parametrize(
    ("seen", "expected", "code"),
    [
        (InspectedZone("rocker_left", Decimal(0)), HOLDS, "intake_rust.none"),
        (InspectedZone("rocker_left", Decimal("0.01")), FAILS, "intake_rust.rusted"),
        (InspectedZone("rocker_left", None, perforated=True), FAILS, "intake_rust.perforated"),
        (InspectedZone("rocker_left", None), CANNOT_BE_TOLD, "intake_rust.not_told"),
        (InspectedZone("sill_right", Decimal(5)), CANNOT_BE_TOLD, "intake_rust.not_told"),
    ],
)
def test_rust_at_the_intake(seen: InspectedZone, expected: Answer, code: str) -> None:
    finding = check_intake_rust(ROCKER, TERMS, keep(FIRST, looks=(replace(INTAKE, zones=(seen,)),)))
    assert finding.answer is expected
    (told,) = finding.explanations
    assert (told.code, told.params["inspected_on"]) == (code, INTAKE.day)
    assert told.params.get("percent") == (seen.rusted_area_percent if code == "intake_rust.rusted" else None)
    assert finding.records == ("inspection 1",)


def test_an_intake_after_the_first_treatment_is_none() -> None:
    for day, expected in ((START, HOLDS), (START + DAY, CANNOT_BE_TOLD)):
        assert check_intake_rust(ROCKER, TERMS, keep(FIRST, looks=(replace(INTAKE, day=day),))).answer is expected
    not_asked = replace(TERMS, entry=EntryTerms(intake_inspection_required=False))
    assert check_intake_rust(ROCKER, not_asked, keep(FIRST, looks=())).answer is HOLDS


# Touch-ups: the coat of 14 March 2023 is due on 14 March 2024, from 14 January through 13 April.

OPENS, GRACE = date(2024, 1, 14), date(2024, 4, 13)


def judge(
    *others: TreatmentRecord,
    looks: tuple[InspectionRecord, ...] = (),
    stays: tuple[StayRecord, ...] = (),
    on: date = FOUND,
    facts: CoverFacts = FACTS,
    intervals: tuple[TouchUpTerms, ...] = (TouchUpTerms(12),),
    lines: tuple[ZoneLine, ...] = (LINE,),
) -> Finding:
    terms = replace(TERMS, reinspection=None, touch_ups=intervals)
    history = VehicleHistory((replace(FIRST, lines=lines), *others), looks, stays=stays).until(on)
    return check_touch_ups(ROCKER, compute_due_items(terms, facts, history, CALENDAR, on), history)


def coat(day: date, *lines: ZoneLine, kind: TreatmentKind = TreatmentKind.ANNUAL_TOUCH_UP) -> TreatmentRecord:
    return TreatmentRecord(f"treatment of {day}", day, kind, lines or (LINE,))


def test_a_touch_up_is_missed_on_the_day_after_its_grace() -> None:
    assert judge(on=GRACE).explanations == (explain("touch_ups.none_due"),)
    assert judge(on=GRACE).answer is HOLDS
    missed = judge(on=GRACE + DAY)
    assert (missed.answer, missed.shop_fell_short) == (FAILS, False)
    assert missed.explanations[0] == explain("touch_ups.missed", missed=1, count=1)
    assert read_params(missed.explanations, "due.target.coat")["months"] == 12
    assert missed.records == ("treatment 1",)


def test_a_touch_up_is_renewed_in_time_by_the_last_day_of_grace() -> None:
    in_time = judge(coat(GRACE), on=GRACE + DAY)
    kept = explain("touch_ups.renewed", count=1, done=1, waived=0)
    assert (in_time.answer, in_time.explanations) == (HOLDS, (kept,))
    late = judge(coat(GRACE + DAY), on=GRACE + DAY)
    assert late.answer is HOLDS
    assert late.explanations[-1] == explain("touch_ups.made_up_for")
    not_yet = judge(coat(GRACE + 2 * DAY), on=GRACE + DAY)
    assert not_yet.answer is FAILS


def test_waived_touch_ups_are_counted_apart() -> None:
    facts = replace(FACTS, waivers=(Waiver("touch_up:cavity_wax:2023-03-14:2024-03-14", GRACE, "kind", "change 1"),))
    finding = judge(facts=facts)
    waived = explain("touch_ups.waived", count=1, done=0, waived=1)
    assert (finding.answer, finding.explanations) == (HOLDS, (waived,))
    renewed = judge(coat(date(2024, 3, 1)), facts=FACTS, on=date(2024, 9, 1))
    assert renewed.explanations == (explain("touch_ups.renewed", count=1, done=1, waived=0),)
    both = judge(coat(date(2024, 3, 1)), facts=facts, on=date(2025, 9, 1))
    assert both.explanations[0].params["count"] == 2


def presence(kind: str, day: date) -> dict[str, tuple[object, ...]]:
    if kind == "stay":
        return {"stays": (StayRecord("visit 9", day, day),)}
    if kind in list(InspectionKind):
        return {"looks": (InspectionRecord("inspection 9", day, InspectionKind(kind)),)}
    return {"others": (TreatmentRecord("treatment 9", day, TreatmentKind(kind), (OTHER,)),)}


RECORD = (
    {"stay": "visit 9"} | dict.fromkeys(InspectionKind, "inspection 9") | dict.fromkeys(TreatmentKind, "treatment 9")
)


@pytest.mark.parametrize("kind", RECORD)
@pytest.mark.parametrize(
    ("day", "is_the_shops"), [(OPENS - DAY, False), (OPENS, True), (GRACE, True), (GRACE + DAY, False)]
)
def test_a_presence_from_the_opening_through_the_grace_is_the_omission_of_the_shop(
    kind: str, day: date, is_the_shops: bool
) -> None:
    added = presence(kind, day)
    finding = judge(*added.pop("others", ()), **added)  # type: ignore[arg-type]
    assert (finding.answer, finding.shop_fell_short) == (FAILS, is_the_shops)
    assert (RECORD[kind] in finding.records) is is_the_shops
    assert (explain("touch_ups.shop_omitted", at_shop_on=day) in finding.explanations) is is_the_shops


def test_a_stay_counts_on_each_of_its_days() -> None:
    for first, last, is_the_shops in (
        (OPENS - 5 * DAY, OPENS - DAY, False),
        (OPENS - 5 * DAY, OPENS, True),
        (GRACE, GRACE + 5 * DAY, True),
        (GRACE + DAY, GRACE + 5 * DAY, False),
    ):
        finding = judge(stays=(StayRecord("visit 9", first, last),))
        assert finding.shop_fell_short is is_the_shops, (first, last)
    # What is left of a stay after the discovery is not on record yet.
    reaching = StayRecord("visit 9", GRACE, GRACE + 9 * DAY)
    history = VehicleHistory(stays=(reaching,))
    assert [day for day, _record in history.until(GRACE + DAY).list_days_at_shop()] == [GRACE, GRACE + DAY]
    assert history.until(GRACE - DAY).list_days_at_shop() == []


def test_every_missed_touch_up_must_be_the_omission_of_the_shop() -> None:
    """Film over wax: due after 6 and after 12 months, from July and from January on."""
    film = replace(LINE, family=ProductFamily.PENETRATING_FILM)
    intervals = (TouchUpTerms(12), TouchUpTerms(6, ProductFamily.PENETRATING_FILM))
    both = {"lines": (LINE, film), "intervals": intervals}
    for looks, is_the_shops in (
        ((date(2024, 2, 1),), False),
        ((date(2023, 9, 1),), False),
        ((date(2023, 9, 1), date(2024, 2, 1)), True),
    ):
        seen = tuple(InspectionRecord(f"inspection {d}", d, InspectionKind.REINSPECTION) for d in looks)
        finding = judge(looks=seen, **both)  # type: ignore[arg-type]
        assert (finding.answer, finding.shop_fell_short) == (FAILS, is_the_shops), looks
        assert finding.explanations[0] == explain("touch_ups.missed", missed=2, count=2)
        # The omission of the one that is told.
        assert read_params(finding.explanations, "due.target.coat")["months"] == 12
        omitted = explain("touch_ups.shop_omitted", at_shop_on=date(2024, 2, 1))
        assert (omitted in finding.explanations) is is_the_shops


def test_a_missed_touch_up_that_was_made_up_for_is_not_asked_about_again() -> None:
    """Of the film made up for nothing is left to be weighed; the wax was the omission of the shop."""
    film = replace(LINE, family=ProductFamily.PENETRATING_FILM)
    intervals = (TouchUpTerms(12), TouchUpTerms(6, ProductFamily.PENETRATING_FILM))
    finding = judge(coat(date(2024, 2, 1), film), lines=(LINE, film), intervals=intervals, on=GRACE + DAY)
    assert (finding.answer, finding.shop_fell_short) == (FAILS, True)
    assert finding.explanations[0] == explain("touch_ups.missed", missed=2, count=2)
    assert read_params(finding.explanations, "due.target.coat")["months"] == 12


def test_other_zones_and_reinspections_are_no_touch_ups_of_the_zone() -> None:
    missed = judge(lines=(LINE, OTHER), on=GRACE + DAY)
    assert missed.explanations[0] == explain("touch_ups.missed", missed=1, count=1)
    assert judge(lines=(OTHER,), on=GRACE + DAY).explanations == (explain("touch_ups.none_due"),)


# What inspections saw.


def look(day: date, **seen: object) -> InspectionRecord:
    zone = InspectedZone("rocker_left", seen.pop("percent", None), **seen)  # type: ignore[arg-type]
    return InspectionRecord(f"inspection of {day}", day, InspectionKind.REINSPECTION, (zone,))


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        ({"percent": Decimal(0)}, HOLDS),
        ({"percent": Decimal("0.01")}, FAILS),
        ({"perforated": True}, FAILS),
        ({"percent": None}, HOLDS),
        ({"percent": Decimal(0), "film": FilmState.THIN}, FAILS),
        ({"percent": Decimal(0), "film": FilmState.MISSING}, FAILS),
        ({"percent": Decimal(0), "film": FilmState.INTACT}, HOLDS),
    ],
)
def test_what_wants_the_zone_coated(seen: dict[str, object], expected: Answer) -> None:
    seen_on = look(date(2024, 6, 1), **seen)
    (finding,) = check_looks_on_record(ROCKER, keep(FIRST, TOUCH_UP, looks=(INTAKE, seen_on)), FOUND)
    assert finding.answer is expected
    assert finding.records == (seen_on.record,)
    (told,) = finding.explanations
    assert told.code == ("looks.not_coated_since" if expected is FAILS else "looks.seen")
    assert told.params["seen_on"] == seen_on.day
    assert finding.shop_fell_short


@pytest.mark.parametrize(
    ("seen_on", "is_told"),
    [(START, False), (START + DAY, True), (FOUND - DAY, True), (FOUND, False), (FOUND + DAY, False)],
)
def test_looks_between_the_first_coat_and_the_discovery_are_told(seen_on: date, is_told: bool) -> None:
    found = check_looks_on_record(ROCKER, keep(FIRST, looks=(look(seen_on, percent=Decimal(2)),)), FOUND)
    assert [finding.answer for finding in found] == [FAILS] * is_told


@pytest.mark.parametrize(("coated", "expected"), [(-1, FAILS), (0, HOLDS), (1, HOLDS)])
def test_a_coat_on_the_day_of_the_look_or_later_acts_upon_it(coated: int, expected: Answer) -> None:
    seen_on = date(2024, 6, 1)
    history = keep(FIRST, coat(seen_on + coated * DAY), looks=(look(seen_on, percent=Decimal(2)),))
    (finding,) = check_looks_on_record(ROCKER, history, FOUND)
    assert finding.answer is expected


def test_one_look_that_was_ignored_is_enough_and_all_are_told() -> None:
    seen = (look(date(2024, 5, 1), percent=Decimal(2)), look(date(2024, 6, 1), percent=Decimal(0)))
    (finding,) = check_looks_on_record(ROCKER, keep(FIRST, looks=seen), FOUND)
    assert finding.answer is FAILS
    assert finding.records == ("inspection of 2024-05-01", "inspection of 2024-06-01")
    assert list_codes(finding.explanations) == ["looks.not_coated_since", "looks.seen"]
    other_kinds = tuple(replace(seen[0], kind=kind) for kind in (InspectionKind.INTAKE, InspectionKind.CLAIM))
    assert check_looks_on_record(ROCKER, keep(FIRST, looks=other_kinds), FOUND) == []
    elsewhere = replace(seen[0], zones=(InspectedZone("sill_right", Decimal(2)),))
    assert check_looks_on_record(ROCKER, keep(FIRST, looks=(elsewhere,)), FOUND) == []


# Material, lots, surface, reach.


@pytest.mark.parametrize(
    ("millilitres", "expected"),
    [("120.3124", FAILS), ("120.3125", HOLDS), ("171.875", HOLDS), ("257.8125", HOLDS), ("1000", HOLDS)],
)
def test_less_than_seven_tenths_of_the_material_is_too_little(millilitres: str, expected: Answer) -> None:
    """1.1 m2 at 50 um dry, 40 % solids and 20 % loss want 171.875 ml."""
    finding = check_film_on_record(ROCKER, with_line(quantity_ml=Decimal(millilitres)))
    assert (finding.answer, finding.records, finding.shop_fell_short) == (expected, ("treatment 1",), True)


@pytest.mark.parametrize("lacks", ["area_m2", "target_dry_film_um", "volume_solids_percent", "quantity_ml"])
def test_without_a_value_the_film_cannot_be_told(lacks: str) -> None:
    assert check_film_on_record(ROCKER, with_line(**{lacks: None})).answer is CANNOT_BE_TOLD


def test_of_two_films_one_that_is_too_thin_fails_and_one_unknown_leaves_it_open() -> None:
    assert LINE.quantity_ml is not None
    thin, unknown = replace(LINE, product="Second", quantity_ml=Decimal(1)), replace(LINE, area_m2=None)
    half = replace(LINE, quantity_ml=LINE.quantity_ml / 2)
    in_total = replace(LINE, quantity_ml=None)
    for lines, expected in (
        ((LINE, thin), FAILS),
        ((unknown, thin), FAILS),
        ((thin, replace(unknown, product="Third")), FAILS),
        ((LINE, replace(unknown, product="Third")), CANNOT_BE_TOLD),
        ((LINE, LINE), HOLDS),
        # Two lots of a product are one film; where one is in the vehicle's total, it is never guessed.
        ((half,), FAILS),
        ((half, replace(half, lot="L-2")), HOLDS),
        ((half, replace(in_total, lot="L-2")), CANNOT_BE_TOLD),
        ((in_total,), CANNOT_BE_TOLD),
        ((in_total, thin), FAILS),
    ):
        assert check_film_on_record(ROCKER, keep(replace(FIRST, lines=lines))).answer is expected
    # The coat that began the cover is asked about, and no later one.
    later = keep(FIRST, replace(TOUCH_UP, lines=(thin,)))
    assert check_film_on_record(ROCKER, later).answer is HOLDS


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"lot_expires_on": START - DAY}, FAILS),
        ({"lot_expires_on": START}, HOLDS),
        ({"lot_expires_on": START + DAY}, HOLDS),
        ({"lot_expires_on": None}, CANNOT_BE_TOLD),
        ({"lot": None}, CANNOT_BE_TOLD),
        ({"lot_recalled_on": START - DAY}, FAILS),
        ({"lot_recalled_on": FOUND}, FAILS),
        ({"lot_recalled_on": FOUND + 400 * DAY}, FAILS),
        ({"lot_recalled_on": FOUND, "lot_expires_on": None}, FAILS),
    ],
)
def test_lots_in_date_and_not_recalled_whenever(changes: dict[str, object], expected: Answer) -> None:
    finding = check_lots(ROCKER, with_line(**changes))
    assert finding.answer is expected
    assert finding.records == ("treatment 1", "treatment 2")
    assert finding.shop_fell_short


def test_a_bad_lot_outweighs_an_unknown_one() -> None:
    unknown = replace(LINE, lot=None)
    recalled = replace(LINE, lot="FC-2", lot_recalled_on=FOUND)
    history = keep(replace(FIRST, lines=(unknown,)), replace(TOUCH_UP, lines=(recalled,)))
    finding = check_lots(ROCKER, history)
    wax = ProductName("Fenwax Cavity 40")
    told = explain("lots.recalled", lot=OwnWords("FC-2"), product=wax, recalled_on=FOUND)
    assert (finding.answer, finding.explanations) == (FAILS, (told,))
    sound = check_lots(ROCKER, keep(FIRST, TOUCH_UP))
    lot = explain("lots.lot", lot=OwnWords("FC-1"), product=wax)
    assert sound.explanations == (explain("lots.sound", lots=(lot,)),)


@pytest.mark.parametrize(
    ("conditions", "expected"),
    [
        (DRY, HOLDS),
        (replace(DRY, clean=False), FAILS),
        (replace(DRY, clean=None), CANNOT_BE_TOLD),
        (replace(DRY, clean=None, dry=False), FAILS),
        (None, CANNOT_BE_TOLD),
    ],
)
def test_the_surface_at_the_first_coat(conditions: object, expected: Answer) -> None:
    history = keep(replace(FIRST, conditions=conditions), replace(TOUCH_UP, conditions=None))  # type: ignore[arg-type]
    finding = check_conditions_on_record(ROCKER, history)
    assert (finding.answer, finding.records) == (expected, ("treatment 1",))


def test_a_damp_surface_is_fit_under_a_first_coat_that_displaces_water() -> None:
    damp = replace(FIRST, conditions=replace(DRY, dry=False))
    displacing = replace(LINE, family=ProductFamily.PENETRATING_FILM, water_displacing=True)
    for lines, expected in (
        ((LINE,), FAILS),
        ((displacing,), HOLDS),
        ((LINE, displacing), HOLDS),
        ((LINE, replace(displacing, zone="sill_right")), FAILS),
    ):
        found = check_conditions_on_record(ROCKER, keep(replace(damp, lines=lines)))
        assert found.answer is expected, lines


def test_only_of_enclosed_cavities_is_asked_whether_they_were_reached() -> None:
    for kind in ZoneKind:
        asked = check_reach_on_record(replace(ROCKER, kind=kind), HISTORY)
        assert bool(asked) is (kind is ZoneKind.ENCLOSED_CAVITY)
    for changes, expected in (
        ({}, HOLDS),
        ({"access_points_used": 1}, FAILS),
        ({"access_points_used": None}, CANNOT_BE_TOLD),
        ({"mist_seen_at_far_end": False}, FAILS),
        ({"pressure_kpa": None}, CANNOT_BE_TOLD),
        ({"pressure_kpa": None, "mist_seen_at_far_end": False}, FAILS),
    ):
        (finding,) = check_reach_on_record(ROCKER, with_line(**changes))  # type: ignore[arg-type]
        assert (finding.answer, finding.records, finding.shop_fell_short) == (expected, ("treatment 1",), True)
