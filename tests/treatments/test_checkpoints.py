"""Checkpoints of the event log: told outside the database, they show that it was put back as a whole."""

import stat
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core import mail
from django.core.management import call_command
from django.core.management.base import CommandError

from notifications.mail.mailing import send_log_checkpoint
from tests.conftest import NOW
from tests.guards import past_the_guards
from tests.treatments.test_event_log import log, record_one
from treatments.event_log import verify_log
from treatments.event_log.verification import find_checkpoints, read_checkpoint, verify_checkpoints, write_checkpoint
from treatments.models import Event, EventLogHead, User

__all__ = ["log"]


@pytest.fixture(autouse=True)
def file(tmp_path: Path, settings: Any) -> Path:
    settings.LOG_CHECKPOINTS = str(tmp_path / "checkpoints" / "log.txt")
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    return Path(settings.LOG_CHECKPOINTS)


def put_back(position: int, head: dict[str, Any]) -> None:
    """Put the log back to what it once was, as from an older copy of the database: nothing in it is wrong."""
    with past_the_guards():
        Event.objects.filter(position__gt=position).delete()
        EventLogHead.objects.update(**head)
    assert list(verify_log()) == []


def test_each_night_adds_a_line_where_the_log_went_on(log: list[Event], file: Path) -> None:
    first = write_checkpoint(now=NOW)
    assert first is not None and first.position == 6
    assert write_checkpoint(now=NOW + timedelta(days=1)) is None
    record_one(7)
    assert write_checkpoint(now=NOW + timedelta(days=2)) is not None
    assert [checkpoint.position for checkpoint in find_checkpoints(file.read_text())] == [6, 7]
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    call_command("verify_log", "--checkpoints", str(file))


def test_a_log_that_was_put_back_is_found_by_a_later_checkpoint_only(log: list[Event], file: Path) -> None:
    then = EventLogHead.objects.values("position", "hash", "key_name", "keyed_hash").get()
    early = write_checkpoint(now=NOW)
    record_one(7)
    late = write_checkpoint(now=NOW)
    assert early and late
    put_back(6, then)
    assert list(verify_checkpoints([early])) == []
    (fault,) = verify_checkpoints([late])
    assert fault.position == 6
    call_command("verify_log")
    with pytest.raises(CommandError, match="not as it was written"):
        call_command("verify_log", "--checkpoints", str(file))
    # Gone on from there, with the key: the entries are others than they were.
    record_one(8)
    assert list(verify_log()) == []
    for told in (late, *find_checkpoints(late.code)):
        assert [fault.position for fault in verify_checkpoints([told])] == [7]


@pytest.mark.parametrize("typed", ["{code}", "  {lower} ", "Code de vérification {code}. Il", "see {code}, please"])
def test_a_printed_code_is_found_in_whatever_it_stands(log: list[Event], typed: str) -> None:
    code = read_checkpoint().code
    text = typed.format(code=code, lower=code.lower())
    assert [checkpoint.code for checkpoint in find_checkpoints(text)] == [code]
    call_command("verify_log", "--code", text)
    other = code[:-1] + ("0" if code[-1] != "0" else "1")
    with pytest.raises(CommandError, match="1 faults"):
        call_command("verify_log", "--code", typed.format(code=other, lower=other.lower()))


@pytest.mark.parametrize("text", ["", "4812", "call 555-010-0199", "2026-11-29", "1FTSW21P34ED12345"])
def test_what_is_no_code_is_refused_with_how_one_looks(log: list[Event], text: str) -> None:
    with pytest.raises(CommandError, match="looks like 4812-"):
        call_command("verify_log", "--code", text)


def test_a_file_that_is_not_there_is_named(log: list[Event]) -> None:
    with pytest.raises(CommandError, match=r"nowhere\.txt"):
        call_command("verify_log", "--checkpoints", "nowhere.txt", stdout=StringIO())


def test_the_owner_gets_the_code_by_mail_and_the_mail_can_be_verified(log: list[Event], tmp_path: Path) -> None:
    User.objects.create(username="owner", role="owner", email="owner@example.org")
    User.objects.create(username="gone", role="owner", email="gone@example.org", is_active=False)
    User.objects.create(username="lift", role="applicator", email="lift@example.org")
    assert send_log_checkpoint(now=NOW) == []
    (sent,) = mail.outbox
    assert sent.to == ["owner@example.org"]
    saved = tmp_path / "mail.eml"
    saved.write_bytes(sent.message().as_bytes())
    assert find_checkpoints(saved.read_text()) == find_checkpoints(read_checkpoint().code)
    call_command("verify_log", "--checkpoints", str(saved))
    # Nothing happened since, so there is nothing to tell.
    assert send_log_checkpoint(now=NOW) == [] and len(mail.outbox) == 1


def test_a_mail_that_can_not_be_sent_does_not_stop_the_night(log: list[Event], settings: Any, file: Path) -> None:
    User.objects.create(username="owner", role="owner", email="owner@example.org")
    settings.EMAIL_BACKEND, settings.EMAIL_HOST = "django.core.mail.backends.smtp.EmailBackend", "127.0.0.1"
    settings.EMAIL_PORT = 1
    assert send_log_checkpoint(now=NOW) == ["owner@example.org"]
    assert find_checkpoints(file.read_text())
