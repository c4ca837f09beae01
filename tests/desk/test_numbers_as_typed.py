"""Amounts and quantities as people write them, whatever the language of the browser: read or refused, never changed."""

from decimal import Decimal
from pathlib import Path
from uuid import uuid4

import pytest
from django import forms
from django.utils import timezone, translation

from claims.models import Claim
from desk.demo.load import DemoShop
from desk.forms.fields import NumberField
from desk.forms.questions import CONFIRMED
from tests.demo_records import load_demo
from tests.desk.test_claim_pages import decide as send_decision
from tests.desk.test_pages import log_in
from treatments.models import User


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


class OneNumberForm(forms.Form):
    amount = NumberField(max_digits=10, decimal_places=3, required=False)


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("1250,50", "1250.50"),
        ("1250.50", "1250.50"),
        ("1 250,50", "1250.50"),
        ("1.250,50", "1250.50"),
        ("1,250.50", "1250.50"),
        ("1.2340", "1.234"),  # the way out of 1.234, which is refused below
        ("1,2340", "1.234"),
        ("0.125", "0.125"),
    ],
)
def test_a_number_is_read_the_same_in_either_language(typed: str, read: str, language: str) -> None:
    with translation.override(language):
        form = OneNumberForm({"amount": typed})
        assert form.is_valid(), form.errors
    assert form.cleaned_data["amount"] == Decimal(read)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("1,250", "‘1,250’ can be read in two ways: write 1.2500 or 1250."),
        ("12.345", "‘12.345’ can be read in two ways: write 12.3450 or 12345."),
        ("about 5", "‘about 5’ is not a number: write digits, such as 1.25."),
        ("1e5", "‘1e5’ is not a number"),
        ("NaN", "‘NaN’ is not a number"),
        ("1.23456", "decimal places"),
        ("1" * 4000, "digits"),
        ("0." + "1" * 4000, "digits"),
    ],
)
def test_a_number_that_cannot_be_taken_is_refused_with_the_way_out(typed: str, told: str) -> None:
    form = OneNumberForm({"amount": typed})
    assert not form.is_valid() and told in form.errors["amount"][0]
    if "or" in told:
        for way_out in told.removesuffix(".").split("write ")[1].split(" or "):
            assert OneNumberForm({"amount": way_out}).is_valid(), way_out


def test_a_claim_takes_a_decimal_comma_and_refuses_what_can_be_read_in_two_ways(demo: DemoShop) -> None:
    client = log_in("writer")
    before = Claim.objects.order_by("pk").first()
    assert before is not None
    address = f"/covers/{before.cover.number}/new-claim/"
    page = client.get(address).content.decode()
    assert 'type="number"' not in page and page.count('inputmode="decimal"') > 2
    zone = before.zones.all()[0].code
    body = {
        "damage": before.damage, "zones": [zone], "reported_on": demo.day.isoformat(), "odometer": "84500,5",
        "odometer_unit": "km", CONFIRMED: f"84500.5 km {demo.day}", f"estimate_{zone}": "1250,50",
        "same_damage_reason": "at the other end",
        "form_key": str(uuid4()), "typed_by": str(User.objects.get(username="writer").pk),
    }  # fmt: skip
    unclear = client.post(address, body | {f"estimate_{zone}": "1,250"})
    told = unclear.content.decode()
    assert unclear.status_code == 400 and "‘1,250’ can be read in two ways: write 1.25 or 1250." in told
    assert 'value="1,250"' in told  # what was typed stays
    assert client.post(address, body).status_code == 302
    claim = Claim.objects.latest("pk")
    assert (claim.pk, claim.estimate_amount) != (before.pk, None)
    assert (claim.estimate_amount, claim.odometer_amount) == (Decimal("1250.50"), Decimal("84500.5"))
    handled = log_in("warranty")
    shown = handled.get(f"/claims/{claim.number}/").content.decode()
    assert 'type="number"' not in shown
    decide = {"kind": "goodwill", "amount": "100,5", "reason": "we regret it", "day": demo.day.isoformat()}
    assert handled.post(f"/claims/{claim.number}/do/decide/", decide | {"amount": "1.250"}).status_code == 400
    assert send_decision(handled, f"/claims/{claim.number}/", decide).status_code == 302
    decision = claim.decisions.get()
    assert decision.amount == Decimal("100.50")
    if not decision.stands:
        agree = {"decision": decision.pk, "agrees": "on"}
        assert log_in("owner").post(f"/claims/{claim.number}/do/second/", agree).status_code == 302
    pay = {"decision": decision.pk, "amount": "100,50", "paid_on": demo.day.isoformat(), "reference": "B-17"}
    assert handled.post(f"/claims/{claim.number}/do/pay/", pay).status_code == 302
    assert decision.payments.get().amount == Decimal("100.50")
