"""Reminders: written once, leased, sent, tried again after a failure, withdrawn when the visit was made, stopped."""

import email
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from email.message import Message as Mail
from email.policy import default
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import timezone

from notifications.customer_page.links import make_stop_token
from notifications.enums import Channel, MessageStatus
from notifications.models import ContactHours, Message
from notifications.outbox import services as outbox
from notifications.outbox.leases import LEASE, count_attempt, lease_messages
from notifications.reminders import evaluation, services
from notifications.reminders.evaluation import ReminderStatus
from notifications.tasks import send_due_messages
from scheduling.covers import queries as cover_queries
from scheduling.covers.services import register_covers_for_new_treatments
from scheduling.index.service import recompute
from scheduling.models import Cover
from tests.conftest import NOW, TODAY, ShopForTests
from tests.demo_records import load_demo
from treatments.enums import Propulsion, TreatmentKind
from treatments.models import Customer, Event, Vehicle, Zone
from treatments.people.customers import find_or_add_customer
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.vehicles.services import add_vehicle


def treat(shop: ShopForTests, vehicle: Vehicle, day: date, kind: TreatmentKind) -> None:
    # The zones that the terms want done, without which the cover stays pending.
    zones = Zone.objects.filter(code__in=["rocker_left", "rocker_right", "underside_middle"])
    quart = Volume(Decimal(1), VolumeUnit.US_QUART)
    lines = [LineEntry(zone, shop.wax, shop.wax.lots.get(), quart) for zone in zones]
    record_treatment(vehicle=vehicle, site=shop.site, done_on=day, kind=kind, lines=lines, now=NOW, actor=None)


def add_due_vehicle(shop: ShopForTests, vin: str, contact: str, first: date) -> Cover:
    owner = find_or_add_customer(name="Lena Orchard", contact=contact, now=NOW)
    vehicle = add_vehicle(
        vin=vin,
        owner=owner,
        owned_from=first,
        now=NOW,
        actor=None,
        description="2025 Harrow Finch",
        propulsion=Propulsion.COMBUSTION,
    )
    treat(shop, vehicle, first, TreatmentKind.FIRST_TREATMENT)
    while register_covers_for_new_treatments(now=NOW):
        pass
    recompute(as_of=TODAY, now=NOW)
    return Cover.objects.get(vehicle=vehicle)


def noon(day: date) -> datetime:
    """Return noon at the site."""
    return datetime.combine(day, time(12), ZoneInfo("America/New_York"))


@pytest.fixture
def cover(shop: ShopForTests) -> Cover:
    return add_due_vehicle(shop, "11111111111111111", "lena@example.com", date(2025, 6, 10))


def read_mail(settings: object) -> list[Mail]:
    folder = Path(settings.EMAIL_FILE_PATH)  # type: ignore[attr-defined]
    return [email.message_from_bytes(path.read_bytes(), policy=default) for path in sorted(folder.glob("*.eml"))]


def read_text(mail: Mail) -> str:
    """Return the plain text of a mail."""
    part = mail.get_body(("plain",))  # type: ignore[attr-defined]
    assert part is not None
    return str(part.get_content())


def test_a_reminder_is_written_once_and_sent_once(cover: Cover, settings: object) -> None:
    first = services.write_due_reminders(now=NOW)
    again = services.write_due_reminders(now=NOW)
    assert (first.written, again.written, again.already_told) == (1, 0, 1)
    assert outbox.send_all_due_messages(clock=lambda: NOW).sent == 1
    assert outbox.send_all_due_messages(clock=lambda: NOW).sent == 0
    (mail,) = read_mail(settings)
    assert mail["To"] == "lena@example.com"
    text = read_text(mail)
    assert "Hello Lena Orchard" in text
    assert "10 June 2026" in text
    assert "12 months after the first treatment on 10 June 2025 is 10 June 2026" in text
    assert "/stop/" in mail["List-Unsubscribe"]
    assert "List-Unsubscribe-Post" not in mail  # one click is for HTTPS only (RFC 8058)


def test_the_stages_of_a_due_visit_are_told_one_after_another(cover: Cover) -> None:
    kinds = []
    for day in (TODAY, date(2026, 6, 11), date(2026, 6, 20), date(2026, 7, 11), date(2026, 7, 20)):
        recompute(as_of=day, now=NOW)
        services.write_due_reminders(now=noon(day))
        kinds.append(sorted(Message.objects.values_list("kind", flat=True)))
    assert kinds[0] == ["visit_due"]
    assert kinds[1] == kinds[2] == ["in_grace", "visit_due"]
    assert kinds[3] == kinds[4] == ["in_grace", "visit_due", "visit_missed"]
    body = Message.objects.get(kind="visit_missed").body
    assert "Your cover is suspended until we have seen the vehicle." in body


def test_a_visit_made_before_sending_withdraws_the_message(shop: ShopForTests, cover: Cover, settings: object) -> None:
    services.write_due_reminders(now=NOW)
    treat(shop, cover.vehicle, TODAY - timedelta(days=1), TreatmentKind.ANNUAL_TOUCH_UP)
    recompute(as_of=TODAY, now=NOW)
    assert outbox.send_all_due_messages(clock=lambda: NOW).withdrawn == 1
    message = Message.objects.get()
    assert (message.status, message.why["code"]) == (MessageStatus.WITHDRAWN, "message.not_so_any_more")
    assert read_mail(settings) == []


def test_a_worker_that_died_loses_nothing(cover: Cover, settings: object) -> None:
    services.write_due_reminders(now=NOW)
    batch = lease_messages(Channel.EMAIL, now=NOW, limit=9)
    assert len(batch.messages) == 1
    assert outbox.send_all_due_messages(clock=lambda: NOW + LEASE).sent == 0
    assert outbox.send_all_due_messages(clock=lambda: NOW + LEASE + timedelta(seconds=1)).sent == 1
    assert not count_attempt(batch, batch.messages[0])  # the lost worker comes back too late
    assert len(read_mail(settings)) == 1


def test_who_cannot_be_written_to_is_counted(shop: ShopForTests, cover: Cover) -> None:
    add_due_vehicle(shop, "1M8GDM9AXKP042788", "+1 555 0123", date(2025, 6, 10))
    report = services.write_due_reminders(now=NOW)
    assert report.written == 1
    assert report.without_address == (Cover.objects.get(vehicle__vin="1M8GDM9AXKP042788").number,)


def test_a_customer_stops_messages_from_the_link_alone(cover: Cover) -> None:
    services.write_due_reminders(now=NOW)
    customer = Customer.objects.get()
    client = Client(enforce_csrf_checks=True)
    address = f"/stop/{make_stop_token(customer)}/"
    assert client.get(address).status_code == 200
    customer.refresh_from_db()
    assert customer.messages_stopped_at is None
    assert client.post(address, {"List-Unsubscribe": "One-Click"}).status_code == 200
    customer.refresh_from_db()
    assert customer.messages_stopped_at is not None
    assert Message.objects.get().status == MessageStatus.WITHDRAWN
    assert services.write_due_reminders(now=noon(date(2026, 6, 15))).stopped == 1
    assert client.post(f"/stop/{make_stop_token(customer)}x/").status_code == 404
    assert Event.objects.filter(kind="customer.messages_stopped").count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_task_sends_through_celery(shop: ShopForTests, cover: Cover, settings: object) -> None:
    """In this process when embedded; through the broker and a worker of its own in a full run."""
    from tests.conftest import is_full

    settings.WORKERS_NEED_DEPLOYMENT = False  # type: ignore[attr-defined]
    ContactHours.objects.create(site=cover.site, quiet_from=time(0), quiet_until=time(0), quiet_weekdays="")
    now = timezone.now()
    recompute(as_of=now.date(), now=now)
    services.write_due_reminders(now=now)
    if is_full():
        from celery.contrib.testing.worker import start_worker

        from config import celery_app

        celery_app.control.purge()
        with start_worker(celery_app, perform_ping_check=False, pool="solo"):
            send_due_messages.delay()
            wait_until_sent()
    else:
        send_due_messages.delay()
    assert Message.objects.get().status == MessageStatus.SENT
    assert len(read_mail(settings)) == 1


def wait_until_sent() -> None:
    import time

    for _ in range(300):
        if Message.objects.filter(status=MessageStatus.SENT).exists():
            return
        time.sleep(0.1)


def test_covers_read_in_parts_come_to_the_same_as_all_at_once(
    db: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    demo = load_demo(tmp_path, timezone.now())
    covers = list(Cover.objects.select_related("vehicle", "site").order_by("pk"))
    services.write_due_reminders(now=timezone.now(), covers=[cover.pk for cover in covers[::2]])

    def read() -> tuple[Any, ...]:
        evaluated = evaluation.evaluate_reminders({demo.site.pk: demo.day}, None)
        cases, faults = cover_queries.read_cases_apart(covers)
        return evaluated.statuses, [one.reminder for one in evaluated.wanted], cases, faults

    whole = read()
    assert {status for _cover, status in whole[0]} >= {ReminderStatus.TO_BE_WRITTEN, ReminderStatus.ALREADY_TOLD}
    monkeypatch.setattr(evaluation, "COVERS_AT_ONCE", 2)
    monkeypatch.setattr(cover_queries, "COVERS_AT_ONCE", 2)
    assert read() == whole
