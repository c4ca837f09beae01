"""The rules against a second reading of the terms, written from the text alone, on random terms and pasts.

Where the two differ, fixtures/terms/MEANING.md decides which of them is wrong.
"""

import ast
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, event, given, seed, settings
from hypothesis import strategies as st

from scheduling.covers.rules.cover import assess_cover, cover_on
from scheduling.covers.rules.dates import make_table
from scheduling.covers.rules.due import compute_due_items
from scheduling.terms.rules.terms_document import find_contradictions
from tests.scheduling import oracle_translate
from tests.scheduling.oracle import Answer, tell
from tests.scheduling.oracle_cases import MOMENT, cases, promises
from tests.scheduling.oracle_duties import ONE_DAY, each_day
from tests.scheduling.oracle_inputs import (
    Case,
    Deal,
    Look,
    Odometer,
    Owner,
    Promise,
    Reinspection,
    Stay,
    TouchUp,
    Work,
    ZoneWork,
)
from tests.scheduling.oracle_translate import (
    Said,
    ask_oracle,
    ask_rules,
    ask_rules_for_changes,
    say_facts,
    say_history,
    say_site,
    say_terms,
)

pytestmark = pytest.mark.slow


def describe_difference(rules: Said, text: Said) -> str:
    """Name what differs, in lines that can be read; empty where nothing does."""
    lines = [
        f"{name}: rules {getattr(rules, name)}, text {getattr(text, name)}"
        for name in ("status", "percent", "since", "last_day", "renewed")
        if getattr(rules, name) != getattr(text, name)
    ]
    for who, rows in (("rules", rules.duties - text.duties), ("text", text.duties - rules.duties)):
        lines += [f"only {who}: " + " ".join(str(part) for part in row) for row in sorted(rows, key=str)]
    return "\n".join(lines)


def compare(case: Case) -> Answer:
    assert find_contradictions(say_terms(case.promise)) == []
    answer = tell(case)
    difference = describe_difference(ask_rules(case), ask_oracle(answer))
    assert not difference, f"{difference}\n{case}"
    return answer


def list_labels(case: Case, answer: Answer) -> Iterator[str]:
    """Say which parts of the text a case exercises."""
    yield f"cover {answer.status}"
    if answer.ended_by:
        yield f"ended by {answer.ended_by}"
    if answer.percent is not None and answer.percent < 100:
        yield "reduced"
    yield from (f"film of a zone: {renewed}" for _zone, renewed in answer.renewed)
    bare = tell(replace(case, facts=())) if case.facts else answer
    if len(bare.duties) > len(answer.duties):
        yield "touch-up: fell away"
    if (bare.status, answer.status) == ("pending", "in_force"):
        yield "begun without a zone that is out of the work"
    if tell(replace(case, looks=tuple(replace(look, zones=None) for look in case.looks))).duties != answer.duties:
        yield "an inspection that leaves a zone without an answer"
    duty = case.promise.reinspection
    for item in answer.duties:
        if duty and item.kind == "reinspection":
            yield f"{duty.anchor}: {item.status}"
            if item.status == "missed":
                yield f"missed {duty.missed_means}"
                yield f"{duty.anchor}: made up for" if item.settled_on else f"{duty.anchor}: not made up for"
        else:
            yield f"touch-up: {item.status}"
            if item.status == "missed" and item.settled_on:
                yield "touch-up: made up for"
        yield from list_date_labels(case, item.name, item.raw, item.target, item.grace)
        if any(name != item.name for name, _day in item.waivers):
            yield "waived under another day"
    yield from list_place_labels(case)


def list_place_labels(case: Case) -> Iterator[str]:
    """Say how places of use and waivers change what the terms say by themselves."""

    def list_raws(other: Case) -> dict[str, date]:
        return {duty.key: duty.raw for duty in tell(other).duties if duty.kind == "reinspection"}

    def list_statuses(other: Case) -> list[tuple[str, str]]:
        return sorted((duty.name, duty.status) for duty in tell(other).duties)

    if not case.promise.severe or not case.places:
        return
    raws, without = list_raws(case), list_raws(replace(case, places=()))
    for key in raws.keys() & without.keys():
        if raws[key] != without[key]:
            yield "a place makes a reinspection earlier" if raws[key] < without[key] else "a place makes one later"
    at_once = replace(case, places=tuple(replace(place, known_on=place.from_day) for place in case.places))
    if list_statuses(at_once) != list_statuses(case):
        yield "the shop knew of a place later than it began"


def list_date_labels(case: Case, key: str, raw: date, target: date, grace: date) -> Iterator[str]:
    if target < raw:
        yield "pulled into a season"
    if target > raw:
        yield "rolled"
    if any(name == key and grace < day <= case.asked_on for name, day in case.deal.waivers):
        yield "waived after the grace"
    if case.asked_on in (grace, grace + ONE_DAY):
        yield "asked on the last day of grace or the day after"


MUST_OCCUR = {
    "an inspection that leaves a zone without an answer",
    *(f"cover {status}" for status in ("pending", "in_force", "suspended", "lapsed", "expired", "ended")),
    *(f"ended by {cause}" for cause in ("registration", "person", "missed", "term", "distance")),
    *(f"ended by transfer{how}" for how in (" not allowed", "s used up", " told too late")),
    *(f"missed {means}" for means in ("nothing", "suspends", "lapses", "reduces")),
    *(
        f"{anchor}: {became}"
        for anchor in ("anniversary", "last_visit")
        for became in ("open", "done", "waived", "missed", "made up for", "not made up for")
    ),
    *(f"touch-up: {became}" for became in ("open", "done", "waived", "missed", "made up for")),
    *(f"film of a zone: {renewed}" for renewed in ("nothing missed", "omitted by the shop", "against the customer")),
    "touch-up: fell away",
    "begun without a zone that is out of the work",
    "reduced",
    "pulled into a season",
    "rolled",
    "waived after the grace",
    "waived under another day",
    "a place makes a reinspection earlier",
    "a place makes one later",
    "the shop knew of a place later than it began",
    "asked on the last day of grace or the day after",
}


@given(cases())
def test_rules_say_what_the_text_says(case: Case) -> None:
    answer = compare(case)
    for label in set(list_labels(case, answer)):
        event(label)


@given(cases())
def test_one_walk_gives_the_state_and_the_due_items(case: Case) -> None:
    terms, facts, history, site = say_terms(case.promise), say_facts(case), say_history(case), say_site(case)
    assessment = assess_cover(make_table(terms, site), facts, history, case.asked_on)
    assert assessment.list_due_items() == compute_due_items(terms, facts, history, site, case.asked_on)
    assert assessment.state == cover_on(terms, facts, history, site, case.asked_on)


@pytest.fixture(scope="module")
def labels_seen() -> Counter[str]:
    """Count the labels of a fixed sample: several seeds, since one run of examples stays close to its first ones."""
    seen: Counter[str] = Counter()
    for number in range(4):

        @seed(number)
        @settings(
            max_examples=200,
            derandomize=False,
            database=None,
            deadline=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(cases())
        def count(case: Case) -> None:
            seen.update(set(list_labels(case, tell(case))))

        count()
    return seen


@pytest.mark.parametrize("label", sorted(MUST_OCCUR))
def test_the_cases_exercise_every_part_of_the_text(label: str, labels_seen: Counter[str]) -> None:
    assert labels_seen[label]


def compare_changes(case: Case, moved_on: date, moved_to: Promise, first: date, last: date) -> None:
    """Walk the days from first to last; the list of changes must give the state of each, and no change twice."""
    listed = ask_rules_for_changes(case, ((date.min, case.promise), (moved_on, moved_to)), first, last)
    states = {day: (status, percent) for day, status, percent in listed}
    now: tuple[str, Decimal | None] | None = None
    for day in each_day(first, last):
        now = states.get(day, now)
        text = tell(replace(case, asked_on=day, promise=case.promise if day < moved_on else moved_to))
        assert now == (text.status, text.percent), (day, listed, case, moved_on, moved_to)


@given(cases(), promises(), st.integers(-5, 17), st.booleans())
def test_the_changes_of_a_cover_are_those_of_walking_day_by_day(
    case: Case, other: Promise, after: int, moves: bool
) -> None:
    assert not any(find_contradictions(say_terms(promise)) for promise in (case.promise, other))
    first, last = case.asked_on - 8 * ONE_DAY, case.asked_on + 8 * ONE_DAY
    compare_changes(case, first + after * ONE_DAY, other if moves else case.promise, first, last)


def test_the_oracle_shares_nothing_with_the_rules() -> None:
    ours_alone = {"oracle", "oracle_duties", "oracle_inputs", "oracle_records"}
    for name in ours_alone:
        tree = ast.parse(Path(__file__).with_name(f"{name}.py").read_text("utf-8"))
        imported = [node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
        imported += [alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names]
        ours = {module for module in imported if module.partition(".")[0] not in sys.stdlib_module_names}
        assert ours <= {f"tests.scheduling.{other}" for other in ours_alone}


START = date(2024, 2, 29)
YEARLY = Reinspection(12, 12, "anniversary", 60, 0, 30, "suspends")
WAX = ZoneWork("rocker_left", "enclosed_cavity", "cavity_wax")
FIRST = Work("first", START, "first_treatment", (WAX,))
FIRST_DUTY = "reinspection:2025-02-28"
SAMPLE = Case(
    Promise(YEARLY, (TouchUp(12),), length_months=60),
    Deal(START),
    date(2025, 6, 1),
    (FIRST,),
    (Look(date(2025, 2, 20), "reinspection"),),
)


@pytest.mark.parametrize("part", ["target_on", "opens_on", "last_on", "grace_until", "done_on"])
def test_a_day_too_late_in_one_due_item_is_noticed(part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    compare(SAMPLE)
    honest = oracle_translate.compute_due_items

    def shift(*given: object) -> tuple[object, ...]:
        first, *others = honest(*given)  # type: ignore[arg-type]
        if part == "done_on":
            return (replace(first, done_on=(first.done_on or START) + ONE_DAY), *others)
        dates = replace(first.dates, **{part: getattr(first.dates, part) + ONE_DAY})
        return (replace(first, dates=dates), *others)

    monkeypatch.setattr(oracle_translate, "compute_due_items", shift)
    with pytest.raises(AssertionError, match="only rules"):
        compare(SAMPLE)


def test_a_wrong_answer_of_each_other_kind_is_noticed() -> None:
    text = ask_oracle(tell(SAMPLE))
    assert not describe_difference(ask_rules(SAMPLE), text)
    for wrong in (
        replace(text, status="lapsed"),
        replace(text, percent=Decimal(50)),
        replace(text, since=START),
        replace(text, last_day=START),
        replace(text, renewed=(("rocker_left", "against the customer"),)),
        replace(text, duties=set(list(text.duties)[1:])),
    ):
        assert describe_difference(ask_rules(SAMPLE), wrong)


def test_a_state_that_begins_a_day_late_is_noticed() -> None:
    """The oracle is asked about the day before: one of the days on which the state changes must show it."""
    unseen = replace(SAMPLE, looks=())
    first_day = date(2025, 3, 31)
    assert tell(replace(unseen, asked_on=first_day)).status == "suspended"
    assert describe_difference(
        ask_rules(replace(unseen, asked_on=first_day)), ask_oracle(tell(replace(unseen, asked_on=first_day - ONE_DAY)))
    )


# Differences that random cases found, each cut down to what it needs. The text decided each of them.


def test_of_two_waivers_of_one_duty_the_earlier_counts_in_whatever_order_they_are_given() -> None:
    given_twice = ((FIRST_DUTY, date(2025, 6, 10)), (FIRST_DUTY, date(2025, 2, 1)))
    compare(replace(SAMPLE, looks=(), deal=Deal(START, waivers=given_twice)))


def test_a_limit_reached_on_a_whole_day_between_readings_is_not_said_to_be_a_day_later() -> None:
    """100 km a day: 100,000 km are reached on the second day after the first reading, to the day."""
    readings = (Odometer(date(2025, 1, 1), Decimal(99_800)), Odometer(date(2025, 1, 15), Decimal(101_200)))
    promise = Promise(distance_limit_km=Decimal(100_000))
    reached = Case(promise, Deal(START), date(2025, 1, 3), (FIRST,), odometer=readings)
    assert tell(reached).status == "expired"
    compare(reached)


def test_a_limit_counted_from_a_start_between_readings_is_reached_to_the_day() -> None:
    """A sixth of a kilometre a day: one more than on the day of the first treatment is reached six days after it."""
    readings = tuple(Odometer(START + n * ONE_DAY, Decimal(km)) for n, km in ((-1, 0), (5, 1), (11, 2)))
    promise = Promise(distance_limit_km=Decimal(1), distance_from="first_treatment")
    reached = Case(promise, Deal(START), START + 6 * ONE_DAY, (FIRST,), odometer=readings)
    assert tell(reached).status == "expired"
    compare(reached)


def test_the_day_of_a_late_waiver_is_in_the_list_of_changes() -> None:
    case = replace(SAMPLE, looks=(), deal=Deal(START, waivers=((FIRST_DUTY, date(2025, 5, 1)),)))
    compare_changes(case, date(2025, 6, 1), case.promise, START, date(2025, 6, 30))


def test_what_a_cover_was_under_the_terms_before_a_move_stays_in_the_list_of_changes() -> None:
    every_second_year = Promise(replace(YEARLY, first_after_months=24, interval_months=24))
    case = replace(SAMPLE, promise=Promise(YEARLY), looks=())
    compare_changes(case, date(2025, 6, 1), every_second_year, START, date(2025, 12, 31))


def tell_status(case: Case, day: date) -> str:
    """Return the state of the cover on a day, where rules and text agree on it."""
    return compare(replace(case, asked_on=day)).status


SOLD_TWICE = Case(
    Promise(YEARLY, notice_days=30),
    Deal(START, told_on=(date(2024, 12, 20),)),
    date(2024, 11, 1),
    (FIRST,),
    owners=(Owner(START), Owner(date(2024, 8, 1)), Owner(date(2024, 12, 1))),
)


def test_a_note_of_transfer_belongs_to_the_change_before_it_and_to_no_other() -> None:
    """The note of 20 December is in time for the second change and says nothing about the first."""
    for day in (date(2024, 8, 31), date(2024, 9, 1), date(2024, 11, 30), date(2024, 12, 1), date(2025, 1, 15)):
        assert tell_status(SOLD_TWICE, day) == "in_force", day
    sold_once = replace(SOLD_TWICE, owners=SOLD_TWICE.owners[:2])
    assert tell_status(sold_once, date(2024, 8, 31)) == "in_force"
    assert tell_status(sold_once, date(2024, 9, 1)) == "ended"


def test_a_note_on_the_day_of_a_change_belongs_to_that_change_and_the_day_before_to_the_one_before() -> None:
    for noted_on, expected in ((date(2024, 12, 1), "in_force"), (date(2024, 11, 30), "ended")):
        case = replace(SOLD_TWICE, deal=Deal(START, told_on=(noted_on,)))
        assert tell_status(case, date(2024, 9, 1)) == expected
        assert tell_status(case, date(2025, 1, 15)) == expected


def test_a_note_is_of_the_first_change_as_long_as_the_second_was_not_written_down() -> None:
    later = MOMENT + timedelta(days=1)
    owners = (*SOLD_TWICE.owners[:2], replace(SOLD_TWICE.owners[2], written_at=later))
    assert tell_status(replace(SOLD_TWICE, owners=owners, known_at=MOMENT), date(2024, 9, 1)) == "ended"
    assert tell_status(replace(SOLD_TWICE, owners=owners, known_at=later), date(2024, 9, 1)) == "in_force"


def test_a_note_of_a_change_before_the_first_treatment_is_none_of_a_change_after_it() -> None:
    """An amendment moves the first treatment past the first sale, which then is no change that counts."""
    owners = (Owner(START - ONE_DAY), Owner(START + ONE_DAY), Owner(START + 60 * ONE_DAY))
    noted = Deal(START, told_on=(START + 40 * ONE_DAY,))
    case = replace(SOLD_TWICE, owners=owners, deal=noted)
    assert tell_status(case, START + 100 * ONE_DAY) == "ended"
    moved = Work("moved", START + ONE_DAY, "first_treatment", (WAX,), "first")
    assert tell_status(replace(case, works=(FIRST, moved)), START + 100 * ONE_DAY) == "in_force"


@given(cases(), st.integers(1, 400), st.integers(0, 400))
def test_a_later_sale_and_its_note_change_no_earlier_day(case: Case, sold_after: int, noted_after: int) -> None:
    """As far as the earlier owners are on record: who sells again can't undo or end what was before."""
    last = max([case.asked_on, *(owner.from_day for owner in case.owners), *case.deal.told_on])
    sold = last + sold_after * ONE_DAY
    owners = (*(case.owners or (Owner(date(2019, 1, 1)),)), Owner(sold))
    noted = replace(case.deal, told_on=(*case.deal.told_on, sold + noted_after * ONE_DAY))
    before = tell(case)
    after = compare(replace(case, owners=owners, deal=noted))
    assert (before.status, before.percent, before.since) == (after.status, after.percent, after.since)


def draw_presence(kind: str, day: date) -> dict[str, object]:
    """Return what one visit of a kind adds to a case: work on no claimed zone, a look, or a finished visit."""
    if kind == "finished visit":
        return {"stays": Stay(day, day)}
    if kind in ("after_repair", "annual_touch_up", "first_treatment"):
        return {"works": Work("presence", day, kind, (ZoneWork("tail_light", "enclosed_cavity", None),))}
    return {"looks": Look(day, kind)}


PRESENCES = ("after_repair", "annual_touch_up", "first_treatment", "intake", "reinspection", "claim", "finished visit")


@given(cases(), st.sampled_from(PRESENCES), st.integers(0, 400), st.booleans())
def test_any_presence_in_window_or_grace_is_the_omission_of_the_shop_whatever_the_terms_ask(
    case: Case, kind: str, after: int, outside: bool
) -> None:
    """Any treatment, inspection or finished visit, while each missed touch-up of a zone was due; none beside it."""
    answer = tell(case)
    missed = [d for d in answer.duties if d.kind == "touch_up" and d.status == "missed" and d.settled_on is None]
    for zone, found in answer.renewed:
        due = [duty for duty in missed if zone in duty.zones]
        if found != "against the customer" or len(due) != 1:
            continue
        opens, grace = due[0].opens, due[0].grace
        day = opens + (after % ((grace - opens).days + 1)) * ONE_DAY
        if outside:
            day = grace + ONE_DAY if after % 2 else opens - ONE_DAY
        (added,) = draw_presence(kind, day).items()
        was_there = replace(case, **{added[0]: (*getattr(case, added[0]), added[1])})
        expected = "against the customer" if outside else "omitted by the shop"
        assert dict(ask_rules(was_there).renewed)[zone] == expected, (day, opens, grace, was_there)
        event(f"{kind}: {expected}")
