"""Who did what to a visit, as its page tells it under "What happened"."""

import re
from datetime import date

import pytest
from django.test import Client
from freezegun import freeze_time

from scheduling.booking.own_visits import book_own_visit, cancel_own_visit, move_own_visit
from scheduling.booking.services import move_visit
from scheduling.index.service import recompute
from scheduling.models import Appointment
from tests.conftest import NOW, TODAY, ShopForTests
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, at, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.models import Customer

DAY = date(2026, 6, 9)


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


def read_events(visit: Appointment, bays: Bays, language: str) -> list[str]:
    """Return what happened as the page tells it, the last first, as plain text."""
    client = Client()
    client.force_login(bays.writer)
    client.cookies["django_language"] = language
    with freeze_time(NOW):
        page = client.get(f"/visits/{visit.number}/").content.decode()
    (listed,) = re.findall(r'<ol class="events">(.*?)</ol>', page, re.DOTALL)
    entries = re.findall(r"<li>(.*?)</li>", listed, re.DOTALL)
    return [" ".join(re.sub(r"<[^>]+>", "", entry).split()) for entry in entries]


def test_what_the_customer_did_on_the_own_page_says_so(shop: ShopForTests, bays: Bays) -> None:
    cover = add_due_vehicle(shop, make_vin(1), date(2025, 6, 10))
    recompute(as_of=TODAY, now=NOW)
    customer = Customer.objects.get(ownerships__vehicle=cover.vehicle)
    place = {"bay": bays.low, "person": bays.tomas, "now": NOW}
    visit = book_own_visit(
        customer=customer, vehicle=cover.vehicle, cover=cover, starts_at=at(DAY, 9), why=None, until_hours=24, **place
    )
    move_visit(appointment=visit, starts_at=at(DAY, 10), actor=bays.writer, **place)
    visit.refresh_from_db()
    seen = {"customer": customer, "visit": visit, "until_hours": 24}
    visit = move_own_visit(starts_at=at(DAY, 13), seen_sequence=visit.sequence, **seen, **place)
    seen["visit"] = visit
    cancel_own_visit(reason="no time", seen_sequence=visit.sequence, now=NOW, **seen)
    told = read_events(visit, bays, "en")
    assert ["the customer" in entry for entry in told] == [True, True, False, True]
    assert "ines" in told[2]
    assert ["le client" in entry for entry in read_events(visit, bays, "fr")] == [True, True, False, True]
