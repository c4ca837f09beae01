"""One person's data: what is handed out, what is erased, and what the contract keeps."""

import json
from datetime import timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client
from django.utils import timezone

from desk.demo.load import DemoShop
from notifications.models import Message
from notifications.privacy import ErasureOrder, erase_person, export_person, find_people_to_let_go, plan_erasure
from notifications.privacy.register import OnErasure
from notifications.privacy.wording import describe_erased
from notifications.reminders.services import write_due_reminders
from scheduling.covers.services import end_cover
from scheduling.index.service import recompute
from scheduling.models import Cover
from tests.conftest import NOW
from tests.demo_records import load_demo
from treatments.event_log import verify_log
from treatments.models import Customer, Event, Treatment, User


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


def find_secrets(customer: Customer) -> list[str]:
    return [customer.name, customer.email]


def dump_messages() -> str:
    return json.dumps(list(Message.objects.values_list("address", "subject", "body")))


def test_export_holds_everything_about_one_person_and_nothing_about_another(demo: DemoShop) -> None:
    write_due_reminders(now=timezone.now())
    message = Message.objects.select_related("customer").first()
    person = message.customer
    out = StringIO()
    call_command("personal_data", "export", person.email.upper(), stdout=out)
    told = out.getvalue()
    content = json.loads(told)
    assert content["person"]["name"] == person.name
    assert content["vehicles"][0]["treatments"][0]["zones"]
    assert content["messages"][0]["body"] == message.body
    others = Customer.objects.exclude(pk=person.pk)
    assert not [secret for other in others for secret in find_secrets(other) if secret and secret in told]
    with pytest.raises(CommandError, match="Nobody with the contact"):
        call_command("personal_data", "export", "nobody@example.org")


def test_a_person_with_cover_keeps_a_name_and_one_without_is_erased(demo: DemoShop) -> None:
    write_due_reminders(now=timezone.now())
    cover = Cover.objects.filter(claims__isnull=True, messages__isnull=False).select_related("holder").first()
    person = cover.vehicle.ownerships.get(until_day__isnull=True).customer
    name, mail = person.name, person.email
    treatments = Treatment.objects.count()
    assert erase_person(customer=person, order=ErasureOrder.PERSON, now=NOW, actor=None).reasons
    person.refresh_from_db()
    assert person.name == name
    end_cover(cover=cover, day=demo.day, reason="asked to end", now=timezone.now(), actor=None)
    recompute(as_of=demo.day, now=timezone.now())
    done = erase_person(customer=person, order=ErasureOrder.PERSON, now=NOW, actor=None)
    assert done.is_whole
    assert {"treatments.Customer.name", "treatments.Treatment.source", "treatments.EventWords.text"} <= {
        label for step in done.erased for label in step.line.labels
    }
    person.refresh_from_db()
    assert (person.name, person.email, person.contact) == (f"erased person {person.pk}", "", "")
    assert name not in dump_messages() and mail not in dump_messages()
    assert name not in json.dumps([[event.before, event.after] for event in Event.objects.all()])
    assert Treatment.objects.count() == treatments
    assert list(verify_log()) == []
    again = plan_erasure(customer=person, now=NOW)
    assert {step.line.on_erasure for step in again.erased} <= {OnErasure.COMPUTE}
    page = Client()
    page.force_login(User.objects.get(username="owner"))
    assert name not in page.get(f"/vehicles/{cover.vehicle.vin}/").content.decode()


def test_the_log_does_not_name_a_customer_changed_in_the_admin(demo: DemoShop) -> None:
    User.objects.create_superuser("root", "root@example.org", "a long password")
    client = Client()
    client.force_login(User.objects.get(username="root"))
    person = Customer.objects.exclude(email="").first()
    body = {
        "name": "Quill Sedgewick", "contact": person.contact, "email": person.email, "phone": "", "address": "",
        "language": "fr", "messages_stopped_at_0": "", "messages_stopped_at_1": "",
    }  # fmt: skip
    assert client.post(f"/admin/treatments/customer/{person.pk}/change/", body).status_code == 302
    event = Event.objects.get(kind="customer.changed")
    assert event.after["language"] == "fr" and "name" in event.after["changed"]
    assert "Quill" not in json.dumps(event.after) and person.name not in json.dumps(event.before)


def test_people_without_dealings_are_let_go_with_age(demo: DemoShop) -> None:
    cover = Cover.objects.filter(claims__isnull=True).select_related("vehicle").first()
    person = cover.vehicle.ownerships.get(until_day__isnull=True).customer
    Customer.objects.filter(pk=person.pk).update(created_at=timezone.now() - timedelta(days=4000))
    later = demo.day + timedelta(days=365 * 12)
    assert person not in list(find_people_to_let_go(years=10, as_of=later))
    end_cover(cover=cover, day=demo.day, reason="scrapped", now=timezone.now(), actor=None)
    recompute(as_of=demo.day, now=timezone.now())
    assert person in list(find_people_to_let_go(years=10, as_of=later))
    assert person not in list(find_people_to_let_go(years=20, as_of=later))
    with pytest.raises(ValidationError, match="write 1 or more"):
        list(find_people_to_let_go(years=0, as_of=later))
    assert export_person(person)["covers"]


def test_what_would_be_erased_is_told_once_for_each_purpose(demo: DemoShop) -> None:
    person = Customer.objects.create(
        name="Wren Aldous", email="wren@example.org", contact="wren@example.org", match_key="wren", created_at=NOW
    )
    out = StringIO()
    call_command("personal_data", "erase", str(person.pk), "--order", "person", "--check", stdout=out)
    erased = out.getvalue().partition("To be erased:")[2].partition("To be kept:")[0]
    labels = [line.partition(":")[0] for line in erased.splitlines() if line.strip()]
    told = {line.purpose for line in describe_erased(plan_erasure(customer=person, now=timezone.now()))}
    assert len(labels) == len(set(labels)) == len(told) > 0
