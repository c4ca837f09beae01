"""Backups are restored into an empty place as they were, and the health address says what a monitor must know."""

import json
import os
import subprocess
import sys
import tarfile
import time
from datetime import timedelta
from pathlib import Path

import psycopg
import pytest
from django.conf import settings
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from desk.operating import health
from desk.operating.health import MESSAGE_LATE_AFTER, read_health
from notifications.enums import MessageKind
from notifications.models import Message
from scheduling.models import RecomputeRun
from tests.conftest import ShopForTests, is_full
from treatments.models import Customer, Site

ROOT = Path(__file__).resolve().parents[2]
PHOTO = b"not a picture, but bytes that must come back"


class Place:
    """A folder and a database of their own, in which commands run as a shop's administrator runs them."""

    def __init__(self, folder: Path, database: str | None) -> None:
        self.folder, self.database = folder, database
        folder.mkdir()

    def run(self, *arguments: str, **extra: str) -> subprocess.CompletedProcess[str]:
        left_out = {"DATABASE_URL", "CELERY_BROKER_URL", "SECRET_KEY", "LOG_KEY"}
        environment = {key: value for key, value in os.environ.items() if key not in left_out}
        environment |= {"VAR_DIR": str(self.folder), **extra}
        if self.database:
            environment["DATABASE_URL"] = self.database
        return subprocess.run(
            [sys.executable, "manage.py", *arguments], cwd=ROOT, env=environment, capture_output=True, text=True
        )


@pytest.fixture
def places(tmp_path: Path, request: pytest.FixtureRequest) -> list[Place]:
    """Three empty places: of the shop, for the restored one, and a further one."""
    names = ["shop", "restored", "further"]
    if not is_full():
        return [Place(tmp_path / name, None) for name in names]
    given = settings.DATABASES["default"]
    address = f"postgres://{given['USER']}:{given['PASSWORD']}@{given['HOST']}:{given['PORT'] or 5432}"
    made = []
    with psycopg.connect(f"{address}/postgres", autocommit=True) as server:
        for name in names:
            database = f"test_backup_{os.getpid()}_{name}"
            server.execute(f'DROP DATABASE IF EXISTS "{database}" WITH (FORCE)')
            server.execute(f'CREATE DATABASE "{database}"')
            made.append(database)

    def drop() -> None:
        with psycopg.connect(f"{address}/postgres", autocommit=True) as server:
            for database in made:
                server.execute(f'DROP DATABASE IF EXISTS "{database}" WITH (FORCE)')

    request.addfinalizer(drop)
    return [Place(tmp_path / name, f"{address}/{database}") for name, database in zip(names, made, strict=True)]


def dump_rows(place: Place) -> object:
    """Return every row of the shop's own tables but for sessions."""
    done = place.run("dumpdata", "treatments", "scheduling", "claims", "notifications", "--indent=1")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_a_backup_restores_everything_and_refuses_what_does_not_fit(places: list[Place], tmp_path: Path) -> None:
    shop, restored, further = places
    assert shop.run("migrate", "--verbosity=0").returncode == 0
    assert shop.run("load_catalogue").returncode == 0
    photo = shop.folder / "media" / "photos" / "one.jpg"
    photo.parent.mkdir(parents=True)
    photo.write_bytes(PHOTO)
    file = tmp_path / "backup.tar.gz"

    made = shop.run("backup", str(file), "--with-keys")
    assert made.returncode == 0, made.stderr
    assert file.stat().st_mode & 0o077 == 0
    assert shop.run("backup", str(file)).returncode != 0, "an earlier backup is overwritten"

    done = restored.run("restore", str(file))
    assert done.returncode == 0, done.stdout + done.stderr
    assert dump_rows(restored) == dump_rows(shop)
    assert (restored.folder / "media" / "photos" / "one.jpg").read_bytes() == PHOTO
    for key in ("secret_key", "log_key"):
        assert (restored.folder / key).read_text() == (shop.folder / key).read_text()
    assert restored.run("verify_log").returncode == 0

    again = restored.run("restore", str(file))
    assert again.returncode != 0
    assert "empty" in again.stderr
    damaged = tmp_path / "damaged.tar.gz"
    damaged.write_bytes(file.read_bytes()[:-2000])
    refused = further.run("restore", str(damaged))
    assert refused.returncode != 0
    assert "Traceback" not in refused.stderr
    assert further.run("restore", str(tmp_path / "nowhere.tar.gz")).returncode != 0
    without = tmp_path / "without.tar.gz"
    assert shop.run("backup", str(without)).returncode == 0
    with tarfile.open(without) as archive:
        assert "keys.json" not in archive.getnames()
    # What was refused left the place empty, so the right file still fits.
    assert further.run("restore", str(file)).returncode == 0


@pytest.fixture(autouse=True)
def workers_are_asked_anew() -> None:
    cache.clear()


@pytest.mark.parametrize(("started_ago_seconds", "workers", "is_well"), [(3, "starting", True), (90, "failing", False)])
def test_health_tells_a_silent_broker_from_one_without_workers(
    db: None, monkeypatch: pytest.MonkeyPatch, started_ago_seconds: int, workers: str, is_well: bool
) -> None:
    monkeypatch.setattr(health, "STARTED_AT_SECONDS", time.monotonic() - started_ago_seconds)
    found = read_health(timezone.now())
    assert (found.broker, found.workers, found.worker_count, found.is_well) == ("ok", workers, 0, is_well)


def test_the_health_address_says_what_needs_a_person(client: Client, db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(health, "read_workers", lambda: ("ok", "ok", 1))
    now = timezone.now()
    answer = client.get("/health/")
    assert answer.status_code == 200
    assert answer.json()["database"] == "ok"
    assert answer.json()["last_run"] == "none yet"
    run = RecomputeRun.objects.create(as_of=now.date(), whole=True, started_at=now, finished_at=now)
    assert read_health(now).last_run == "ok"
    RecomputeRun.objects.filter(pk=run.pk).update(finished_at=now - timedelta(hours=27))
    late = client.get("/health/")
    assert late.status_code == 503
    assert late.json()["last_run"] == "late"
    assert client.post("/health/").status_code == 405
    RecomputeRun.objects.filter(pk=run.pk).update(finished_at=now)
    Message.objects.create(
        key="late",
        customer=Customer.objects.create(name="Ada Example", created_at=now),
        kind=MessageKind.VISIT_DUE,
        address="ada@example.org",
        due_at=now - MESSAGE_LATE_AFTER,
        created_at=now,
    )
    assert read_health(now).messages == "ok"
    assert read_health(now + timedelta(minutes=1)).messages == "late"
    assert "ada" not in client.get("/health/").content.decode().lower()


def test_health_sees_a_site_whose_days_cannot_be_computed(
    client: Client, shop: ShopForTests, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(health, "read_workers", lambda: ("ok", "ok", 1))
    well = client.get("/health/")
    assert (well.status_code, well.json()["sites"], well.json()["failing_sites"]) == (200, "ok", [])
    Site.objects.update(country="XX")
    failing = client.get("/health/")
    assert (failing.status_code, failing.json()["sites"]) == (503, "failing")
    assert failing.json()["failing_sites"] == [shop.site.code]
