"""The owner reads the register, and what an erasure does before it is done; nothing else than was shown is erased."""

from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from desk.demo.load import DemoShop
from notifications.outbox.services import send_all_due_messages
from notifications.privacy import erase_what_is_old
from notifications.privacy.people import ROWS_OF
from notifications.reminders.services import write_due_reminders
from scheduling.covers.services import end_cover
from scheduling.index.service import recompute
from scheduling.models import Cover
from tests.demo_records import load_demo
from treatments.event_log import verify_log
from treatments.models import Customer, Event, Ownership, User, Vehicle


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture
def owner(demo: DemoShop) -> Client:
    client = Client()
    client.force_login(User.objects.get(username="owner"))
    return client


@pytest.fixture
def customer(demo: DemoShop) -> Customer:
    """Somebody with a cover that runs, and a mail that went out."""
    write_due_reminders(now=timezone.now())
    send_all_due_messages(clock=timezone.now)
    return Customer.objects.filter(messages__isnull=False).order_by("pk")[0]


def test_only_the_owner_opens_the_pages(demo: DemoShop, customer: Customer) -> None:
    client = Client()
    client.force_login(User.objects.get(username="writer"))
    for address in (reverse("desk:personal_data"), reverse("desk:erase", args=[customer.pk])):
        assert client.get(address).status_code == 403
    assert client.post(reverse("desk:erase", args=[customer.pk]), {"order": "person"}).status_code == 403


def test_register_and_search(owner: Client, customer: Customer) -> None:
    page = owner.get(reverse("desk:personal_data"), {"q": customer.name})
    assert reverse("desk:erase", args=[customer.pk]) in page.content.decode()
    assert len(page.context["register"]) > 25
    assert owner.get(reverse("desk:personal_data"), {"q": "nobody of that name"}).status_code == 200
    assert owner.get(reverse("desk:erase", args=[10**30])).status_code == 404


def test_a_person_of_many_records_takes_no_more_queries(owner: Client, customer: Customer, demo: DemoShop) -> None:
    customer = Customer.objects.filter(ownerships__vehicle__covers__claims__isnull=False).order_by("pk")[0]

    def count(name: str) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert owner.get(reverse(f"desk:{name}", args=[customer.pk])).status_code == 200
        return len(captured)

    count("erase")  # what is read once for all, such as the content types
    before = {name: count(name) for name in ("erase", "erased")}
    # One for each table, and what the page and the person themselves take.
    assert max(before.values()) <= len(ROWS_OF) + 25
    others = Vehicle.objects.exclude(ownerships__customer=customer).order_by("pk")[:5]
    Ownership.objects.filter(vehicle__in=list(others), until_day__isnull=True).update(customer=customer)
    write_due_reminders(now=timezone.now() + timedelta(days=1))
    assert {name: count(name) for name in before} == before


def test_what_was_shown_is_what_is_erased(owner: Client, customer: Customer, demo: DemoShop) -> None:
    address = reverse("desk:erase", args=[customer.pk])
    page = owner.get(address)
    assert page.context["plan"].reasons and page.context["erased"] and page.context["kept"]
    assert Event.objects.filter(kind="customer.erased").count() == 0
    fingerprint = page.context["fingerprint"]
    assert owner.post(address, {"fingerprint": fingerprint}).status_code == 422  # on whose order?
    Customer.objects.filter(pk=customer.pk).update(address="Somewhere else 3")
    changed = owner.post(address, {"fingerprint": fingerprint, "order": "person"})
    assert changed.status_code == 409 and Event.objects.filter(kind="customer.erased").count() == 0
    answer = owner.post(address, {"fingerprint": changed.context["fingerprint"], "order": "person"}, follow=True)
    assert answer.status_code == 200 and answer.context["plan"].reasons
    customer.refresh_from_db()
    assert customer.address == "" and customer.email
    assert set(customer.messages.filter(status="sent").values_list("body", flat=True)) == {"(erased)"}
    assert answer.context["plan"].waits
    page = owner.get(address)
    assert page.context["asked"] and not page.context["may_order"]  # nothing more to press
    event = Event.objects.get(kind="customer.erased")
    assert (event.after["order"], event.after["whole"]) == ("person", False)
    assert event.actor == User.objects.get(username="owner")
    assert list(verify_log()) == []


def test_an_order_is_noted_where_nothing_can_go_yet(owner: Client, demo: DemoShop) -> None:
    cover = Cover.objects.filter(messages__isnull=True, claims__isnull=True).order_by("pk")[0]
    customer = cover.vehicle.ownerships.get(until_day__isnull=True).customer
    address = reverse("desk:erase", args=[customer.pk])
    page = owner.get(address)
    assert not [step for step in page.context["plan"].erased if step.erases_words]
    assert page.context["may_order"]
    sent = {"fingerprint": page.context["fingerprint"], "order": "person"}
    assert owner.post(address, sent).status_code == 302
    end_cover(cover=cover, day=demo.day, reason="sold", now=timezone.now(), actor=None)
    recompute(as_of=demo.day, now=timezone.now())
    erase_what_is_old(now=timezone.now())  # as the night does
    customer.refresh_from_db()
    assert customer.name == f"erased person {customer.pk}"
