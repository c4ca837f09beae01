"""What an erasure does with files, what goes by itself after some days, and that nothing is left between the rows."""

import csv
import os
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.utils import timezone
from openpyxl import Workbook, load_workbook

from notifications.enums import MessageStatus
from notifications.models import Message
from notifications.privacy import ErasureOrder, erase_person, erase_what_is_old, plan_erasure
from notifications.privacy.register import REGISTER, OnErasure
from tests.conftest import NOW
from treatments.event_log import verify_log
from treatments.event_log.signed_content import list_signed_tables
from treatments.models import Customer, EventWords
from treatments.people.customers import make_customer, make_match_key

SECRET = "Ottoline Marchbanks"


@pytest.fixture
def customer(db: None) -> Customer:
    made = make_customer(name=SECRET, contact="ottoline@example.org", now=NOW)
    made.save()
    return made


@pytest.fixture
def folder(tmp_path: Path, settings: Any) -> Path:
    settings.VAR_DIR = tmp_path
    settings.DOCUMENTS_DIR = tmp_path / "documents"
    return tmp_path


def add_message(customer: Customer, **changes: Any) -> Message:
    given = {
        "key": f"k{Message.objects.count()}",
        "customer": customer,
        "kind": "visit_due",
        "address": customer.email,
        "subject": "Your visit",
        "body": f"Dear {customer.name}",
        "due_at": NOW,
        "created_at": NOW,
        "sent_at": NOW,
        "status": MessageStatus.SENT,
    }
    return Message.objects.create(**(given | changes))


def test_what_is_erased_is_nothing_that_signed_content_holds_fast() -> None:
    """The database lets signed-off words be erased, and the log expects just what the register puts in their place."""
    signed = {table.model: table for table in list_signed_tables()}
    compared = 0
    for line in REGISTER:
        table = signed.get(line.table)
        if table is None or line.on_erasure in (OnErasure.KEEP, OnErasure.COMPUTE):
            continue
        if line.on_erasure is OnErasure.DELETE:
            assert table.may_go, f"{line.table} is deleted by an erasure, and signed content does not let it go."
            continue
        words = dict(table.words)
        for later in table.later.values():
            words |= later.words
        for column in line.columns:
            compared += 1
            assert words.get(column) == line.instead, f"{line.table}.{column}"
    assert compared > 5


@pytest.mark.django_db(transaction=True)
def test_rejected_rows_of_a_person_go_and_those_of_others_stay(customer: Customer, folder: Path) -> None:
    text = folder / "imports" / "log-rejects.csv"
    text.parent.mkdir()
    rows = [["customer;x", "vin"], [SECRET.upper(), "1"], ["Quill\nSedgewick", "2"]]
    with text.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, delimiter=";").writerows(rows)
    book = Workbook()
    for row in rows:
        book.active.append(row)
    book.save(folder / "log-rejects-2.xlsx")
    alone = folder / "alone-rejects.csv"
    alone.write_text(f"customer,vin\n{SECRET},1\n", encoding="utf-8")
    (folder / "log.csv").write_text(f"customer\n{SECRET}\n", encoding="utf-8")
    out = StringIO()
    call_command("personal_data", "erase", str(customer.pk), "--order", "person", "--yes", stdout=out)
    with text.open(newline="", encoding="utf-8") as file:
        assert list(csv.reader(file, delimiter=";")) == [rows[0], rows[2]]
    kept = load_workbook(folder / "log-rejects-2.xlsx").active
    assert [list(row) for row in kept.iter_rows(values_only=True)] == [rows[0], rows[2]]
    assert not alone.exists()
    # The shop's own file is left, and named.
    assert (folder / "log.csv").exists() and str(folder / "log.csv") in out.getvalue()


@pytest.mark.django_db(transaction=True)
def test_the_command_asks_before_it_acts(customer: Customer, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = StringIO()
    erase = ("personal_data", "erase", customer.email, "--order", "person")
    call_command(*erase, "--check", stdout=out)
    assert "who the customer is" in out.getvalue()
    for answer in ("no", ""):
        monkeypatch.setattr("builtins.input", lambda answer=answer: answer)
        with pytest.raises(CommandError, match="Nothing was erased"):
            call_command(*erase, stdout=StringIO())
    with pytest.raises(CommandError):
        call_command("personal_data", "erase", customer.email, "--order", "nobody", "--yes", stdout=StringIO())
    customer.refresh_from_db()
    assert customer.name == SECRET
    monkeypatch.setattr("builtins.input", lambda: "erase")
    call_command(*erase, stdout=StringIO())
    customer.refresh_from_db()
    assert (customer.name, customer.match_key) == (f"erased person {customer.pk}", f"erased {customer.pk}")
    assert list(verify_log()) == []


@pytest.mark.django_db(transaction=True)
def test_nothing_is_left_between_the_rows(customer: Customer, folder: Path) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("The files of a server are its own.")
    for _ in range(50):
        add_message(customer, body=SECRET * 40)
    database = Path(connection.settings_dict["NAME"])
    files = [database, database.with_name(f"{database.name}-wal")]

    def holds_secret() -> bool:
        return any(SECRET.encode() in file.read_bytes() for file in files if file.exists())

    assert holds_secret()
    erase_person(customer=customer, order=ErasureOrder.PERSON, now=NOW, actor=None)
    assert holds_secret()  # until the night
    erase_what_is_old(now=NOW)
    assert not holds_secret()


def test_what_is_kept_for_some_days_goes_after_them(customer: Customer, folder: Path, settings: Any) -> None:
    limit = timedelta(days=settings.MESSAGES_KEPT_DAYS)
    old = add_message(customer, created_at=NOW - limit - timedelta(minutes=1))
    younger = add_message(customer, created_at=NOW - limit)
    waiting = add_message(customer, created_at=old.created_at, status=MessageStatus.WAITING, sent_at=None)
    mail = Path(settings.EMAIL_FILE_PATH)
    mail.mkdir(parents=True)
    for name, days in (("old.eml", settings.MAIL_FILES_KEPT_DAYS + 1), ("new.eml", settings.MAIL_FILES_KEPT_DAYS - 1)):
        (mail / name).write_text("x")
        moment = (NOW - timedelta(days=days)).timestamp()
        os.utime(mail / name, (moment, moment))
    Session.objects.create(session_key="old", session_data="", expire_date=NOW - timedelta(seconds=1))
    Session.objects.create(session_key="new", session_data="", expire_date=NOW + timedelta(seconds=1))
    done = erase_what_is_old(now=NOW)
    assert (done.messages, done.mail_files, done.sessions) == (1, 1, 1)
    assert [Message.objects.get(pk=m.pk).body == "(erased)" for m in (old, younger, waiting)] == [True, False, False]
    assert [path.name for path in mail.iterdir()] == ["new.eml"]
    assert erase_what_is_old(now=NOW).is_something is False


def test_people_without_dealings_go_where_the_shop_says_so(customer: Customer, folder: Path, settings: Any) -> None:
    later = timezone.now() + timedelta(days=400)
    assert erase_what_is_old(now=later).people == 0
    settings.PEOPLE_KEPT_DAYS = 300
    assert erase_what_is_old(now=later).people == 1
    assert erase_what_is_old(now=later).people == 0
    assert not Customer.objects.filter(name=SECRET).exists()


def test_a_person_of_the_same_family_is_left_alone(customer: Customer, folder: Path) -> None:
    other = Customer.objects.create(
        name="Basil Marchbanks",
        email="basil@example.org",
        match_key=make_match_key("Basil Marchbanks", ""),
        created_at=NOW,
    )
    add_message(other)
    mail = Path(django_settings.EMAIL_FILE_PATH)
    mail.mkdir(parents=True)
    (mail / "basil.eml").write_text("To: basil@example.org\n\nDear Basil Marchbanks\n")
    (mail / "ottoline.eml").write_text("To: Ottoline@example.org\n\nHello\n")
    plan = plan_erasure(customer=customer, now=NOW)
    assert [path.name for path in plan.files["mail"]] == ["ottoline.eml"]
    erase_person(customer=customer, order=ErasureOrder.PERSON, now=NOW, actor=None)
    other.refresh_from_db()
    assert other.messages.get().body == "Dear Basil Marchbanks"
    assert not EventWords.objects.exists()
