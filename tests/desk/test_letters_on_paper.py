"""The letter of a decision and a message on paper: who may print them, and that they say what was kept."""

import io
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from claims.decisions.services import decide_claim, reopen_claim
from claims.enums import DecisionKind
from claims.models import Claim, ClaimDecision
from desk.demo.load import DemoShop
from notifications.enums import MessageKind
from notifications.models import Message
from scheduling.models import Cover
from tests.demo_records import load_demo
from tests.desk.test_pages import log_in
from treatments.models import Customer, Dealership, User


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture
def decision(demo: DemoShop) -> ClaimDecision:
    """A refusal on a claim of the dealership's."""
    dealership = User.objects.get(username="dealer").dealership
    claim = Claim.objects.filter(cover__dealership=dealership, decisions__isnull=True).order_by("pk")[0]
    Customer.objects.filter(pk=claim.cover.holder_id).update(address="7 Harbour Row\nSaltmarsh", language="fr")
    by: dict[str, Any] = {"now": timezone.now(), "actor": User.objects.get(username="warranty"), "day": demo.day}
    return decide_claim(claim=claim, kind=DecisionKind.REFUSE, amount=Decimal(0), reason="repaired elsewhere", **by)


def read_text(content: bytes) -> str:
    return " ".join("\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages).split())


def find_address(decision: ClaimDecision) -> str:
    return reverse("desk:claim_letter_pdf", args=[decision.claim.number, decision.pk])


def test_the_letter_is_printed_as_it_was_kept_with_the_address_of_its_receiver(decision: ClaimDecision) -> None:
    client = log_in("warranty")
    page = client.get(reverse("desk:claim_letter", args=[decision.claim.number, decision.pk]))
    assert find_address(decision) in page.content.decode()
    answer = client.get(find_address(decision))
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.content == client.get(find_address(decision)).content
    text = read_text(answer.content)
    for line in filter(None, decision.letter.splitlines()):
        assert " ".join(line.split()[:6]) in text, line
    assert "Harbour Row" in text and "Page 1 sur" in text


def test_a_letter_keeps_its_language_whatever_its_receiver_reads_by_now(decision: ClaimDecision) -> None:
    Customer.objects.update(language="en")
    text = read_text(log_in("warranty").get(find_address(decision)).content)
    assert "Page 1 sur" in text


def test_a_letter_keeps_its_receiver_once_it_was_sent(decision: ClaimDecision) -> None:
    claim, holder = decision.claim, decision.claim.cover.holder
    assert holder is not None
    former = Customer.objects.exclude(pk=holder.pk).order_by("pk")[0]
    Customer.objects.filter(pk=former.pk).update(address="3 Former Lane")
    client, now = log_in("warranty"), timezone.now()
    assert "Harbour Row" in read_text(client.get(find_address(decision)).content)
    Message.objects.create(
        key=f"claim_decided:{claim.number}:{decision.pk}:{former.pk}", customer=former, cover=claim.cover, claim=claim,
        kind=MessageKind.CLAIM_DECIDED, address="a@example.org", subject="x", body="x", due_at=now, created_at=now,
    )  # fmt: skip
    text = read_text(client.get(find_address(decision)).content)
    assert "Former Lane" in text and "Harbour Row" not in text


def test_a_letter_that_no_longer_stands_says_so(decision: ClaimDecision) -> None:
    client = log_in("warranty")
    before = read_text(client.get(find_address(decision)).content)
    reopen_claim(
        claim=decision.claim, reason="a photo came", now=timezone.now(), actor=User.objects.get(username="warranty")
    )
    after = read_text(client.get(find_address(decision)).content)
    assert "rouverte" in after and "rouverte" not in before


@pytest.mark.parametrize(
    ("username", "status"), [("warranty", 200), ("owner", 200), ("dealer", 200), ("writer", 403), ("lift", 403)]
)
def test_who_reads_claims_prints_the_letter(decision: ClaimDecision, username: str, status: int) -> None:
    assert log_in(username).get(find_address(decision)).status_code == status


def test_a_dealership_prints_no_letter_that_it_may_not_read(decision: ClaimDecision) -> None:
    other = Dealership.objects.create(code="other", name="Other Vehicles")
    User.objects.filter(username="dealer").update(dealership=other)
    assert log_in("dealer").get(find_address(decision)).status_code == 404
    assert log_in("owner").get(find_address(decision)).status_code == 200


@pytest.fixture
def message(demo: DemoShop) -> Message:
    cover = Cover.objects.filter(holder__isnull=False).order_by("pk")[0]
    now = timezone.now()
    assert cover.holder is not None
    return Message.objects.create(
        key="a letter", customer=cover.holder, cover=cover, kind=MessageKind.VISIT_DUE, address="a@example.org",
        subject="Your visit is due", body="Good day,\n\nyour vehicle is due.\n\nThe shop", due_at=now,
        created_at=now - timedelta(days=1),
    )  # fmt: skip


@pytest.mark.parametrize(("username", "status"), [("writer", 200), ("warranty", 200), ("owner", 200), ("dealer", 403)])
def test_who_reminds_prints_a_message_as_a_letter(message: Message, username: str, status: int) -> None:
    address = reverse("desk:message_letter", args=[message.pk])
    client = log_in(username)
    answer = client.get(address)
    assert answer.status_code == status
    assert message.cover is not None
    page = client.get(reverse("desk:vehicle", args=[message.cover.vehicle.vin]) + "?kind=message")
    assert (address in page.content.decode()) is (status == 200)
    if status == 200:
        text = read_text(answer.content)
        assert message.customer.name in text and message.subject in text and "your vehicle is due" in text


@pytest.mark.parametrize(
    "body",
    [
        "Good day,\n\nChoose a time:\nhttp://a.example.org/my/Wy:1/\n\nThe shop\n\nStop these:\nhttps://b.example.org/stop/x/\n",
        "Good day, The shop https://a.example.org/my/Wy:1/ STOP\u202f: https://a.example.org/stop/x/",
        "Good day, The shop STOP: https://a.example.org/stop/x/",
    ],
    ids=["mail", "text", "text without a page"],
)
def test_no_signed_link_is_printed(message: Message, body: str) -> None:
    Message.objects.filter(pk=message.pk).update(body=body)
    text = read_text(log_in("owner").get(reverse("desk:message_letter", args=[message.pk])).content)
    assert "Good day," in text and "The shop" in text
    assert not [part for part in ("/my/", "/stop/", "Choose", "STOP", "Stop these") if part in text]


def test_a_message_that_is_not_there_is_not_found(message: Message) -> None:
    assert log_in("owner").get(reverse("desk:message_letter", args=[message.pk + 1])).status_code == 404
