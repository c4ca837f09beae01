"""Where no worker runs, a form that was sent is followed up at once: the due list, and what customers hear."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import OperationalError
from django.test import override_settings
from freezegun import freeze_time

from desk import follow_up
from desk.demo.load import DemoShop
from notifications.models import Message
from scheduling.index.service import recompute
from scheduling.models import Appointment, CoverState
from tests.conftest import NOW, TODAY
from tests.demo_records import load_demo
from tests.desk.test_booking_pages import read_slots
from tests.desk.test_pages import find_vin, log_in
from treatments.models import Customer, Vehicle
from treatments.readings import record_reading
from treatments.rules.units import Distance, DistanceUnit


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    with freeze_time(NOW):
        shop = load_demo(tmp_path, NOW)
        recompute(as_of=TODAY, now=NOW)
        yield shop


def book_one(demo: DemoShop) -> int:
    client, vin = log_in("writer"), find_vin(demo, "overdue")
    owner = Customer.objects.get(ownerships__vehicle__vin=vin, ownerships__until_day=None)
    Customer.objects.filter(pk=owner.pk).update(email="owner@example.org")
    # Whoever comes within hours needs no mail of it.
    page = client.get(f"/vehicles/{vin}/book/?earliest=2026-06-01").content.decode()
    return client.post(f"/vehicles/{vin}/book/", {"slot": read_slots(page)[-1]}).status_code


@pytest.mark.parametrize("who", ["this process", "workers"])
def test_a_customer_hears_at_once_of_what_the_desk_booked(  # type: ignore[no-untyped-def]
    demo: DemoShop, who: str, tasks_run_here: None, django_capture_on_commit_callbacks
) -> None:
    is_alone = override_settings(CELERY_TASK_ALWAYS_EAGER=who == "this process")
    with is_alone, django_capture_on_commit_callbacks(execute=True):
        assert book_one(demo) == 302
    heard = list(Message.objects.values_list("kind", "address", "status"))
    assert heard == ([("visit_booked", "owner@example.org", "sent")] if who == "this process" else [])
    assert Appointment.objects.count() == 1


@override_settings(CELERY_TASK_ALWAYS_EAGER=True)
def test_the_due_list_follows_what_was_written_down_unless_it_is_too_much(
    demo: DemoShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "overdue"))
    state = CoverState.objects.get(cover__vehicle=vehicle)

    def spoil_and_note() -> None:
        CoverState.objects.filter(pk=state.pk).update(sentence="out of date")
        distance = Distance(Decimal(120_000), DistanceUnit.KILOMETRE)
        record_reading(vehicle=vehicle, day=TODAY, distance=distance, now=NOW, actor=None)

    spoil_and_note()
    client = log_in("writer")
    monkeypatch.setattr(follow_up, "MOST_AT_ONCE", 0)
    assert client.post("/look/", {"look": "dark", "next": "/"}).status_code == 302
    assert CoverState.objects.get(pk=state.pk).sentence == "out of date"
    monkeypatch.setattr(follow_up, "MOST_AT_ONCE", 500)
    assert client.post("/nowhere/").status_code == 404  # nothing was taken, so nothing is looked for
    assert CoverState.objects.get(pk=state.pk).sentence == "out of date"
    assert client.post("/look/", {"look": "dark", "next": "/"}).status_code == 302
    assert CoverState.objects.get(pk=state.pk).sentence != "out of date"


@override_settings(CELERY_TASK_ALWAYS_EAGER=True)
def test_a_failure_there_does_not_take_back_what_was_sent(
    demo: DemoShop, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail() -> None:
        raise OperationalError("the database is busy")

    monkeypatch.setattr(follow_up, "tell_without_workers", fail)
    assert book_one(demo) == 302
    assert Appointment.objects.count() == 1 and "left to the next daily run" in caplog.text


@override_settings(CELERY_TASK_ALWAYS_EAGER=True)
def test_a_server_that_fails_is_asked_once_and_not_for_every_message(demo: DemoShop, settings: Any) -> None:
    message = {"channel": "email", "due_at": NOW, "created_at": NOW, "kind": "visit_due", "subject": "x", "body": "x"}
    owner = Customer.objects.exclude(email="").order_by("pk")[0]
    Message.objects.all().delete()
    for number in range(12):
        Message.objects.create(key=f"k{number}", customer=owner, address=owner.email, **message)
    client = log_in("writer")
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9  # nobody listens there
    assert client.post("/look/", {"look": "dark", "next": "/"}).status_code == 302
    assert list(Message.objects.filter(attempts__gt=0).values_list("attempts", flat=True)) == [1]
    settings.EMAIL_BACKEND = "notifications.mail_files.EmlFileBackend"
    assert client.post("/look/", {"look": "light", "next": "/"}).status_code == 302
    # Those after the five that were taken first; these are tried again when their lease runs out.
    assert Message.objects.filter(status="sent").count() == 5
