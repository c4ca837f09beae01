"""A service that customers depend on is refused where something would fail silently; links outlive a new key."""

import os
import re
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.core.management import call_command
from django.core.management.base import CommandError, SystemCheckError
from django.test import Client
from django.utils import timezone

from config.deployment import CHECKS, check_deployment, refuse_unfit_worker
from desk.booking.own_times import read_chosen_time, sign_time
from desk.booking.slots import make_buttons, read_button, read_times, sign_times
from desk.shared.shown import make_token, read_token
from notifications.customer_page.links import make_own_page_token, make_stop_token, read_own_page_token, read_stop_token
from notifications.invitations.calendar_feeds import find_feed, renew_feed
from scheduling.booking.finding import propose_slots
from scheduling.models import Cover
from tests.demo_records import load_demo
from treatments.models import User

ROOT = Path(django_settings.BASE_DIR)
OLD, NEW = "the key of before " * 4, "the key of today " * 4
FIT = {
    "DEBUG": False,
    "SECRET_KEY": NEW,
    "SECRET_KEY_FALLBACKS": [],
    "SITE_URL": "https://desk.example.org",
    "EMAIL_BACKEND": "django.core.mail.backends.smtp.EmailBackend",
    "LOG_IN_CODES_REQUIRED_OF": ["owner"],
    "WORKERS_NEED_DEPLOYMENT": True,
    "LOG_KEY_IS_SET": True,
}
UNFIT = {
    "E001": {"DEBUG": True},
    "E002": {"SECRET_KEY_FALLBACKS": ["short"]},
    "E003": {"SITE_URL": "http://127.0.0.1:8000"},
    "E004": {"EMAIL_BACKEND": "notifications.mail.mail_files.EmlFileBackend"},
    "E005": {"MODE": 0o755},
    "E006": {"LOG_IN_CODES_REQUIRED_OF": ["owners"]},
    "E007": {"LOG_KEY_IS_SET": False, "IS_OWN_BROKER": False},
}


@pytest.fixture
def fit(settings: Any, tmp_path: Path) -> Any:
    folder = tmp_path / "own"
    folder.mkdir(mode=0o700)
    settings.VAR_DIR = folder
    for name, value in FIT.items():
        setattr(settings, name, value)
    return settings


def test_every_check_is_tried() -> None:
    assert len(CHECKS) == len(UNFIT)


def test_a_service_with_everything_set_is_let_through(fit: Any) -> None:
    assert check_deployment() == []
    refuse_unfit_worker()


def test_the_embedded_size_may_keep_its_own_key_of_the_event_log(fit: Any) -> None:
    fit.LOG_KEY_IS_SET, fit.IS_OWN_BROKER = False, True
    is_embedded = "sqlite" in fit.DATABASES["default"]["ENGINE"]
    assert [error.id for error in check_deployment()] == ([] if is_embedded else ["deployment.E007"])


@pytest.mark.parametrize("number", UNFIT)
def test_what_would_fail_silently_is_refused_by_the_check_and_by_a_worker(fit: Any, number: str) -> None:
    for name, value in UNFIT[number].items():
        if name == "MODE":
            Path(fit.VAR_DIR).chmod(value)
        else:
            setattr(fit, name, value)
    assert [error.id for error in check_deployment()] == [f"deployment.{number}"]
    with pytest.raises(SystemCheckError, match=f"deployment.{number}"):
        call_command("check", "--deploy")
    call_command("check")  # nobody is held up by it before
    with pytest.raises(SystemExit, match="does not start"):
        refuse_unfit_worker()
    with pytest.raises(CommandError, match="WORKERS_NEED_DEPLOYMENT=0"):
        call_command("serve", "--address", "127.0.0.1:0")
    fit.WORKERS_NEED_DEPLOYMENT = False
    refuse_unfit_worker()


@pytest.mark.parametrize(
    ("broker", "word", "starts"),
    [("redis://127.0.0.1:1/0", "does not start", False), ("filesystem://", "celery@", True)],
)
def test_a_worker_of_a_broker_refuses_and_the_embedded_one_does_not(
    tmp_path: Path, broker: str, word: str, starts: bool
) -> None:
    environment = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "EMAIL_URL")}
    environment |= {"VAR_DIR": str(tmp_path / "var"), "CELERY_BROKER_URL": "" if starts else broker}
    code = (
        "import django; django.setup();"
        "from celery.signals import worker_init; worker_init.send(sender=None); print('celery@ ready')"
    )
    ran = subprocess.run(
        [sys.executable, "-c", f"import config; {code}"],
        cwd=ROOT,
        env=environment | {"DJANGO_SETTINGS_MODULE": "config.settings"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert word in ran.stdout + ran.stderr, ran.stderr
    assert ("ready" in ran.stdout) is starts


def test_a_folder_that_the_program_makes_is_its_own(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    environment = os.environ | {"VAR_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "config.settings"}
    subprocess.run([sys.executable, "-c", "import config.settings"], cwd=ROOT, env=environment, check=True)
    assert folder.stat().st_mode & 0o777 == 0o700


@pytest.mark.django_db
def test_what_was_signed_with_the_key_of_before_still_opens(settings: Any, tmp_path: Path) -> None:
    now = timezone.now()
    load_demo(tmp_path, now)
    cover = Cover.objects.filter(last_state__booked_on__isnull=True).order_by("pk")[0]
    vehicle, owner = cover.vehicle, cover.vehicle.ownerships.get(until_day__isnull=True).customer
    person = User.objects.get(username="writer")
    slots = propose_slots(vehicle=vehicle, cover=cover, sites=[cover.site], now=now).slots
    settings.SECRET_KEY = OLD
    mailed = make_own_page_token(owner, vehicle)
    signed: dict[str, tuple[str, Any]] = {
        "own page": (mailed, read_own_page_token),
        "stop": (make_stop_token(owner), read_stop_token),
        "calendar": (_make_feed_address(person, now), lambda token: find_feed(*token.split("/")[-2:])),
        "slot": (make_buttons(slots, [cover.site], vehicle, None)[0].value, lambda token: read_button(token, vehicle)),
        "slots of many": (sign_times({cover.pk: slots[0]}), read_times),
        "own time": (sign_time(slots[0], vehicle, None), lambda token: read_chosen_time(token, vehicle)),
        "shown": (make_token(7), read_token),
    }
    client = Client()
    client.force_login(person)
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = NEW, [OLD]
    for what, (token, read) in signed.items():
        assert read(token), what
    assert Client().get(f"/my/{mailed}/").status_code == 200
    assert client.get("/calendars/").status_code == 200  # the session goes on
    settings.SECRET_KEY_FALLBACKS = []
    for what in ("own page", "stop", "slots of many", "own time", "shown"):
        token, read = signed[what]
        assert not read(token), what
    assert Client().get(f"/my/{mailed}/").status_code == 404
    assert client.get("/calendars/").status_code == 200  # it was renewed under the new key


def _make_feed_address(person: User, now: datetime) -> str:
    renew_feed(bay=None, person=person, now=now, actor=person)
    client = Client()
    client.force_login(person)
    found = re.search(r"/calendars/[^\"<]+\.ics", client.get("/calendars/").content.decode())
    assert found is not None
    return found[0].removesuffix(".ics")


OTHER_KEYS = r"SECRET_KEY\b(?!_)|salted_hmac|TimestampSigner\(|Signer\((?!salt=SALT\))|signing\.\w+\([^)]*key="


def test_every_use_of_signing_is_one_that_honours_earlier_keys() -> None:
    """Django's own ways of signing take the fallbacks; a key of one's own, or the setting itself, does not."""
    found = {}
    for path in ROOT.rglob("*.py"):
        parts = path.relative_to(ROOT).parts
        if parts[0] in ("tests", "build") or parts[0].startswith(".") or "migrations" in parts:
            continue
        text = path.read_text()
        if re.search(OTHER_KEYS, text):
            found["/".join(parts)] = True
    # Settings read it, the check measures it, and a backup carries both.
    assert set(found) == {"config/settings.py", "config/deployment.py", *BACKUPS}


BACKUPS = ("desk/management/commands/backup.py", "desk/operating/backup.py", "desk/operating/restore.py")
