"""Going live: after an import of old records nothing goes out by itself; an owner looks, lets it out, and stops it."""

import csv
import io
import re
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client
from freezegun import freeze_time

from notifications.consents.queries import list_who_agreed_to_offers, read_consents
from notifications.consents.services import record_consent, stop_messages
from notifications.enums import ConsentSource, Purpose
from notifications.going_live.queries import read_release
from notifications.models import Consent, ContactHours, ContactPreference, Message, Notice, Release
from scheduling.models import Cover, DueItem
from tests.conftest import NOW, TODAY, ShopForTests
from tests.notifications.test_reminders import add_due_vehicle
from tests.treatments.dirty_log import make_row
from tests.treatments.import_helpers import run_import, write_csv
from treatments.enums import Role
from treatments.models import Customer, Event, User

IMPORTED = 1000


def run_daily(*options: str) -> str:
    out = io.StringIO()
    with freeze_time(NOW):
        call_command("run_daily", *options, stdout=out, stderr=out)
    return out.getvalue()


@pytest.mark.slow
def test_an_import_of_a_thousand_old_records_tells_nobody_before_a_release(shop: ShopForTests, tmp_path: Path) -> None:
    Release.objects.all().delete()
    rows = [
        make_row(number, "Left rocker panel", TODAY - timedelta(days=330 + number % 200), "first treatment", "1000")
        for number in range(IMPORTED)
    ]
    with freeze_time(NOW):
        _printed, is_right = run_import(write_csv(tmp_path / "log.csv", rows))
    assert is_right and Cover.objects.count() == 0
    for _night in range(2):
        assert "No reminders are written" in run_daily()
    assert Cover.objects.count() == IMPORTED and DueItem.objects.count() >= IMPORTED
    assert not Message.objects.exists() and not Notice.objects.exists()
    before = Event.objects.count()
    printed = run_daily("--check", "--missed-since", "2000-01-01")
    assert "reminders are not released yet" in printed
    would_go = re.search(r"(\d+) messages would be written", printed)
    assert would_go is not None and int(would_go[1]) > IMPORTED / 2
    assert not Message.objects.exists() and not Release.objects.exists() and Event.objects.count() == before


@pytest.fixture
def owner(shop: ShopForTests) -> Client:
    client = Client()
    client.force_login(User.objects.create(username="una", role=Role.OWNER, site=shop.site))
    return client


@pytest.fixture
def cover(shop: ShopForTests) -> Cover:
    return add_due_vehicle(shop, "11111111111111111", "lena@example.com", date(2025, 6, 10))


WANTED = {"missed_since": "2026-01-01", "daily_portion": "7", "usual_per_day": "9"}


def test_an_owner_sees_what_would_go_lets_it_out_and_stops_it(owner: Client, cover: Cover) -> None:
    Release.objects.all().delete()
    with freeze_time(NOW):
        assert owner.get("/due/").context["asks_to_release"] == "none"
        shown = owner.get("/going-live/", WANTED)
        assert (shown.status_code, shown.context["preview"].messages) == (200, 1)
        assert read_release() is None and not Message.objects.exists()
        assert owner.post("/going-live/do/release/", WANTED).status_code == 302
        release = read_release()
        assert release is not None and (release.daily_portion, release.paused_at) == (7, None)
        assert release.released_by == User.objects.get(username="una")
        assert owner.get("/due/").context["asks_to_release"] == ""
        owner.post("/going-live/do/stop/")
        release.refresh_from_db()
        assert release.paused_at == NOW
        assert owner.get("/due/").context["asks_to_release"] == "wave"
    kinds = list(Event.objects.filter(subject="release").order_by("position").values_list("kind", flat=True))
    assert kinds == ["reminders.released", "reminders.stopped"]


@pytest.mark.parametrize(
    ("field", "value"),
    [("missed_since", "soon"), ("daily_portion", "0"), ("usual_per_day", ""), ("daily_portion", "x")],
)
def test_what_can_not_be_meant_is_refused_at_its_field(owner: Client, field: str, value: str) -> None:
    Release.objects.all().delete()
    answer = owner.post("/going-live/do/release/", {**WANTED, field: value})
    assert answer.status_code == 400 and field in answer.context["form"].errors
    assert read_release() is None
    assert owner.get("/going-live/", {**WANTED, field: value}).status_code == 400


def test_hours_are_set_for_a_site_and_one_day_is_always_left(owner: Client, shop: ShopForTests) -> None:
    prefix = f"hours-{shop.site.pk}"
    sent = {"site": shop.site.code, f"{prefix}-quiet_from": "19:00", f"{prefix}-quiet_until": "09:30",
            f"{prefix}-quiet_weekdays": ["6", "7"], f"{prefix}-most_per_week": "2"}  # fmt: skip
    assert owner.post("/going-live/do/hours/", sent).status_code == 302
    row = ContactHours.objects.get()
    assert (row.quiet_from.hour, row.quiet_until.minute, row.quiet_weekdays, row.most_per_week) == (19, 30, "67", 2)
    every = owner.post("/going-live/do/hours/", {**sent, f"{prefix}-quiet_weekdays": list("1234567")})
    none = owner.post("/going-live/do/hours/", {**sent, f"{prefix}-most_per_week": "0"})
    assert (every.status_code, none.status_code) == (400, 400)
    row.refresh_from_db()
    assert row.quiet_weekdays == "67"


@pytest.mark.parametrize("role", [Role.SERVICE_WRITER, Role.WARRANTY_ADMINISTRATOR, Role.APPLICATOR])
def test_only_an_owner_lets_reminders_out(shop: ShopForTests, role: Role) -> None:
    client = Client()
    client.force_login(User.objects.create(username="x", role=role, site=shop.site))
    assert client.get("/going-live/").status_code == 403
    assert client.post("/going-live/do/stop/").status_code == 403
    assert client.get("/going-live/agreed-to-offers.csv").status_code == 403


def agree(customer: Customer, purpose: Purpose, given: bool) -> bool:
    return record_consent(
        customer=customer, purpose=purpose, given=given, source=ConsentSource.DESK, now=NOW, actor=None
    )


def test_offers_are_for_those_only_whose_last_word_is_yes(owner: Client, cover: Cover) -> None:
    osric = Customer.objects.create(name="=Osric", email="o@example.org", match_key="o", created_at=NOW)
    lena = Customer.objects.get(name="Lena Orchard")
    assert list_who_agreed_to_offers() == []
    assert agree(lena, Purpose.OFFERS, True) and agree(osric, Purpose.OFFERS, True)
    assert not agree(lena, Purpose.OFFERS, True)
    assert agree(lena, Purpose.OFFERS, False)
    assert list_who_agreed_to_offers() == [osric]
    rows = list(csv.reader(io.StringIO(owner.get("/going-live/agreed-to-offers.csv").content.decode("utf-8-sig"))))
    assert [row[1] for row in rows[1:]] == ["o@example.org"] and not rows[1][0].startswith("=")
    assert [row.given for row in Consent.objects.filter(customer=lena).order_by("pk")] == [True, False]


def test_stopping_and_agreeing_again_are_one_truth_with_its_history(cover: Cover) -> None:
    lena = Customer.objects.get()
    assert read_consents([lena])[lena.pk] == {Purpose.CONTRACT: True, Purpose.OFFERS: False, Purpose.TEXTS: False}
    assert stop_messages(customer=lena, now=NOW, source=ConsentSource.ONE_CLICK)
    assert not stop_messages(customer=lena, now=NOW)
    lena.refresh_from_db()
    assert lena.messages_stopped_at == NOW and not read_consents([lena])[lena.pk][Purpose.CONTRACT]
    assert agree(lena, Purpose.CONTRACT, True)
    lena.refresh_from_db()
    assert lena.messages_stopped_at is None
    rows = list(Consent.objects.order_by("pk").values_list("given", "source"))
    assert rows == [(False, ConsentSource.ONE_CLICK), (True, ConsentSource.DESK)]


def test_the_desk_writes_down_what_an_owner_agreed_to(owner: Client, cover: Cover) -> None:
    address = f"/vehicles/{cover.vehicle.vin}/change/owner-messages/"
    sent = {"contract": "on", "offers": "on", "channel": "letter", "time_zone": "america/denver"}
    assert owner.post(address, sent).status_code == 200 and not Consent.objects.exists()
    assert owner.post(address, {**sent, "confirm": "1"}).status_code == 302
    row = Consent.objects.get()
    assert (row.purpose, row.given, row.source) == (Purpose.OFFERS, True, ConsentSource.DESK)
    assert row.recorded_by == User.objects.get(username="una")
    preference = ContactPreference.objects.get()
    assert (preference.channel, preference.time_zone) == ("letter", "America/Denver")
    page = owner.get(address)
    assert page.context["consents"] == [row] and page.context["form"].initial["offers"]
    assert owner.post(address, {**sent, "time_zone": "the moon"}).status_code == 400
