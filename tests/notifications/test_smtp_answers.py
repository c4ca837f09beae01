"""What becomes of a message at each class of answers of a real mail server, with other messages that it takes."""

from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest

from notifications.enums import Channel, MessageKind, MessageStatus, SuppressionReason
from notifications.models import ChannelState, Message, Suppression
from notifications.outbox.outcomes import MOST_ATTEMPTS
from notifications.outbox.services import SendReport, send_all_due_messages
from tests.mail_server import HANG, HANG_UP, LOSE_REPLY, MailServer, serving_mail
from tests.shop_records import NOW
from treatments.models import Customer, Event

ODD = "odd@example.org"
SMTP = "django.core.mail.backends.smtp.EmailBackend"


@pytest.fixture
def mail_server(db: None, settings: object) -> Iterator[MailServer]:
    with serving_mail() as server:
        use_server(settings, server.port)
        yield server


def use_server(settings: object, port: int) -> None:
    settings.EMAIL_BACKEND, settings.EMAIL_HOST = SMTP, "127.0.0.1"  # type: ignore[attr-defined]
    settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = port, 1  # type: ignore[attr-defined]


def add_messages(*addresses: str, due_at: datetime = NOW, channel: Channel = Channel.EMAIL) -> list[Message]:
    rows = []
    for address in addresses:
        number = Message.objects.count()
        customer = Customer.objects.create(
            name=f"Customer {number}", email=address, match_key=f"test:{number}", created_at=NOW
        )
        rows.append(
            Message.objects.create(
                key=f"test:{number}",
                customer=customer,
                kind=MessageKind.VISIT_DUE,
                channel=channel,
                address=address,
                subject="Rust protection visit",
                body="It is due.\n",
                due_at=due_at,
                created_at=NOW,
            )
        )
    return rows


def send(now: datetime = NOW) -> SendReport:
    return send_all_due_messages(clock=lambda: now)


def odd(stage: str, answer: str) -> object:
    """Answer so at this stage to the odd address, and to MAIL, where there is no receiver yet, to everybody."""
    return lambda at, receiver: answer if at == stage and (at == "MAIL" or receiver == ODD) else ""


AT_FAULT = [
    ("RCPT", "550 5.1.1 no such mailbox", "message.address_refused"),
    ("RCPT", "553 name not allowed", "message.address_refused"),
    ("RCPT", "550 5.7.1 not allowed here", "message.address_refused"),
    ("DATA", "554 5.6.0 not acceptable", "message.refused"),
    ("DATA", "552 5.3.4 too large", "message.refused"),
]


@pytest.mark.parametrize(("stage", "answer", "code"), AT_FAULT)
def test_answer_about_the_address_or_the_message_ends_it(
    mail_server: MailServer, stage: str, answer: str, code: str
) -> None:
    message, *others = add_messages(ODD, "ada@example.org", "ben@example.org")
    mail_server.answer = odd(stage, answer)  # type: ignore[assignment]
    report = send()
    assert (report.sent, len(report.failed)) == (2, 1)
    message.refresh_from_db()
    assert (message.status, message.why["code"], message.leased_until) == (MessageStatus.FAILED, code, None)
    assert message.last_error == answer
    assert not ChannelState.objects.filter(failing_since__isnull=False).exists()
    assert sum(mail_server.accepted.values()) == len(others)


PUT_OFF = [("RCPT", "450 4.2.1 mailbox busy"), ("DATA", "451 4.3.0 later"), ("RCPT", "452 4.2.2 mailbox full")]


@pytest.mark.parametrize(("stage", "answer"), PUT_OFF)
def test_address_that_is_put_off_waits_longer_each_time_and_fails_after_three_days(
    mail_server: MailServer, stage: str, answer: str
) -> None:
    (message,) = add_messages(ODD)
    mail_server.answer = odd(stage, answer)  # type: ignore[assignment]
    now, tries = NOW, 0
    while message.status == MessageStatus.WAITING:
        add_messages(f"other{tries}@example.org", due_at=now)
        assert send(now).sent == 1
        message.refresh_from_db()
        tries += 1
        assert message.attempts == (1 if message.status == MessageStatus.FAILED else 0)
        if message.status == MessageStatus.WAITING:
            assert message.first_refused_at == NOW and message.due_at > now
            assert message.why["code"] == "message.put_off"
            now = message.due_at
    assert (message.status, message.why["code"]) == (MessageStatus.FAILED, "message.put_off_too_long")
    assert now - NOW == timedelta(days=3) and 15 < tries < 60
    assert not ChannelState.objects.filter(failing_since__isnull=False).exists()


def test_addresses_that_stay_busy_fail_in_the_end_though_nothing_else_is_sent(mail_server: MailServer) -> None:
    busy = add_messages(*(f"busy{number}@example.org" for number in range(4)))
    add_messages("ada@example.org", "ben@example.org", "cleo@example.org")
    mail_server.answer = lambda stage, receiver: "450 4.2.1 busy" if "busy" in receiver else ""
    # One after another, with others between, so that they are known to be busy and the server is known to be well.
    rows = list(Message.objects.order_by("pk"))
    order = [rows[0], rows[4], rows[1], rows[5], rows[2], rows[6], rows[3]]
    for place, message in enumerate(order):
        Message.objects.filter(pk=message.pk).update(due_at=NOW - timedelta(minutes=9 - place))
    assert send().sent == 3
    now = NOW
    while waiting := Message.objects.filter(status=MessageStatus.WAITING):
        now = max(now, *waiting.values_list("due_at", flat=True))
        send(now)
        assert not ChannelState.objects.filter(failing_since__isnull=False).exists()
        assert now < NOW + timedelta(days=4)
    codes = {message.why["code"] for message in Message.objects.filter(pk__in=[row.pk for row in busy])}
    assert codes == {"message.put_off_too_long"}


def test_address_that_was_put_off_gets_its_mail_once_the_server_takes_it(mail_server: MailServer) -> None:
    message, _other = add_messages(ODD, "ada@example.org")
    mail_server.answer = odd("RCPT", "450 4.2.1 mailbox busy")  # type: ignore[assignment]
    send()
    mail_server.answer = lambda stage, receiver: ""
    message.refresh_from_db()
    assert send(message.due_at).sent == 1
    message.refresh_from_db()
    assert (message.status, message.why, message.attempts) == (MessageStatus.SENT, None, 1)


SERVERS_FAULT = [
    ("MAIL", "550 5.7.1 sender not allowed"),
    ("MAIL", "451 4.3.2 not now"),
    ("MAIL", "421 closing"),
    ("MAIL", HANG),
    ("RCPT", "421 too busy"),
    ("RCPT", "451 4.3.0 not now"),
    ("RCPT", "550 5.7.1 your network is not welcome"),
    ("RCPT", HANG_UP),
    ("RCPT", HANG),
    ("DATA", "452 4.3.1 disk full"),
    ("DATA", HANG),
    ("DATA", HANG_UP),
]


@pytest.mark.parametrize(("stage", "answer"), SERVERS_FAULT)
def test_fault_of_the_server_ends_no_message_and_counts_no_attempt(
    mail_server: MailServer, stage: str, answer: str, caplog: pytest.LogCaptureFixture
) -> None:
    add_messages(*(f"c{number}@example.org" for number in range(5)))
    mail_server.answer = lambda at, receiver: answer if at == stage else ""
    report = send()
    check_channel_waits(report, caplog)
    # It is tried again by one message alone, waits longer, and answers in the end.
    state = ChannelState.objects.get(pk=Channel.EMAIL)
    assert send(state.try_again_at).sent == 0
    longer = ChannelState.objects.get(pk=Channel.EMAIL)
    assert longer.failures == 2 and longer.try_again_at > state.try_again_at + timedelta(minutes=1)
    assert longer.failing_since == state.failing_since
    mail_server.answer = lambda at, receiver: ""
    assert send(longer.try_again_at).sent == 5
    assert not ChannelState.objects.filter(failing_since__isnull=False).exists()
    assert set(mail_server.accepted.values()) == {1}


def check_channel_waits(report: SendReport, caplog: pytest.LogCaptureFixture) -> None:
    assert (report.sent, report.failed) == (0, [])
    state = ChannelState.objects.get(pk=Channel.EMAIL)
    assert (state.failing_since, state.failures, state.owner_told_at) == (NOW, 1, NOW)
    assert NOW < state.try_again_at < NOW + timedelta(minutes=2)
    assert len([record for record in caplog.records if record.levelname == "ERROR"]) == 1
    assert "@" not in state.last_error
    for message in Message.objects.all():
        assert (message.status, message.attempts, message.first_refused_at) == (MessageStatus.WAITING, 0, None)
        assert message.leased_until is None
    # Nobody turns to it before its time.
    assert send(state.try_again_at - timedelta(seconds=1)).to_be_retried == []


def test_server_that_is_not_there_ends_no_message(db: None, settings: object, caplog: pytest.LogCaptureFixture) -> None:
    use_server(settings, 9)  # nothing listens there
    add_messages("ada@example.org", "ben@example.org")
    check_channel_waits(send(), caplog)
    # Later nobody waits any more, and the server is asked all the same.
    Message.objects.all().delete()
    with serving_mail() as server:
        use_server(settings, server.port)
        send(NOW + timedelta(minutes=2))
    assert not ChannelState.objects.filter(failing_since__isnull=False).exists()


def test_log_in_that_is_refused_is_no_fault_of_a_message(
    db: None, settings: object, caplog: pytest.LogCaptureFixture
) -> None:
    from aiosmtpd.smtp import AuthResult

    add_messages("ada@example.org")
    refusing = {"auth_require_tls": False, "authenticator": lambda *_: AuthResult(success=False, handled=False)}
    with serving_mail(**refusing) as server:
        use_server(settings, server.port)
        settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = "desk"  # type: ignore[attr-defined]
        check_channel_waits(send(), caplog)


@pytest.mark.parametrize("answer", ["421 not this one", HANG_UP, HANG])
def test_message_at_which_the_server_hangs_up_stops_no_other(mail_server: MailServer, answer: str) -> None:
    message, *_others = add_messages(ODD, "ada@example.org", "ben@example.org")
    mail_server.answer = odd("DATA", answer)  # type: ignore[assignment]
    report = send()
    assert (report.sent, len(report.to_be_retried)) == (2, 1)
    message.refresh_from_db()
    assert (message.status, message.attempts, message.first_refused_at) == (MessageStatus.WAITING, 0, NOW)
    assert not ChannelState.objects.filter(failing_since__isnull=False).exists()


def test_mail_whose_reply_is_lost_comes_again_under_the_same_message_id(mail_server: MailServer) -> None:
    (message,) = add_messages(ODD)
    lost: list[str] = []

    def answer(stage: str, receiver: str) -> str:
        if stage == "DATA" and not lost:
            lost.append(receiver)
            return LOSE_REPLY
        return ""

    mail_server.answer = answer
    assert send().sent == 0
    assert send(NOW + timedelta(minutes=2)).sent == 1
    (((name, _receiver), count),) = mail_server.accepted.items()
    assert count == 2 and str(message.reference) in name


def test_many_messages_go_over_one_connection_and_each_is_in_the_event_log(mail_server: MailServer) -> None:
    rows = add_messages(*(f"c{number}@example.org" for number in range(120)))
    assert send().sent == 120
    assert mail_server.connections == 1
    told = Event.objects.filter(kind="message.sent").values_list("subject_id", flat=True)
    assert sorted(told) == sorted(str(row.pk) for row in rows)
    assert not Message.objects.filter(leased_until__isnull=False).exists()


def test_attempts_that_killed_their_worker_come_to_an_end(mail_server: MailServer) -> None:
    message, other = add_messages(ODD, "ada@example.org")
    Message.objects.filter(pk=message.pk).update(attempts=MOST_ATTEMPTS)
    Message.objects.filter(pk=other.pk).update(attempts=MOST_ATTEMPTS - 1)
    assert send().sent == 1
    message.refresh_from_db()
    assert (message.status, message.why["code"]) == (MessageStatus.FAILED, "message.broke_off")


def test_what_a_lost_worker_held_or_had_sent_is_seen_to(mail_server: MailServer) -> None:
    held, sent = add_messages(ODD, "ada@example.org")
    lapsed = NOW - timedelta(seconds=1)
    Message.objects.filter(pk=held.pk).update(status=MessageStatus.LEASED, leased_until=lapsed, attempts=1)
    Message.objects.filter(pk=sent.pk).update(status=MessageStatus.SENT, sent_at=lapsed, leased_until=lapsed)
    report = send()
    assert report.sent == 1
    assert sorted(Event.objects.filter(kind="message.sent").values_list("subject_id", flat=True)) == sorted(
        [str(held.pk), str(sent.pk)]
    )


def test_suppressed_address_gets_nothing_until_that_is_lifted(mail_server: MailServer) -> None:
    message, _other = add_messages(ODD, "ada@example.org")
    suppression = Suppression.objects.create(
        channel=Channel.EMAIL, address=ODD, reason=SuppressionReason.COMPLAINED, created_at=NOW
    )
    assert send().sent == 1
    message.refresh_from_db()
    assert (message.status, message.why["code"]) == (MessageStatus.FAILED, "message.suppressed")
    Suppression.objects.filter(pk=suppression.pk).update(lifted_at=NOW)
    add_messages(ODD)
    assert send().sent == 1
