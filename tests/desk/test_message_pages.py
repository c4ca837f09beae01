"""The page of all messages: what it shows to whom, its filters, and sending one again that failed."""

import io

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from notifications.enums import Channel, MessageKind, MessageStatus, SuppressionReason
from notifications.models import Message, Suppression
from notifications.outbox import queries
from notifications.outbox.channels import Standing, note_fault
from tests.conftest import NOW, ShopForTests
from treatments.enums import Role
from treatments.models import Customer, Event, User
from treatments.rules.explanation import explain, to_json


@pytest.fixture
def failed(shop: ShopForTests) -> Message:
    return add_message("Ada Alder", "ada@example", MessageStatus.FAILED)


def log_in(client: Client, role: Role) -> None:
    client.force_login(User.objects.get_or_create(username=role, defaults={"role": role})[0])


def add_message(name: str, address: str, status: MessageStatus, **changed: object) -> Message:
    number = Message.objects.count()
    customer = Customer.objects.create(name=name, email=address, match_key=f"test:{number}", created_at=NOW)
    why = to_json(explain("message.no_address")) if status is MessageStatus.FAILED else None
    values = {
        "kind": MessageKind.VISIT_DUE, "channel": Channel.EMAIL, "address": address, "subject": "Visit due",
        "body": "Please come.\n", "due_at": NOW, "created_at": NOW, "status": status, "why": why, "attempts": 1,
        "sent_at": NOW if status is MessageStatus.SENT else None,
    }  # fmt: skip
    return Message.objects.create(key=f"test:{number}", customer=customer, **values | changed)


def post_again(client: Client, message: Message, address: str) -> int:
    page = reverse("desk:send_message_again", args=[message.pk])
    return client.post(page, {"address": address}).status_code


@pytest.mark.parametrize(
    ("role", "status"),
    [("service_writer", 200), ("owner", 200), ("applicator", 403), ("warranty_administrator", 403)],
)
def test_messages_are_for_who_can_mend_them(client: Client, failed: Message, role: str, status: int) -> None:
    log_in(client, Role(role))
    assert client.get(reverse("desk:messages")).status_code == status
    assert client.get(reverse("desk:message", args=[failed.pk])).status_code == status


def test_messages_are_narrowed_and_turned_over(
    client: Client, failed: Message, monkeypatch: pytest.MonkeyPatch, django_assert_num_queries: object
) -> None:
    sent = add_message("Ben Birch", "ben@example.org", MessageStatus.SENT)
    text = add_message("Cleo Cedar", "+1 555 0102", MessageStatus.WAITING, channel=Channel.TEXT)
    log_in(client, Role.SERVICE_WRITER)

    def ask(query: str) -> list[int]:
        return [row.pk for row in client.get(f"{reverse('desk:messages')}{query}").context["rows"]]

    assert ask("") == [text.pk, sent.pk, failed.pk]
    assert ask("?status=failed") == [failed.pk]
    assert ask("?channel=text") == [text.pk]
    assert ask("?q=birch") == [sent.pk]
    assert ask("?kind=visit_booked") == []
    assert client.get(f"{reverse('desk:messages')}?status=lost").status_code == 400
    defaults = dict(queries.list_messages.__kwdefaults__)
    monkeypatch.setattr(queries.list_messages, "__kwdefaults__", defaults | {"size": 2})
    assert ask("") == [text.pk, sent.pk]
    assert client.get(reverse("desk:messages")).context["following"] == f"before={sent.pk}"
    assert ask(f"?before={sent.pk}") == [failed.pk]


def test_failed_message_is_sent_again_to_the_corrected_address(
    client: Client, failed: Message, tasks_run_here: None
) -> None:
    log_in(client, Role.SERVICE_WRITER)
    assert post_again(client, failed, "nowhere") == 400
    Suppression.objects.create(
        channel=Channel.EMAIL, address="gone@example.org", reason=SuppressionReason.BOUNCED, created_at=NOW
    )
    assert post_again(client, failed, "gone@example.org") == 400
    failed.refresh_from_db()
    assert failed.status == MessageStatus.FAILED
    assert post_again(client, failed, "ada@example.org") == 302
    failed.refresh_from_db()
    assert (failed.status, failed.why, failed.address) == (MessageStatus.SENT, None, "ada@example.org")
    assert Customer.objects.get(pk=failed.customer_id).email == "ada@example.org"
    told = Event.objects.get(kind="message.sent_again")
    assert told.actor == User.objects.get(role=Role.SERVICE_WRITER)
    # What went out is not sent again.
    assert post_again(client, failed, "ada@example.org") == 400
    failed.refresh_from_db()
    assert failed.status == MessageStatus.SENT


def test_first_page_tells_of_failures_to_who_can_mend_them(client: Client, failed: Message) -> None:
    note_fault(Channel.EMAIL, "Connection refused by ada@example.org", Standing(), now=NOW)
    log_in(client, Role.SERVICE_WRITER)
    context = client.get(reverse("desk:due_list")).context
    assert context["failed_messages"] == 1
    (state,) = context["failing_channels"]
    assert state.channel == Channel.EMAIL and "ada" not in state.last_error
    log_in(client, Role.WARRANTY_ADMINISTRATOR)
    assert "failed_messages" not in client.get(reverse("desk:due_list")).context


def test_letters_are_printed_as_one_batch_and_can_be_again(client: Client, shop: ShopForTests) -> None:
    letters = [
        add_message(name, "", MessageStatus.WAITING, channel=Channel.LETTER)
        for name in ("Ada Alder", "Ben Birch", "Cleo Cedar")
    ]
    Customer.objects.exclude(name="Cleo Cedar").update(address="1 Quay Street\nHarbour Town")
    log_in(client, Role.SERVICE_WRITER)
    assert client.get(reverse("desk:messages")).context["letters"] == 3
    answer = client.post(reverse("desk:print_letters"))
    assert answer.status_code == 302
    batch = client.get(answer["Location"])
    assert len(PdfReader(io.BytesIO(b"".join(batch) if batch.streaming else batch.content)).pages) == 2
    for letter in letters:
        letter.refresh_from_db()
    assert [letter.status for letter in letters] == ["sent", "sent", "failed"]
    assert letters[2].why["code"] == "message.no_postal_address"
    assert Event.objects.filter(kind="message.sent").count() == 2
    # Nothing is printed twice by itself, and what was not sent is in no batch.
    assert client.post(reverse("desk:print_letters"))["Location"] == reverse("desk:messages")
    assert client.get(reverse("desk:letter_batch", args=[letters[1].pk])).status_code == 200
    assert client.get(reverse("desk:letter_batch", args=[letters[2].pk])).status_code == 404
