"""Handling a claim on its page: what each role may do, errors that keep what was typed, and the state afterwards."""

import io
import re
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from PIL import Image

from claims.decisions.dossier import read_claim_file
from claims.decisions.services import ask_customer, decide_claim, reopen_claim
from claims.enums import DecisionKind
from claims.models import Claim, ClaimDecision, ClaimPayment, ClaimRequest
from claims.queries import find_claim
from claims.rules.deadlines import ClaimStep
from claims.rules.recommend import Outcome
from desk.demo.load import DemoShop
from desk.forms.questions import CONFIRMED
from desk.shared.shown import make_token
from scheduling.models import Cover
from tests.demo_records import load_demo
from tests.guards import past_the_guards
from treatments.enums import InspectionKind
from treatments.event_log.verification import find_checkpoints, verify_checkpoints
from treatments.models import Customer, User
from treatments.records.inspections import amend_inspection, record_inspection
from treatments.shared.shown import find_log_position


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture
def claim(demo: DemoShop) -> Claim:
    files = [read_claim_file(claim, as_of=demo.day) for claim in Claim.objects.all()]
    return next(file.claim for file in files if file.recommendation.outcome is Outcome.PAY)


def log_in(username: str) -> Client:
    client = Client()
    client.force_login(User.objects.get(username=username))
    return client


def make_key(username: str) -> dict[str, str]:
    return {"form_key": str(uuid4()), "typed_by": str(User.objects.get(username=username).pk)}


def decide(client: Client, page: str, values: dict[str, str]) -> Any:
    """Send a decision, read its letter, and send it as it was shown."""
    asked = client.post(f"{page}do/decide/", values)
    assert asked.status_code == 200, asked.content
    shown = re.search(r'name="shown_sha256" value="([0-9a-f]{64})"', asked.content.decode())
    assert shown is not None
    return client.post(f"{page}do/decide/", values | {"shown_sha256": shown[1]})


def test_an_administrator_handles_a_claim_from_report_to_payment(claim: Claim, demo: DemoShop) -> None:
    client = log_in("warranty")
    page = f"/claims/{claim.number}/"
    shown = client.get(page).content.decode()
    assert (
        "How the" not in shown
        and "Estimate for the zones on which the claim holds" in shown
        and "open days after" in shown
    )
    today = demo.day.isoformat()
    assert client.post(f"{page}do/acknowledge/", {"day": today}).status_code == 302
    asked = client.post(f"{page}do/ask/", {"what": "", "day": today})
    assert asked.status_code == 400 and "That was not done" in asked.content.decode()
    assert client.post(f"{page}do/ask/", {"what": "an invoice", "day": today}).status_code == 302
    assert "Still owed" in client.get(page).content.decode()
    request = claim.requests.get()
    assert client.post(f"{page}do/answer/", {"request": request.pk, "day": today}).status_code == 302
    assert client.post(f"{page}do/answer/", {"request": request.pk + 99, "day": today}).status_code == 400
    file = read_claim_file(claim, as_of=demo.day)
    assert file.recommendation.amount and file.recommendation.amount.payable
    payable = file.recommendation.amount.payable.amount
    wanted = {"kind": "pay", "amount": str(payable - 1), "reason": "", "day": today}
    refused = client.post(f"{page}do/decide/", wanted)
    assert refused.status_code == 400
    assert "Say why it is decided otherwise" in refused.content.decode()
    assert f'value="{payable - 1}"' in refused.content.decode()  # what was typed stays
    assert not claim.decisions.exists()
    assert decide(client, page, wanted | {"amount": str(payable)}).status_code == 302
    decision = claim.decisions.get()
    letter = client.get(f"{page}letters/{decision.pk}/").content.decode()
    assert "If you do not agree" in letter
    pay = {"decision": decision.pk, "amount": str(payable), "paid_on": today, "reference": "B-17"}
    assert client.post(f"{page}do/pay/", pay | {"amount": str(payable + 1)}).status_code == 400
    assert client.post(f"{page}do/pay/", pay).status_code == 302
    assert claim.decisions.get().payments.get().amount == payable
    assert client.post(f"{page}do/nothing/").status_code == 404
    assert client.get(f"{page}do/pay/").status_code == 405


def read_hidden(page: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found is not None, name
    return found[1]


def test_the_second_person_agrees_to_the_decision_that_was_read(claim: Claim, demo: DemoShop) -> None:
    first, second = User.objects.get(username="warranty"), log_in("owner")
    page = f"/claims/{claim.number}/"
    common: dict[str, Any] = {"claim": claim, "now": timezone.now(), "actor": first}
    good: dict[str, Any] = {"kind": DecisionKind.GOODWILL, "reason": "we regret it", "day": demo.day}
    small = decide_claim(amount=Decimal(900), **good, **common)
    with past_the_guards():
        ClaimDecision.objects.filter(pk=small.pk).update(needs_second=True)
    read = second.get(page).content.decode()
    assert "we will pay $900" in read  # the letter itself stands beside the button
    agree = {"decision": small.pk, "agrees": "on", "shown": read_hidden(read, "shown")}
    reopen_claim(reason="a digit was left out", **common)
    large = decide_claim(amount=Decimal(99000), **good, **common)
    with past_the_guards():
        ClaimDecision.objects.filter(pk=large.pk).update(needs_second=True)
    refused = second.post(f"{page}do/second/", agree)
    told = refused.content.decode()
    assert refused.status_code == 409 and "99,000" in told and "Send it all the same" not in told
    # Not even where the form claims to know of all that: it names the decision that is set aside.
    forged = second.post(f"{page}do/second/", agree | {"shown": make_token(find_log_position())})
    assert forged.status_code == 400
    assert not ClaimDecision.objects.filter(second_by__isnull=False).exists()
    read = second.get(page).content.decode()
    agree = {"decision": read_hidden(read, "decision"), "agrees": "on", "shown": read_hidden(read, "shown")}
    assert second.post(f"{page}do/second/", agree).status_code == 302
    assert ClaimDecision.objects.get(second_by__isnull=False).pk == large.pk


def test_a_decision_is_shown_with_its_letter_and_made_only_so(claim: Claim, demo: DemoShop) -> None:
    client, page = log_in("warranty"), f"/claims/{claim.number}/do/decide/"
    wanted = {"kind": "goodwill", "amount": "40", "reason": "we regret it", "day": demo.day.isoformat()}
    asked = client.post(page, wanted)
    shown = asked.content.decode()
    assert asked.status_code == 200 and "we will pay $40" in shown and not claim.decisions.exists()
    deadlines = read_claim_file(claim, as_of=demo.day).deadlines
    not_done = [deadline for deadline in deadlines if deadline.status in ("open", "paused", "overdue")]
    assert asked.context["open_deadlines"] == not_done and not_done
    back = client.post(page, wanted | {"change": "1"})
    assert back.status_code == 200 and "we regret it" in back.content.decode()
    # The letter changes without any change of the claim: with another name of its holder.
    holder = claim.cover.holder
    assert holder is not None
    Customer.objects.filter(pk=holder.pk).update(name="Robin Marsh-Reed")
    agreed = wanted | {"shown_sha256": read_hidden(shown, "shown_sha256")}
    refused = client.post(page, agreed)
    assert refused.status_code == 409 and "Robin Marsh-Reed" in refused.content.decode()
    assert not claim.decisions.exists()
    anew = wanted | {"shown_sha256": read_hidden(refused.content.decode(), "shown_sha256")}
    assert client.post(page, anew).status_code == 302
    kept = claim.decisions.get().letter
    (told,) = find_checkpoints(kept)
    # What was shown, with where the event log stood before the decision under it.
    assert kept.startswith(f"{refused.context['decision'].letter}\n\n")
    assert list(verify_checkpoints([told])) == []


def test_what_was_typed_is_sent_once_more_after_a_change_was_told(claim: Claim, demo: DemoShop) -> None:
    client, page, today = log_in("warranty"), f"/claims/{claim.number}/", demo.day
    shown = read_hidden(client.get(page).content.decode(), "shown")
    actor = User.objects.get(username="owner")
    ask_customer(claim=claim, what="a photo", day=today, now=timezone.now(), actor=actor)
    typed = {"what": "an invoice", "day": today.isoformat()}
    refused = client.post(f"{page}do/ask/", typed | {"shown": shown})
    told = refused.content.decode()
    assert refused.status_code == 409 and "the customer was asked for something" in told
    assert claim.requests.count() == 1
    again = {
        name: read_hidden(told[told.index("Look at it as it is now") :], name) for name in ("what", "day", "shown")
    }
    assert client.post(f"{page}do/ask/", again).status_code == 302
    assert [asked.what for asked in claim.requests.order_by("pk")] == ["a photo", "an invoice"]


def test_the_inspection_made_for_a_claim_is_named_on_its_page(claim: Claim, demo: DemoShop) -> None:
    client, page = log_in("warranty"), f"/claims/{claim.number}/"
    vehicle = claim.cover.vehicle
    common: dict[str, Any] = {"vehicle": vehicle, "site": claim.cover.site, "done_on": demo.day, "zones": []}
    common |= {"now": timezone.now(), "actor": None}
    assert "do/inspection/" not in client.get(page).content.decode()
    intake = record_inspection(kind=InspectionKind.INTAKE, **common)
    made = record_inspection(kind=InspectionKind.CLAIM, **common)
    assert "do/inspection/" in client.get(page).content.decode()
    for wrong in (str(intake.pk), "0", "x"):
        assert client.post(f"{page}do/inspection/", {"inspection": wrong}).status_code == 400
    assert client.post(f"{page}do/inspection/", {"inspection": str(made.pk)}).status_code == 302
    claim.refresh_from_db()
    told = client.get(page).content.decode()
    assert claim.inspection == made and "do/inspection/" not in told
    assert f"/inspections/{made.pk}/" in told[told.index("Deadlines") :]
    # An amended version takes its place, with its day.
    earlier = demo.day - timedelta(days=1)
    amended = {"reason": "the day before", "zones": [], "now": timezone.now(), "actor": None}
    newer = amend_inspection(inspection=made, done_on=earlier, **amended)
    file = read_claim_file(claim, as_of=demo.day)
    assert file.inspection is not None and (file.inspection_key, file.inspection.day) == (newer.pk, earlier)
    assert next(one for one in file.deadlines if one.step is ClaimStep.INSPECT).done_on == earlier
    told = client.get(page).content.decode()
    assert f"/inspections/{newer.pk}/" in told[told.index("Deadlines") :] and "do/inspection/" not in told
    assert read_claim_file(claim, as_of=demo.day, known_at=made.recorded_at).inspection is not None
    # Where it turns out to be no inspection for a claim, one is still wanted, and a replaced one is not taken.
    amend_inspection(inspection=newer, kind=InspectionKind.REINSPECTION, **amended)
    assert read_claim_file(claim, as_of=demo.day).inspection is None
    assert client.post(f"{page}do/inspection/", {"inspection": str(newer.pk)}).status_code == 400


def test_others_read_or_see_nothing(claim: Claim, demo: DemoShop) -> None:
    page = f"/claims/{claim.number}/"
    body = {"day": demo.day.isoformat()}
    assert log_in("warranty").post(f"{page}do/acknowledge/", body).status_code == 302
    for who in ("writer", "lift", "dealer"):
        assert log_in(who).post(f"{page}do/reopen/", {"reason": "x"}).status_code == 403, who
        assert log_in(who).get(f"{page}what-if/").status_code == 403, who
    if claim.cover.dealership is not None:
        seen = log_in("dealer").get(page).content.decode()
        assert "Decide and write the letter" not in seen


def test_a_service_writer_files_a_claim_and_the_same_one_not_twice(claim: Claim, demo: DemoShop) -> None:
    client, cover = log_in("writer"), claim.cover
    address = f"/covers/{cover.number}/new-claim/"
    assert log_in("lift").get(address).status_code == 403
    zones = [zone.code for zone in claim.zones.all()]
    body = {
        "damage": claim.damage, "zones": zones, "reported_on": demo.day.isoformat(), "description": "<b>rust</b>",
        "odometer": "1000", "odometer_unit": "km", CONFIRMED: f"1000 km {demo.day}", f"estimate_{zones[0]}": "250.00",
    } | make_key("writer")  # fmt: skip
    nothing = client.post(address, {"damage": claim.damage} | make_key("writer"))
    assert nothing.status_code == 400 and "not filed yet" in nothing.content.decode()
    twin = client.post(address, body)
    assert twin.status_code == 400 and "already claims this damage" in twin.content.decode()
    assert "&lt;b&gt;rust" in twin.content.decode()
    picture = io.BytesIO()
    Image.new("RGB", (30, 20), "brown").save(picture, "PNG")
    picture.name = "rust.png"
    text = io.BytesIO(b"not a picture")
    text.name = "rust.jpg"
    reason = {"same_damage_reason": "at the other end"}
    bad = client.post(address, body | reason | {"photos": [text]})
    assert bad.status_code == 400 and Claim.objects.filter(cover=cover).count() == 1
    picture.seek(0)
    filed = client.post(address, body | reason | {"photos": [picture]})
    assert filed.status_code == 302
    told = client.get(filed["Location"]).content.decode()
    assert "Claim filed:" in told and f"{cover.number}-R2" in told
    new = Claim.objects.exclude(pk=claim.pk).get(cover=cover)
    assert (new.estimate_amount, new.recorded_by.username) == (Decimal(250), "writer")
    assert new.photos.count() == 1


def draw(colour: str) -> io.BytesIO:
    picture = io.BytesIO()
    Image.new("RGB", (30, 20), colour).save(picture, "PNG")
    picture.seek(0)
    picture.name = "rust.png"
    return picture


def test_a_form_pressed_twice_files_one_claim_also_with_a_reason_and_photos(claim: Claim, demo: DemoShop) -> None:
    client, cover = log_in("warranty"), claim.cover
    address = f"/covers/{cover.number}/new-claim/"
    assert 'name="form_key"' in client.get(address).content.decode()
    body = {
        "damage": claim.damage, "zones": [claim.zones.all()[0].code], "reported_on": demo.day.isoformat(),
        "same_damage_reason": "at the other end",
    } | make_key("warranty")  # fmt: skip
    without = client.post(address, {**body, "form_key": ""})
    assert without.status_code == 400 and "no key of ours" in without.content.decode()
    assert Claim.objects.filter(cover=cover).count() == 1
    first = client.post(address, body | {"photos": [draw("brown")]})
    again = client.post(address, body | {"photos": [draw("brown")]})
    assert (first.status_code, again.status_code, again["Location"]) == (302, 302, first["Location"])
    for other in ({"description": "another rust"}, {"photos": [draw("red")]}):
        changed = client.post(address, body | other)
        told = changed.content.decode()
        assert changed.status_code == 409 and "has arrived already" in told and first["Location"] in told
    new = Claim.objects.filter(cover=cover).exclude(pk=claim.pk).get()
    assert new.photos.count() == 1
    assert client.post(address, body | make_key("warranty")).status_code == 302
    assert Claim.objects.filter(cover=cover).count() == 3


def test_rust_found_before_there_was_a_vehicle_is_refused_and_before_its_cover_is_told(
    claim: Claim, demo: DemoShop
) -> None:
    client, cover = log_in("writer"), claim.cover
    vehicle = cover.vehicle
    vehicle.in_service_on, vehicle.model_year = cover.sold_on - timedelta(days=30), cover.sold_on.year
    vehicle.save()
    address = f"/covers/{cover.number}/new-claim/"

    def send(found: str) -> dict[str, object]:
        return {
            "damage": claim.damage, "zones": [claim.zones.all()[0].code], "discovered_on": found,
            "reported_on": demo.day.isoformat(), "same_damage_reason": "another",
        } | make_key("writer")  # fmt: skip

    for found, told in (
        (vehicle.in_service_on - timedelta(days=800), "more than 2 years before the vehicle was in service"),
        (vehicle.in_service_on.replace(year=vehicle.model_year - 2, month=12, day=28), "of model year"),
    ):
        refused = client.post(address, send(found.isoformat()))
        page = refused.content.decode()
        assert refused.status_code == 400 and told in page and f'value="{found}"' in page, found
    assert Claim.objects.filter(cover=cover).count() == 1
    early = vehicle.in_service_on - timedelta(days=3)
    filed = client.post(address, send(early.isoformat()))
    assert filed.status_code == 302
    page = client.get(filed["Location"]).content.decode()
    assert "Ask the customer whether the day on which it was found is right:" in page
    assert "before the vehicle was in service" in page
    new = Claim.objects.filter(cover=cover).latest("pk")
    shown = log_in("warranty").get(f"/claims/{new.number}/").content.decode()
    assert "Was the vehicle in service on the day of discovery?" in shown
    right = client.post(address, send(claim.discovered_on.isoformat()))
    assert right.status_code == 302
    assert "is right:" not in client.get(right["Location"]).content.decode()


def test_photos_are_for_those_who_see_the_claim(claim: Claim) -> None:
    picture = io.BytesIO()
    Image.new("RGB", (30, 20), "brown").save(picture, "PNG")
    picture.seek(0)
    picture.name = "rust.png"
    page = f"/claims/{claim.number}/"
    assert log_in("warranty").post(f"{page}do/photo/", {"photo": picture}).status_code == 302
    text = io.BytesIO(b"not a picture")
    text.name = "rust.jpg"
    assert log_in("warranty").post(f"{page}do/photo/", {"photo": text}).status_code == 400
    address = f"{page}photos/{claim.photos.get().pk}/"
    assert log_in("owner").get(address)["Content-Type"] == "image/jpeg"
    assert log_in("writer").get(address).status_code == 403
    assert log_in("owner").get(f"{page}photos/999999/").status_code == 404


def test_what_if_shows_what_would_turn(claim: Claim, demo: DemoShop) -> None:
    client = log_in("owner")
    address = f"/claims/{claim.number}/what-if/"
    turned = client.get(address, {"what": "found", "day": "2001-01-01"}).content.decode()
    assert "Was the cover in force on the day of discovery?" in turned and "Pending" in turned
    assert client.get(address, {"what": "moved", "day": "2001-01-01"}).status_code == 400
    assert client.get(address, {"what": "found", "day": claim.discovered_on.isoformat()}).status_code == 200


def test_a_claim_page_asks_as_many_queries_however_much_was_written_about_it(claim: Claim) -> None:
    client, address = log_in("warranty"), f"/claims/{claim.number}/"
    person = User.objects.get(username="warranty")

    def write(number: int, *, reopened: bool) -> None:
        now = timezone.now()
        decision = ClaimDecision.objects.create(
            claim=claim, kind="pay", amount=100, currency="USD", recommended="pay", letter="x", decided_by=person,
            decided_on=now.date(), recorded_at=now, reopened_at=now if reopened else None,
            reopen_reason="new evidence" if reopened else "",
        )  # fmt: skip
        ClaimPayment.objects.create(
            decision=decision, amount=10 + number, currency="USD", paid_on=now.date(), reference=f"r{number}",
            recorded_by=person, recorded_at=now,
        )  # fmt: skip
        ClaimRequest.objects.create(claim=claim, asked_on=now.date(), what=f"bill {number}", recorded_at=now)

    write(1, reopened=True)
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    for number in range(2, 8):
        write(number, reopened=number < 7)
    with CaptureQueriesContext(connection) as many:
        page = client.get(address).content.decode()
    assert "Paid $17.00" in page and "bill 7" in page and "Reopened: new evidence" in page
    assert len(many) <= len(few)


def test_a_claim_is_found_with_what_there_is_besides_it(claim: Claim, demo: DemoShop) -> None:
    with past_the_guards():
        ClaimRequest.objects.all().delete()
    estimates = {each.zone_id: each.estimate_amount for each in claim.claimed_zones.all()}
    found = find_claim(claim.number)
    assert found == claim and found.cover.vehicle == claim.cover.vehicle and estimates
    written = read_claim_file(found, as_of=demo.day, is_fresh=True).written
    assert written.estimates == estimates and not (written.requests or written.photos or written.decisions)
    client, page, today = log_in("warranty"), f"/claims/{claim.number}/", demo.day.isoformat()
    client.post(f"{page}do/ask/", {"what": "an invoice", "day": today})
    picture = io.BytesIO()
    Image.new("RGB", (9, 9)).save(picture, "JPEG")
    picture.seek(0)
    picture.name = "p.jpg"
    assert client.post(f"{page}do/photo/", {"photo": picture}).status_code == 302
    refused = {"kind": "refuse", "amount": "0", "reason": "by the record", "day": today}
    assert decide(client, page, refused).status_code == 302
    with past_the_guards():
        claim.claimed_zones.all().delete()
    found = find_claim(claim.number)
    assert found is not None
    file = read_claim_file(found, as_of=demo.day, is_fresh=True)
    assert (len(file.requests), len(file.photos), len(file.decisions)) == (1, 1, 1)
    assert not file.written.estimates
    assert find_claim("none-such") is None


def test_the_list_tells_how_each_claim_stands(demo: DemoShop) -> None:
    claim = Claim.objects.order_by("-pk")[0]
    clients = {name: log_in(name) for name in ("warranty", "dealer")}

    def read(name: str) -> str:
        page = clients[name].get("/claims/").content.decode()
        (told,) = re.findall(rf">{claim.number}</a>.*?data-label=\"Decision\">(.*?)</td>", page, re.DOTALL) or [""]
        return str(told).strip()

    assert read("warranty") == "not decided yet"
    decision = decide_claim(
        claim=claim, kind=DecisionKind.REFUSE, amount=Decimal(0), reason="", day=demo.day, now=timezone.now(),
        actor=User.objects.get(username="warranty"),
    )  # fmt: skip
    assert read("warranty") == "refuse"
    with past_the_guards():
        ClaimDecision.objects.filter(pk=decision.pk).update(needs_second=True)
    assert read("warranty") == "refuse, waits for a second person"
    with past_the_guards():
        Cover.objects.filter(pk=claim.cover_id).update(dealership=User.objects.get(username="dealer").dealership)
    assert read("dealer") == "not decided yet"  # nor is it a dealership's to know before the second person agrees
    with past_the_guards():
        ClaimDecision.objects.filter(pk=decision.pk).update(needs_second=False)
    assert read("dealer") == read("warranty")
    reopen_claim(claim=claim, reason="new evidence", now=timezone.now(), actor=User.objects.get(username="warranty"))
    assert read("warranty") == read("dealer") == "not decided yet"
