"""Whole claims as a shop would tell them, played through the services; what must come out is worked out by hand.

The stories are the TOML files beside this one; README.md says how to write one.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime, time

import pytest

from claims.decisions.dossier import ClaimFile, read_claim_file
from claims.rules.recommend import Outcome
from scheduling.terms.rules.terms import MissedMeans
from tests.stories.playing import Player
from tests.stories.reading import Story, read_file, read_stories
from tests.stories.words import BOUNDARY_KINDS, SIDES, StoryError, list_rules
from treatments.enums import Answer
from treatments.event_log import verify_log
from treatments.shared.rendering import render, render_all

STORIES = read_stories()


def mark(story: Story) -> object:
    """Return the story as a parameter; one that the program is known to tell otherwise must fail until it is mended."""
    why = story.known_difference
    marks = [pytest.mark.xfail(reason=why, raises=AssertionError, strict=True)] if why else []
    return pytest.param(story, id=story.title, marks=marks)


@pytest.mark.parametrize("story", [mark(story) for story in STORIES])
def test_story(story: Story, db: None) -> None:
    claim = Player(story).play()
    known_on = story.details.get("known_on")
    known_at = datetime.combine(known_on, time.max, UTC) if known_on else None
    as_of = max([story.claim.reported, *(line.on for line in story.handling)])
    file = read_claim_file(claim, as_of=as_of, known_at=known_at)
    assert find_differences(story, file) == [], tell(file)
    # Every service signs off what it writes.
    assert list(verify_log()) == []


def find_differences(story: Story, file: ClaimFile) -> list[str]:
    """Return what came out otherwise than the story says, in words."""
    expected, recommended = story.expect, file.recommendation
    found = {(finding.rule, finding.zone): finding for finding in file.check.findings}
    different = []
    for key, answer in expected.findings.items():
        given = str(found[key].answer) if key in found else "not asked"
        if given != answer:
            different.append(f"{name(key)}: {answer} expected, {given} found")
    if recommended.outcome.value != expected.recommend:
        different.append(f"recommend: {expected.recommend} expected, {recommended.outcome} found")
    if expected.amount is not None:
        sheet = recommended.amount
        payable = sheet.payable.amount if sheet is not None and sheet.payable is not None else 0
        if payable != expected.amount:
            different.append(f"amount: {expected.amount} expected, {payable} found")
    if expected.shop_fell_short is not None:
        short = {(finding.rule, finding.zone) for finding in recommended.shop_duty}
        for key in short ^ expected.shop_fell_short:
            different.append(f"shop fell short in {name(key)}: {'found' if key in short else 'not found'}")
    due = {deadline.step.value: deadline.due_on for deadline in file.deadlines}
    for step, day in expected.deadlines.items():
        if due.get(step) != day:
            different.append(f"deadline to {step}: {day} expected, {due.get(step)} found")
    return different


def name(key: tuple[str, str | None]) -> str:
    rule, zone = key
    return f"{rule.replace('_', ' ')}{f' of {zone}' if zone else ''}"


def tell(file: ClaimFile) -> str:
    """Return the whole file in words, so that a difference can be understood without running anything."""
    lines = [f"{file.recommendation.outcome}: {render_all(file.recommendation.explanations)}"]
    lines += [f"{name((f.rule, f.zone))}: {f.answer}: {render_all(f.explanations)}" for f in file.check.findings]
    if file.recommendation.amount is not None:
        lines += [render(line.explanation) for line in file.recommendation.amount.lines]
        missing = file.recommendation.amount.missing
        lines += [render(missing)] if missing else []
    return "\n".join(lines)


# These speak only where two records contradict each other, so they neither hold nor fail.
ONLY_DOUBTS = {"in_service"}


def test_the_stories_are_enough() -> None:
    assert len(STORIES) >= 60
    told = {rule for story in STORIES for rule, _ in story.expect.findings}
    assert told == list_rules(), "every rule that check_claim can give is told of"
    for answer in (Answer.HOLDS, Answer.FAILS):
        with_answer = {
            rule
            for story in STORIES
            for (rule, _), given in story.expect.findings.items()
            if given == answer
        }  # fmt: skip
        assert list_rules() - ONLY_DOUBTS - with_answer == set(), f"every rule is told of as one that {answer}"
    assert {story.expect.recommend for story in STORIES} == {outcome.value for outcome in Outcome}
    assert {story.missed_means for story in STORIES} == {*(means.value for means in MissedMeans), None}
    sides = {story.boundary for story in STORIES if story.boundary}
    assert sides == {(kind, side) for kind in BOUNDARY_KINDS for side in SIDES}
    assert all(len(story.why) > 30 for story in STORIES)


GOOD = """
[[story]]
title = "A vehicle that was well kept"
why = "It was seen within the window, so the cover is in force."
terms = "lifetime-yearly"
history = [{ on = 2023-03-14, what = "first treatment" }]
claim = { found = 2023-09-04, reported = 2023-09-05, zones = { "Left rocker panel" = 600 } }
expect = { recommend = "pay", amount = 500 }
"""


def change(old: str, new: str) -> Callable[[str], str]:
    def changed(text: str) -> str:
        assert old in text
        return text.replace(old, new)

    return changed


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (change("why =", "because ="), r"good\.toml, 'A vehicle that was well kept', key 'because': there is no such"),
        (change('why = "It was seen within the window, so the cover is in force."', ""), "the key 'why' is missing"),
        (change("lifetime-yearly", "lifetime-yaerly"), "key 'terms': .* Write lifetime-yearly"),
        (change("first treatment", "first treatmnet"), "history line 1, key 'what': .* Write first treatment"),
        (change("on = 2023-03-14, ", "day = 2023-03-14, "), "history line 1, key 'day': there is no such key"),
        (change("2023-03-14", '"2023-03-14"'), "history line 1, key 'on': .* is no date"),
        (change("Left rocker panel", "Left roker panel"), "claim, key 'zones': .* Write Left rocker panel"),
        (change('recommend = "pay"', 'recommend = "goodwill"'), "expect, key 'recommend': there is no 'goodwill'"),
        (change(", amount = 500", ""), "expect, key 'amount': say how much is paid"),
        (change("= 600", '= "600"'), "claim, key 'zones': '600' is no number"),
        (change("amount = 500", 'findings = { "treted" = "holds" }'), "key 'findings': there is no rule 'treted'"),
        (change("amount = 500", 'findings = { "distance" = "yes" }'), "key 'findings': there is no 'yes'"),
        (
            change("history", 'but = { "claims.notise_days" = 3 }\nhistory'),
            r"key 'but': .*claims\.notise_days",
        ),
        (change("history", 'boundary = "grace, just"\nhistory'), "key 'boundary': there is no 'just'"),
        (
            change('treatment" }]', 'treatment" }, { on = 2023-03-01, what = "reinspection" }]'),
            "history line 2, key 'on': 2023-03-01 is before the line above",
        ),
        (change("[[story]]", "[[storys]]"), "key 'storys': begin each story with a line"),
    ],
)
def test_a_mistake_in_a_story_is_told_with_file_story_and_key(spoil: Callable[[str], str], message: str) -> None:
    (story,) = read_file("good.toml", GOOD)
    assert (story.claim.found, story.expect.recommend) == (date(2023, 9, 4), "pay")
    with pytest.raises(StoryError, match=message):
        read_file("good.toml", spoil(GOOD))


def test_a_story_that_comes_out_otherwise_is_told_in_words(db: None) -> None:
    (story,) = read_file("good.toml", GOOD)
    (wrong,) = read_file("good.toml", GOOD.replace("amount = 500", "amount = 501"))
    file = read_claim_file(Player(story).play(), as_of=story.claim.reported)
    assert find_differences(story, file) == []
    assert find_differences(wrong, file) == ["amount: 501 expected, 500.00 found"]
