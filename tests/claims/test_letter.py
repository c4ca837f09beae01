"""The letter in its receiver's language: what the rules write is translated, what a person typed is not."""

from decimal import Decimal
from pathlib import Path

import pytest
from django.utils import timezone

from claims.decisions.letters import DecisionDraft
from claims.decisions.services import DecisionChangedError, decide_claim, draft_decision
from claims.enums import DecisionKind
from claims.models import Claim
from claims.queries import find_claimant
from desk.demo.load import DemoShop
from tests.demo_records import load_demo
from treatments.models import User, Zone

NOW = timezone.now()
TYPED = "We will pay 500.00 USD."


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, NOW)


@pytest.fixture
def claim(demo: DemoShop) -> Claim:
    """A claim of somebody who reads French."""
    found = Claim.objects.get(claimed_zones__zone__code="rocker_left")
    claimant = find_claimant(found)
    assert claimant is not None
    claimant.language = "fr"
    claimant.save()
    return found


def draft(claim: Claim, demo: DemoShop, reason: str = TYPED) -> DecisionDraft:
    actor = User.objects.get(username="warranty")
    return draft_decision(
        claim=claim, kind=DecisionKind.GOODWILL, amount=Decimal(500), reason=reason, day=demo.day, now=NOW, actor=actor
    )


def test_a_french_letter_keeps_what_a_person_typed_that_reads_like_ours(claim: Claim, demo: DemoShop) -> None:
    letter = draft(claim, demo).decision.letter
    assert f"Motif\N{NARROW NO-BREAK SPACE}: {TYPED}" in letter.split("\n\n")
    assert "500,00\N{NO-BREAK SPACE}$US" in letter
    assert letter.count(TYPED) == 1 and "We will pay" not in letter.replace(TYPED, "")
    # A zone of the catalogue has a French name, and one that the shop named itself stays.
    assert "Left rocker panel" not in letter
    Zone.objects.filter(code="rocker_left").update(name="Sill by the shop's own name")
    assert "Sill by the shop's own name" in draft(claim, demo).decision.letter


def test_braces_and_per_cent_signs_of_a_person_stand_as_typed(claim: Claim, demo: DemoShop) -> None:
    odd = "50 % {amount} %(day)s {0} 2026-01-02"
    assert odd in draft(claim, demo, odd).decision.letter


def test_a_decision_is_known_again_by_its_codes_and_not_by_its_wording(
    claim: Claim, demo: DemoShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = draft(claim, demo)
    assert draft(claim, demo).compute_sha256() == shown.compute_sha256()
    assert draft(claim, demo, "another").compute_sha256() != shown.compute_sha256()
    monkeypatch.setattr("claims.decisions.services.render_letter", lambda letter, language: "worded otherwise")
    reworded = draft(claim, demo)
    assert reworded.decision.letter != shown.decision.letter
    assert reworded.compute_sha256() == shown.compute_sha256()


def test_a_letter_in_another_language_is_not_the_one_that_was_shown(claim: Claim, demo: DemoShop) -> None:
    shown = draft(claim, demo)
    claimant = find_claimant(claim)
    assert claimant is not None
    claimant.language = "en"
    claimant.save()
    with pytest.raises(DecisionChangedError) as refused:
        decide_claim(
            claim=claim, kind=DecisionKind.GOODWILL, amount=Decimal(500), reason=TYPED, day=demo.day, now=NOW,
            actor=User.objects.get(username="warranty"), shown_sha256=shown.compute_sha256(),
        )  # fmt: skip
    assert refused.value.explanation.code == "refused.letter_changed"
    assert not claim.decisions.exists()
