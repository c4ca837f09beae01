"""Sentences that the rules really produce are put into French whole: no English word is left in them."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, time
from decimal import Decimal

import pytest
from django.utils.translation import gettext, override
from hypothesis import given, settings

from claims.decisions.dossier import ClaimFile, read_claim_file
from claims.decisions.letters import render_letter
from claims.enums import DecisionKind
from claims.models import ClaimRequest
from claims.rules.letter import write_letter
from scheduling.covers.queries import read_cover_case
from scheduling.covers.rules.cover import cover_on
from scheduling.covers.rules.due import compute_due_items
from scheduling.covers.rules.due_item import DueItem
from scheduling.models import CoverChange
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_in_words import explain_terms
from tests.scheduling.oracle_cases import cases
from tests.scheduling.oracle_inputs import Case
from tests.scheduling.oracle_translate import say_facts, say_history, say_site, say_terms
from tests.stories.playing import Player
from tests.stories.reading import Story, read_stories
from treatments.models import Product, TreatmentLine, Zone
from treatments.rules.explanation import Explanation
from treatments.rules.formats import Money
from treatments.shared.rendering import render, render_all

# Words that no French sentence has; "on", "but", "a", "date" and the like are French too.
ENGLISH = re.compile(
    r"\b(the|of|is|was|were|with|and|not|no|for|by|to|in|it|its|this|that|until|since|after|before|there|which|"
    r"had|has|have|when|last|first|days?|months?|cover|vehicle|terms|done|shop|told|ask|claimed|covered|found|reported|treated|seen|reached|about|until|without)\b",
    re.IGNORECASE,
)


# An amount that was not put for people, e.g. 500.00 USD.
MONEY_OF_RULES = re.compile(r"\d\.\d\d [A-Z]{3}\b")
# The law of the United States is cited as it is there.
DATA_IN_LETTERS = ("15 U.S.C. 2301", "16 CFR 700-703")


def find_english_reason(item: DueItem, own_words: tuple[str, ...] = ()) -> str:
    """Return what is wrong with the French of why an item is due and of its dates."""
    dates = item.dates
    with override("fr"):
        return find_english_left(
            render_all([*item.reasons, dates.why_opens, dates.why_last, dates.why_grace]), own_words
        )


def find_english_left(told: str, own_words: tuple[str, ...] = ()) -> str:
    """Return the English words left in a French text; '' for none."""
    for word in own_words:
        told = told.replace(word, "")
    left = ENGLISH.findall(re.sub(r"’|\(ISO [^)]*\)|\[\w+]", " ", told))
    return f"{left} left in: {told}" if left or re.search(r"\d{4}-\d\d-\d\d", told) else ""


def list_explanations(file: ClaimFile) -> Iterator[Explanation]:
    """Yield everything that is explained in a claim's file."""
    for finding in file.check.findings:
        yield finding.question
        yield from finding.explanations
    recommended = file.recommendation
    yield from recommended.explanations
    for explanations in recommended.to_ask:
        yield from explanations
    if recommended.amount is not None:
        yield from (line.explanation for line in recommended.amount.lines)
        if recommended.amount.missing:
            yield recommended.amount.missing
    for deadline in file.deadlines:
        yield from deadline.explanations


@pytest.mark.parametrize("story", read_stories(), ids=lambda story: story.title)
def test_every_sentence_of_a_story_is_french(story: Story, db: None) -> None:
    claim = Player(story).play()
    known_on = story.details.get("known_on")
    file = read_claim_file(
        claim,
        as_of=max([story.claim.reported, *(line.on for line in story.handling)]),
        known_at=datetime.combine(known_on, time.max, UTC) if known_on else None,
    )
    names = dict(Zone.objects.values_list("code", "name"))
    own_words = (
        *Product.objects.values_list("name", flat=True),
        *TreatmentLine.objects.exclude(not_done_reason="").values_list("not_done_reason", flat=True),
        *CoverChange.objects.exclude(reason="").values_list("reason", flat=True),
        *ClaimRequest.objects.values_list("what", flat=True),
    )
    case = read_cover_case(claim.cover)
    items = case.read_due_items(story.claim.reported)
    assert [wrong for item in items if (wrong := find_english_reason(item, own_words))] == []
    with override("fr"):
        explained = [*list_explanations(file), *case.read_state(story.claim.reported).explanations]
        told = [render(explanation, names) for explanation in explained]
    assert [wrong for text in told if (wrong := find_english_left(text, own_words))] == []
    amount = file.recommendation.amount
    paid = amount.payable if amount and amount.payable else Money(Decimal(0), file.terms.currency)
    facts = file.letter_facts(story.claim.reported)
    own_words += (facts.shop, facts.vehicle, facts.terms_title, facts.shop_contact, *DATA_IN_LETTERS)
    for kind in DecisionKind:
        for language in ("en", "fr"):
            written = write_letter(facts, file.check, file.recommendation, kind=kind.value, amount=paid, reason="")
            letter = render_letter(written, language)
            assert [line for line in letter.split("\n") if MONEY_OF_RULES.search(line)] == []
        for word in own_words:
            letter = letter.replace(word, "")
        assert [line for line in letter.split("\n") if ENGLISH.search(line)] == []


@settings(max_examples=300)
@given(cases())
def test_every_sentence_of_a_random_cover_is_french(case: Case) -> None:
    terms, facts, history, site = say_terms(case.promise), say_facts(case), say_history(case), say_site(case)
    items = compute_due_items(terms, facts, history, site, case.asked_on)
    assert [wrong for item in items if (wrong := find_english_reason(item))] == []
    state = cover_on(terms, facts, history, site, case.asked_on)
    with override("fr"):
        assert find_english_left(render_all(state.explanations)) == ""
        assert [wrong for text in list_terms(terms) if (wrong := find_english_left(text))] == []


def list_terms(terms: Terms) -> Iterator[str]:
    """Yield every text of terms in words, in the language in use."""
    for part in explain_terms(terms):
        yield from (gettext(part.title), gettext(part.means))
        for line in part.lines:
            yield from (gettext(line.label), render(line.explanation), gettext(line.means))
