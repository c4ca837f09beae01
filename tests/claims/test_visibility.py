"""What a dealership sees of a claim before and after it is decided, on the desk and by the API."""

from decimal import Decimal
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone
from rest_framework.authtoken.models import Token

from claims.decisions.services import decide_claim, reopen_claim
from claims.enums import DecisionKind
from claims.models import Claim, ClaimDecision
from tests.demo_records import load_demo
from treatments.models import User


@pytest.mark.django_db
def test_a_dealership_sees_findings_only_after_the_decision(tmp_path: Path) -> None:
    demo = load_demo(tmp_path, timezone.now())
    dealer, actor = User.objects.get(username="dealer"), User.objects.get(username="warranty")
    claim = Claim.objects.filter(cover__dealership=dealer.dealership).order_by("pk")[0]
    client = Client()
    client.force_login(dealer)
    token, _ = Token.objects.get_or_create(user=dealer)

    def sees() -> tuple[bool, bool]:
        page = client.get(f"/claims/{claim.number}/")
        told = client.get(f"/api/v1/claims/{claim.number}/", headers={"Authorization": f"Token {token.key}"}).json()
        assert page.status_code == 200
        text = page.content.decode()
        return 'class="list findings"' in text or "What follows from" in text, bool(told["findings"] or told["answer"])

    common = {"claim": claim, "now": timezone.now(), "actor": actor}
    assert sees() == (False, False)
    decision = decide_claim(
        kind=DecisionKind.GOODWILL,
        amount=Decimal(9),
        reason="x",
        day=demo.day,
        **common,  # type: ignore[arg-type]
    )
    ClaimDecision.objects.filter(pk=decision.pk).update(needs_second=False)
    assert sees() == (True, True)
    reopen_claim(reason="new evidence", **common)  # type: ignore[arg-type]
    assert sees() == (False, False)
