"""What comes back of a mail ends writing to an address that takes none, and to nobody else."""

import mailbox
from datetime import date, timedelta
from io import StringIO
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db.models import QuerySet
from django.test import Client
from django.urls import reverse
from freezegun import freeze_time

from notifications.enums import MessageStatus, SuppressionReason, Unreachable
from notifications.mail.bounces import read_reports
from notifications.models import Message, Suppression
from notifications.outbox import services as outbox
from notifications.reminders import services as reminders
from notifications.suppressions.queries import read_unreachable
from notifications.suppressions.services import ReportsTaken, lift_suppression, take_reports
from scheduling.index.service import recompute
from scheduling.models import Cover
from tests.conftest import NOW, TODAY, ShopForTests
from tests.notifications.test_reminders import add_due_vehicle
from treatments.enums import Role
from treatments.models import Customer, Event, User

LENA, OSRIC = "lena@example.com", "osric@example.com"
LATER = NOW + timedelta(hours=1)
SECRET = "a long random text"


def make_report(kind: str, fields: str, reference: UUID | None, *, whole: bool = True) -> bytes:
    """Return a report as mail systems send it: words, fields for machines, and the mail or its headers."""
    returned = f"Subject: Your visit\n{f'Message-ID: <{reference}@example.org>' if reference else 'X-Note: none'}\n"
    return (
        "From: mailer-daemon@mx.example.net\nTo: desk@example.org\nSubject: Undelivered mail\n"
        f"Message-ID: <{uuid4()}@mx.example.net>\nMIME-Version: 1.0\n"
        f'Content-Type: multipart/report; report-type={kind}; boundary="part"\n\n'
        "--part\nContent-Type: text/plain\n\nYour mail could not be delivered.\n"
        f"--part\nContent-Type: message/{kind}\n\n{fields}\n"
        f"--part\nContent-Type: {'message/rfc822' if whole else 'text/rfc822-headers'}\n\n"
        f"{returned}\n{'It is time.' if whole else ''}\n--part--\n"
    ).encode()


def make_bounce(
    status: str, reference: UUID | None, address: str = LENA, *, action: str = "failed", whole: bool = True
) -> bytes:
    fields = (
        "Reporting-MTA: dns; mx.example.net\nArrival-Date: Wed, 10 Jun 2026 12:00:00 +0000\n\n"
        f"Final-Recipient: rfc822; {address}\nAction: {action}\nStatus: {status}\n"
        f"Diagnostic-Code: smtp; 550 {status} what the server said of it\n"
    )
    return make_report("delivery-status", fields, reference, whole=whole)


def make_complaint(kind: str, reference: UUID | None, address: str = LENA) -> bytes:
    fields = f"Feedback-Type: {kind}\nUser-Agent: Feedback/1\nVersion: 1\nOriginal-Rcpt-To: <{address}>\n"
    return make_report("feedback-report", fields, reference)


@pytest.fixture
def sent(shop: ShopForTests) -> Message:
    """A message that was sent to Lena, and one to Osric."""
    for vin, address in (("11111111111111111", LENA), ("1M8GDM9AXKP042788", OSRIC)):
        add_due_vehicle(shop, vin, address, date(2025, 6, 10))
    reminders.write_due_reminders(now=NOW)
    assert outbox.send_all_due_messages(clock=lambda: NOW).sent == 2
    return Message.objects.get(address=LENA)


@pytest.mark.parametrize(
    ("status", "for_good"),
    [
        ("5.1.1", True), ("5.1.2", True), ("5.1.10", True), ("5.2.1", True), ("5.4.4", True),
        ("5.2.2", False), ("5.1.8", False), ("5.7.1", False), ("5.0.0", False), ("4.1.1", False), ("4.4.7", False),
    ],
)  # fmt: skip
def test_only_an_address_that_is_bad_for_good_is_written_to_no_more(sent: Message, status: str, for_good: bool) -> None:
    taken = take_reports(make_bounce(status, sent.reference), now=LATER)
    assert taken == ReportsTaken(suppressed=int(for_good), failed=1)
    sent.refresh_from_db()
    assert sent.status == MessageStatus.FAILED and status in sent.last_error
    assert sent.why is not None and sent.why["code"] == ("message.bounced" if for_good else "message.not_delivered")
    assert list(Suppression.objects.values_list("address", "reason")) == [(LENA, "bounced")] * for_good
    assert Event.objects.filter(kind="customer.address_suppressed").count() == for_good
    assert Message.objects.get(address=OSRIC).status == MessageStatus.SENT
    # The same again changes nothing.
    assert take_reports(make_bounce(status, sent.reference), now=LATER) == ReportsTaken()


@pytest.mark.parametrize("action", ["delayed", "delivered", "relayed", "expanded"])
def test_what_is_no_failure_changes_nothing(sent: Message, action: str) -> None:
    assert take_reports(make_bounce("5.1.1", sent.reference, action=action), now=LATER) == ReportsTaken()
    assert take_reports(make_bounce("5.1.1", sent.reference), now=LATER).suppressed == 1


@pytest.mark.parametrize("whole", [True, False])
def test_the_mail_decides_whose_address_it_was_and_not_the_report(sent: Message, whole: bool) -> None:
    # Lena's mail is forwarded to another mailbox, and that one is gone.
    taken = take_reports(make_bounce("5.1.1", sent.reference, "elsewhere@example.net", whole=whole), now=LATER)
    assert taken.suppressed == 1
    assert Suppression.objects.get().address == LENA


def test_a_report_without_the_mail_is_believed_of_an_address_that_was_written_to_lately(sent: Message) -> None:
    late = NOW + timedelta(days=31)
    assert take_reports(make_bounce("5.1.1", None), now=late) == ReportsTaken(unknown=1)
    assert take_reports(make_bounce("5.1.1", None, "stranger@example.com"), now=LATER) == ReportsTaken(unknown=1)
    assert take_reports(make_bounce("5.1.1", uuid4()), now=LATER) == ReportsTaken(unknown=1)
    assert not Suppression.objects.exists()
    assert take_reports(make_bounce("5.1.1", None, LENA.upper()), now=LATER).suppressed == 1
    assert Suppression.objects.get().address == LENA


@pytest.mark.parametrize(("kind", "is_complaint"), [("abuse", True), ("fraud", True), ("not-spam", False)])
def test_who_complains_is_written_to_no_more(sent: Message, kind: str, is_complaint: bool) -> None:
    taken = take_reports(make_complaint(kind, sent.reference), now=LATER)
    assert taken == ReportsTaken(suppressed=int(is_complaint))
    assert Suppression.objects.filter(reason=SuppressionReason.COMPLAINED, address=LENA).count() == is_complaint
    sent.refresh_from_db()
    assert sent.status == MessageStatus.SENT


def test_nothing_goes_to_an_address_that_takes_no_mail_until_a_person_lifts_it(
    sent: Message, shop: ShopForTests
) -> None:
    writer = User.objects.create_user("ines", role=Role.SERVICE_WRITER)
    take_reports(make_bounce("5.1.1", sent.reference), now=LATER)
    write_again(sent, "again")
    assert outbox.send_all_due_messages(clock=lambda: LATER).sent == 0
    assert lift_suppression(suppression=Suppression.objects.get(), actor=writer, now=LATER)
    assert not lift_suppression(suppression=Suppression.objects.get(), actor=writer, now=LATER)
    assert Event.objects.filter(kind="customer.suppression_lifted", actor=writer).count() == 1
    # The mailbox of reports is read once more from its beginning.
    assert take_reports(make_bounce("5.1.1", sent.reference), now=LATER) == ReportsTaken()
    write_again(sent, "once more")
    assert outbox.send_all_due_messages(clock=lambda: LATER).sent == 1


def write_again(message: Message, key: str) -> None:
    row = Message.objects.get(pk=message.pk)
    row.pk, row.key, row.reference, row.status, row.sent_at = None, key, uuid4(), MessageStatus.WAITING, None
    row.attempts, row.due_at = 0, NOW
    row.save()


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"\xff\xfe\x00",
        b"Subject: Out of office\n\nI am away.",
        b"Content-Type: multipart/report; boundary=x\n\n--x\nContent-Type: message/delivery-status\n\n\n--x--\n",
        b"Content-Type: message/delivery-status\n\nAction: failed\nStatus: =cmd|' /C calc'!A0\n",
        b"Content-Type: multipart/mixed; boundary=x\n\n" + b"--x\nContent-Type: message/rfc822\n\n" * 900,
    ],
)
def test_what_is_no_report_is_let_be(sent: Message, raw: bytes) -> None:
    assert take_reports(raw, now=LATER).suppressed == 0
    assert Message.objects.filter(status=MessageStatus.SENT).count() == 2


def test_a_report_of_several_receivers_is_read_one_by_one() -> None:
    blocks = "Reporting-MTA: dns; mx\n\n" + "\n".join(
        f"Original-Recipient: rfc822;{address}\nFinal-Recipient: rfc822;{address}\nAction: failed\nStatus: {status}\n"
        for address, status in ((LENA, "5.1.1"), (OSRIC, "4.2.2"))
    )
    reports = read_reports(make_report("delivery-status", blocks, None))
    assert [(report.addresses, report.status, report.is_for_good) for report in reports] == [
        ((LENA,), "5.1.1", True),
        ((OSRIC,), "4.2.2", False),
    ]


@pytest.mark.parametrize("kind", ["mbox", "maildir"])
def test_the_command_reads_a_mailbox_and_leaves_it_as_it_is(sent: Message, tmp_path: Path, kind: str) -> None:
    path = tmp_path / "reports"
    box: mailbox.Mailbox = mailbox.mbox(path) if kind == "mbox" else mailbox.Maildir(path)  # type: ignore[type-arg]
    for raw in (make_bounce("5.1.1", sent.reference), make_complaint("abuse", None, OSRIC), b"Subject: x\n\nHello"):
        box.add(raw)
    box.close()
    out = StringIO()
    with freeze_time(LATER):
        call_command("read_bounces", str(path), stdout=out)
        call_command("read_bounces", str(path), stdout=StringIO())
    assert set(Suppression.objects.values_list("address", "reason")) == {(LENA, "bounced"), (OSRIC, "complained")}
    assert out.getvalue().startswith("3 mails read: 1 messages did not arrive, 2 addresses")
    assert len(mailbox.mbox(path) if kind == "mbox" else mailbox.Maildir(path)) == 3


def test_the_command_names_what_is_no_mailbox(tmp_path: Path) -> None:
    for path, words in ((tmp_path, "no Maildir"), (tmp_path / "none", "does not exist")):
        with pytest.raises(CommandError, match=words):
            call_command("read_bounces", str(path))


def test_a_mail_system_hands_in_a_report_with_the_secret_alone(sent: Message, settings: object) -> None:
    client, raw = Client(), make_bounce("5.1.1", sent.reference)
    address = reverse("desk:mail_reports")

    def post(secret: str, kind: str = "message/rfc822", body: bytes = raw) -> int:
        with freeze_time(LATER):
            return client.post(address, body, content_type=kind, headers={"X-Report-Secret": secret}).status_code

    assert post("") == post(SECRET) == 404
    settings.MAIL_REPORTS_SECRET = SECRET  # type: ignore[attr-defined]
    assert post("") == post("wrong") == 403
    assert post(SECRET, "text/plain") == 415
    assert client.get(address).status_code == 405
    assert not Suppression.objects.exists()
    assert post(SECRET) == 200
    assert Suppression.objects.get().address == LENA
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100  # type: ignore[attr-defined]
    assert post(SECRET) == 413


def test_the_desk_sees_whom_no_message_reaches_and_why(shop: ShopForTests, sent: Message) -> None:
    recompute(as_of=TODAY, now=NOW)
    assert read_unreachable(today=TODAY).rows == ()
    vins = ("1XXC4FA12RM100200", "1HGCM82633A004352", "1G1JC5444R7252367")
    covers = [add_due_vehicle(shop, vin, f"{vin.lower()}@example.com", date(2025, 6, 10)) for vin in vins]
    recompute(as_of=TODAY, now=NOW)
    take_reports(make_bounce("5.1.1", sent.reference), now=LATER)
    take_reports(make_bounce("4.4.7", Message.objects.get(address=OSRIC).reference, OSRIC), now=LATER)
    find_owner(covers[0]).update(email="")
    find_owner(covers[1]).update(messages_stopped_at=NOW, phone="555-0107")
    found = read_unreachable(today=TODAY).rows
    assert {row.customer.email or row.vehicle.vin: row.reason for row in found} == {
        LENA: Unreachable.SUPPRESSED,
        OSRIC: Unreachable.FAILED,
        vins[0]: Unreachable.NO_ADDRESS,
        f"{vins[1].lower()}@example.com": Unreachable.STOPPED,
    }
    assert {row.kinds for row in found} == {("reinspection",)}
    assert {row.detail.split()[1] for row in found if row.detail} == {"5.1.1", "4.4.7"}
    for reason in Unreachable:
        assert [row.reason for row in read_unreachable(today=TODAY, reason=reason).rows] == [reason]
    # An address that was corrected takes mail again.
    find_owner(Cover.objects.get(vehicle__ownerships__customer__email=LENA)).update(email="lena.orchard@example.com")
    assert {row.reason for row in read_unreachable(today=TODAY).rows} == set(Unreachable) - {Unreachable.SUPPRESSED}


def find_owner(cover: Cover) -> "QuerySet[Customer]":
    return Customer.objects.filter(ownerships__vehicle=cover.vehicle, ownerships__until_day=None)


def test_the_list_goes_on_where_the_page_before_ended(
    shop: ShopForTests, sent: Message, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("notifications.suppressions.queries.PER_PAGE", 1)
    Customer.objects.update(email="")
    recompute(as_of=TODAY, now=NOW)
    first = read_unreachable(today=TODAY)
    second = read_unreachable(today=TODAY, after=first.after)
    assert len({row.vehicle.vin for row in (*first.rows, *second.rows)}) == 2
    assert first.after and not second.after
    assert read_unreachable(today=TODAY, after="nowhere").rows == first.rows


def test_a_service_writer_lifts_what_ends_writing_to_an_address(sent: Message) -> None:
    recompute(as_of=TODAY, now=NOW)
    take_reports(make_bounce("5.1.1", sent.reference), now=LATER)
    client = Client()
    client.force_login(User.objects.create_user("ines", role=Role.SERVICE_WRITER))
    with freeze_time(LATER):
        page = client.get(reverse("desk:unreachable"))
        assert page.status_code == 200 and b"Lena Orchard" in page.content and sent.cover is not None
        lift = reverse("desk:lift_suppression", args=[Suppression.objects.get().pk])
        assert lift in page.content.decode()
        assert client.post(lift).status_code == 302
        assert Suppression.objects.get().lifted_at is not None
        assert lift not in client.get(reverse("desk:unreachable")).content.decode()
    client.force_login(User.objects.create_user("lift", role=Role.APPLICATOR))
    assert client.get(reverse("desk:unreachable")).status_code == 403
