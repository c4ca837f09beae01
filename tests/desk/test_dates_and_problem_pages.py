"""Days that an address may ask for, what a claim and a vehicle say in words, and the pages for what can't be done."""

import re
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from claims.models import Claim
from desk.demo.load import DemoShop
from scheduling.covers.services import end_cover
from tests.conftest import ShopForTests
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin, log_in
from tests.notifications.test_reminder_texts import add_unfinished_vehicle
from treatments.models import OdometerReading, User, Vehicle


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.mark.parametrize(("field", "label"), [("as-of", "On the day"), ("known-at", "As known on")])
def test_a_day_that_no_calendar_reaches_is_told_and_left_out(demo: DemoShop, field: str, label: str) -> None:
    client = log_in("writer")
    address = f"/vehicles/{find_vin(demo, 'made-up-for')}/"
    for day in ("1900-01-01", "2199-12-31"):
        answer = client.get(address, {field: day})
        assert answer.status_code == 200
        assert b"out of range" not in answer.content
    for day in ("1899-12-31", "2200-01-01", "9999-12-31", "0001-01-01"):
        answer = client.get(address, {field: day})
        assert answer.status_code == 200
        page = answer.content.decode()
        assert f"{label} &#39;{day}&#39; is out of range: write a day from 1900-01-01 to 2199-12-31" in page
        assert f'<a href="#{field}">' in page


def test_a_vehicle_page_counts_and_measures_in_words(demo: DemoShop) -> None:
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "in-grace"))
    page = log_in("writer").get(f"/vehicles/{vehicle.vin}/").content.decode()
    assert " US quarts (" in page
    assert "us quart" not in page
    reading = OdometerReading.objects.filter(vehicle=vehicle).order_by("day").last()
    assert f"{int(reading.amount):,} miles" in page
    for wrong in (".0 km", ".0 miles", " 1 zones", "touch up"):
        assert wrong not in page, wrong
    first = vehicle.treatments.get(kind="first_treatment")
    assert f"{first.lines.filter(not_done_reason='').count()} zones" in page


def test_a_vehicle_page_names_the_zones_of_a_pending_cover(shop: ShopForTests) -> None:
    cover = add_unfinished_vehicle(shop)
    User.objects.create(username="owner", role="owner")
    page = log_in("owner").get(f"/vehicles/{cover.vehicle.vin}/", {"as-of": "2025-08-01"}).content.decode()
    assert "Pending: the terms want these zones done first: Right rocker panel." in page
    assert "rocker_right" not in page


def test_a_claim_page_names_clauses_and_shows_the_shops_own_shortfall_apart(demo: DemoShop) -> None:
    client = log_in("warranty")
    holds, fails = Claim.objects.order_by("pk")
    page = client.get(f"/claims/{fails.number}/").content.decode()
    shop, _, rest = page.partition("Where the shop's own work or record falls short")[2].partition("</section>")
    assert "left it out without a reason on record, so this is the shop&#39;s own shortfall" in shop
    assert "the zones left out of the cover" in rest
    assert "the shop's own</small>" in rest
    other = client.get(f"/claims/{holds.number}/").content.decode()
    for code in ("length_months", "claims.", "notice_days", "touch_ups", "door_front_left", "rocker_left"):
        assert code not in re.sub(r"<[^>]*>", " ", page + other), code  # in what is read, not in the forms' values


def test_an_unknown_address_says_what_to_do(demo: DemoShop) -> None:
    stranger = Client().get("/nothing/here/")
    assert stranger.status_code == 404
    assert b"There is no such page" in stranger.content
    assert b'href="/log-in/"' in stranger.content
    page = log_in("writer").get("/vehicles/NOSUCHVIN/")
    assert page.status_code == 404
    assert b'action="/vehicles/"' in page.content
    assert b"Rust protection record" in page.content


def test_a_stale_form_gets_a_page_of_the_desk(demo: DemoShop) -> None:
    client = Client(enforce_csrf_checks=True)
    refused = client.post("/log-in/", {"username": "writer"})
    assert refused.status_code == 403
    assert b"Nothing was saved." in refused.content
    assert b"Allow cookies for this site" in refused.content
    assert b"Rust protection record" in refused.content
    client.get("/log-in/")
    stale = client.post(
        "/log-in/", {"csrfmiddlewaretoken": "x" * 64}, headers={"referer": "http://testserver/log-in/?next=/due/"}
    )
    assert stale.status_code == 403
    assert b"open for too long" in stale.content
    assert b'href="/log-in/?next=/due/"' in stale.content
    foreign = client.post("/log-in/", {}, headers={"referer": "https://elsewhere.example/x"})
    assert b'href="/"' in foreign.content
    doubled = client.post("/log-in/", {}, headers={"referer": "http://testserver//elsewhere.example/"})
    assert b'href="/elsewhere.example/"' in doubled.content
    token = client.get("/log-in/").cookies["csrftoken"].value
    assert client.post("/log-in/", {"csrfmiddlewaretoken": token, "username": "x"}).status_code == 200


def test_a_vehicle_whose_cover_has_ended_is_due_for_nothing(demo: DemoShop) -> None:
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "overdue"))
    client, today = log_in("writer"), timezone.now().date()
    before = client.get(f"/vehicles/{vehicle.vin}/").content.decode()
    assert "Nothing is due." not in before
    end_cover(cover=vehicle.covers.get(), day=today, reason="sold abroad", now=timezone.now(), actor=None)
    after = client.get(f"/vehicles/{vehicle.vin}/", {"as-of": today.isoformat()}).content.decode()
    assert "Nothing is due." in after
    assert "sold abroad" in after
