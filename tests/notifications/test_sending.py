"""A failure concerns one message alone: it is kept on its row, tried again where that can help, and told by the run."""

import smtplib
from datetime import date, datetime, timedelta
from email import message_from_bytes
from email.header import decode_header, make_header
from io import StringIO

import pytest
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.message import EmailMessage
from django.core.management import call_command
from django.core.management.base import CommandError
from freezegun import freeze_time

from notifications.enums import Channel, MessageStatus
from notifications.mail.mailing import Mail
from notifications.models import Message, Notice
from notifications.outbox import services as outbox
from notifications.outbox.carriers import describe_error
from notifications.outbox.leases import lease_messages
from notifications.outbox.outcomes import MOST_ATTEMPTS
from notifications.reminders import services
from scheduling.models import Cover
from tests.conftest import NOW, ShopForTests
from tests.notifications.test_reminders import add_due_vehicle, read_mail
from treatments.models import Customer

pytestmark = pytest.mark.slow

VINS = ("11111111111111111", "1M8GDM9AXKP042788", "1XXC4FA12RM100200")
GOOD, OTHER = "lena@example.com", "osric@example.com"
WITH_LINE_BREAK = "lena@example.com\nBcc: everybody@example.com"


class RefusingBackend(BaseEmailBackend):
    """A mail server that answers what the test wants."""

    error: Exception

    def send_messages(self, email_messages: list[EmailMessage]) -> int:
        raise self.error


def refuse_with(settings: object, error: Exception) -> None:
    RefusingBackend.error = error
    settings.EMAIL_BACKEND = f"{__name__}.RefusingBackend"  # type: ignore[attr-defined]


@pytest.fixture
def covers(shop: ShopForTests) -> list[Cover]:
    """Three covers due on TODAY, each with an owner of its own."""
    addresses = (GOOD, OTHER, "petra@example.com")
    return [
        add_due_vehicle(shop, vin, address, date(2025, 6, 10)) for vin, address in zip(VINS, addresses, strict=True)
    ]


def spoil_first_address(address: str) -> None:
    """Give the first customer an address as an import or another program may have left it."""
    Customer.objects.filter(email=GOOD).update(email=address)


@pytest.mark.parametrize(
    ("address", "sent", "failed"),
    [
        (GOOD, 3, 0),
        (WITH_LINE_BREAK, 2, 1),
        ("lena at example.com", 2, 1),
        ("lena@", 2, 1),
        (f"lena@{'a' * 70}.ü.example", 2, 1),
    ],
)
def test_one_bad_address_stops_nobody_elses_reminder(
    covers: list[Cover], settings: object, address: str, sent: int, failed: int
) -> None:
    settings.EMAIL_BACKEND = "tests.notifications.test_sending.StrictBackend"  # type: ignore[attr-defined]
    spoil_first_address(address)
    assert services.write_due_reminders(now=NOW).written == 3
    report = outbox.send_all_due_messages(clock=lambda: NOW)
    assert (report.sent, len(report.failed), report.to_be_retried) == (sent, failed, [])
    assert Message.objects.filter(status=MessageStatus.SENT).count() == sent
    for message in Message.objects.filter(status=MessageStatus.FAILED):
        assert (message.why["code"], message.leased_until, message.attempts) == ("message.no_address", None, 1)
    # Nothing is left leased, and what failed for good is not tried again.
    assert lease_messages(Channel.EMAIL, now=NOW + timedelta(days=1), limit=9).messages == ()


class StrictBackend(BaseEmailBackend):
    """Takes a mail apart as an SMTP connection would, and sends nothing."""

    def send_messages(self, email_messages: list[EmailMessage]) -> int:
        from django.core.mail.message import sanitize_address

        for mail in email_messages:
            mail.message().as_bytes()
            for address in mail.recipients():
                sanitize_address(address, mail.encoding or "utf-8")
                if "@" not in address or address.endswith("@"):
                    raise smtplib.SMTPRecipientsRefused({address: (501, b"malformed")})
        return len(email_messages)


def test_an_error_of_the_program_is_told_tried_again_and_given_up_in_the_end(
    covers: list[Cover], settings: object, caplog: pytest.LogCaptureFixture
) -> None:
    refuse_with(settings, KeyError("a mistake in the program"))
    services.write_due_reminders(now=NOW)
    now = NOW
    for attempt in range(1, MOST_ATTEMPTS + 1):
        report = outbox.send_all_due_messages(clock=lambda moment=now: moment)  # type: ignore[misc]
        last = attempt == MOST_ATTEMPTS
        assert (len(report.failed), len(report.to_be_retried)) == ((3, 0) if last else (0, 3))
        for message in Message.objects.all():
            assert (message.attempts, message.why["code"]) == (attempt, "fault.program")
        now = max(Message.objects.values_list("due_at", flat=True))
    assert "a mistake in the program" in caplog.text
    assert set(Message.objects.values_list("status", flat=True)) == {MessageStatus.FAILED}


def test_a_corrected_address_is_written_to_again(covers: list[Cover], settings: object) -> None:
    spoil_first_address(WITH_LINE_BREAK)
    services.write_due_reminders(now=NOW)
    assert len(outbox.send_all_due_messages(clock=lambda: NOW).failed) == 1
    failed = Message.objects.get(status=MessageStatus.FAILED)
    again = services.write_due_reminders(now=NOW)
    assert (again.written, again.already_told, again.unreachable) == (0, 3, (failed.cover.number,))
    Customer.objects.filter(email=WITH_LINE_BREAK).update(email="lena.orchard@example.com")
    corrected = services.write_due_reminders(now=NOW)
    assert (corrected.written, corrected.already_told, corrected.unreachable) == (1, 2, ())
    assert outbox.send_all_due_messages(clock=lambda: NOW).sent == 1
    assert Message.objects.filter(status=MessageStatus.SENT).count() == 3
    assert "lena.orchard@example.com" in [mail["To"] for mail in read_mail(settings)]


def run_daily(moment: datetime) -> tuple[str, str]:
    out, err = StringIO(), StringIO()
    with freeze_time(moment):
        call_command("run_daily", stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_the_daily_run_tells_what_was_sent_and_fails_where_something_failed_for_good(covers: list[Cover]) -> None:
    out, err = run_daily(NOW)
    assert "3 reminders written, 3 sent, 0 failed." in out
    assert err == ""
    Notice.objects.all().delete()
    Message.objects.all().delete()
    spoil_first_address(WITH_LINE_BREAK)
    out_file, err_file = StringIO(), StringIO()
    with freeze_time(NOW), pytest.raises(CommandError, match="1 reminder failed for good"):
        call_command("run_daily", stdout=out_file, stderr=err_file)
    assert "3 reminders written, 2 sent, 1 failed." in out_file.getvalue()
    assert "Lena Orchard, cover " in err_file.getvalue()
    out, err = run_daily(NOW + timedelta(days=1))
    assert f"The address was refused before, so call or correct it: {covers[0].number}" in out


def test_the_daily_run_goes_on_to_the_last_message_and_needs_no_broker(
    covers: list[Cover], monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(outbox, "BATCH", 1)
    out, _ = run_daily(NOW)
    assert "3 sent" in out
    assert not [record for record in caplog.records if record.name.startswith(("kombu", "celery"))]


def test_a_line_break_in_a_vehicles_description_spoils_no_subject(covers: list[Cover]) -> None:
    vehicle = covers[0].vehicle
    vehicle.description = "2025 Harrow\nFinch"
    vehicle.save()
    services.write_due_reminders(now=NOW)
    assert outbox.send_all_due_messages(clock=lambda: NOW).sent == 3
    assert Message.objects.filter(subject__contains="2025 Harrow Finch").exists()


def test_an_error_fits_the_row_whatever_it_says() -> None:
    assert describe_error(ValueError("a\n  b")) == "a b"
    assert describe_error(TimeoutError()) == "TimeoutError"
    assert len(describe_error(ValueError("x" * 999))) == 300


def test_a_subject_begins_beside_its_name() -> None:
    mail = Mail("é" + " of many words" * 12, "", "desk@example.org", ["ada@example.org"])
    raw = mail.message().as_bytes()
    (line,) = [line for line in raw.splitlines() if line.startswith(b"Subject:")]
    assert len(line) > len(b"Subject: ")
    assert str(make_header(decode_header(message_from_bytes(raw)["Subject"]))) == mail.subject
