"""In the embedded size a worker follows each recorded event at once: the due list, and what customers hear."""

from decimal import Decimal
from pathlib import Path

import pytest
from django.test import override_settings
from freezegun import freeze_time
from kombu.exceptions import OperationalError

from desk import tasks
from desk.demo.load import DemoShop
from notifications.models import Message
from scheduling.index.service import recompute
from scheduling.models import Appointment, CoverState
from tests.conftest import NOW, TODAY
from tests.demo_records import load_demo
from tests.desk.test_booking_pages import read_slots
from tests.desk.test_pages import find_vin, log_in
from treatments.models import Customer, Vehicle
from treatments.records.odometer_readings import record_reading
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


@pytest.mark.parametrize("size", ["embedded", "full"])
def test_a_customer_hears_at_once_of_what_the_desk_booked(  # type: ignore[no-untyped-def]
    demo: DemoShop, size: str, tasks_run_here: None, django_capture_on_commit_callbacks
) -> None:
    follows = override_settings(NUDGE_ON_EVENTS=size == "embedded")
    with follows, django_capture_on_commit_callbacks(execute=True):
        assert book_one(demo) == 302
    heard = list(Message.objects.filter(appointment__isnull=False).values_list("kind", "address", "status"))
    assert heard == ([("visit_booked", "owner@example.org", "sent")] if size == "embedded" else [])
    assert Appointment.objects.count() == 1


OUT_OF_DATE = [{"code": "cover.not_computed", "params": {}}]


@override_settings(NUDGE_ON_EVENTS=True)
def test_the_due_list_follows_what_was_written_down_unless_it_is_too_much(  # type: ignore[no-untyped-def]
    demo: DemoShop, tasks_run_here: None, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks
) -> None:
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "overdue"))
    state = CoverState.objects.get(cover__vehicle=vehicle)
    for most, follows in ((0, False), (500, True)):
        monkeypatch.setattr(tasks, "MOST_AT_ONCE", most)
        CoverState.objects.filter(pk=state.pk).update(explanations=OUT_OF_DATE)
        with django_capture_on_commit_callbacks(execute=True):
            distance = Distance(Decimal(120_000 + most), DistanceUnit.KILOMETRE)
            record_reading(vehicle=vehicle, day=TODAY, distance=distance, now=NOW, actor=None)
            assert CoverState.objects.get(pk=state.pk).explanations == OUT_OF_DATE
        assert (CoverState.objects.get(pk=state.pk).explanations != OUT_OF_DATE) == follows


@override_settings(NUDGE_ON_EVENTS=True)
def test_a_broker_that_does_not_answer_does_not_take_back_what_was_recorded(  # type: ignore[no-untyped-def]
    demo: DemoShop,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    django_capture_on_commit_callbacks,
) -> None:
    def fail(*_args: object, **_options: object) -> None:
        raise OperationalError("nobody listens")

    monkeypatch.setattr(tasks.follow_events, "apply_async", fail)
    with django_capture_on_commit_callbacks(execute=True):
        assert book_one(demo) == 302
    assert Appointment.objects.count() == 1 and "the next scan" in caplog.text


@override_settings(NUDGE_ON_EVENTS=True)
def test_a_form_waits_for_no_mail_server(  # type: ignore[no-untyped-def]
    demo: DemoShop, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks
) -> None:
    asked: list[str] = []
    monkeypatch.setattr(tasks.follow_events, "apply_async", lambda *args, **options: asked.append("nudged"))
    with django_capture_on_commit_callbacks(execute=True):
        assert book_one(demo) == 302
    assert asked and not Message.objects.filter(status="sent", kind="visit_booked").exists()
