"""The evidence of a claim proves itself elsewhere: its own script finds every file that was changed, and, with the key
of the event log, whatever was made anew.
"""

import hashlib
import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.utils import timezone, translation
from PIL import Image

from claims.decisions.dossier import read_claim_file
from claims.decisions.services import decide_claim
from claims.enums import DecisionKind
from claims.evidence.archive import write_archive
from claims.evidence.queries import read_evidence
from claims.intake.services import attach_claim_photo
from claims.models import Claim
from claims.rules.recommend import Outcome
from desk.demo.load import DemoShop
from tests.demo_records import load_demo
from treatments.models import User


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture
def claim(demo: DemoShop, settings: Any, tmp_path: Path) -> Claim:
    """A claim with a photo and a decision."""
    settings.MEDIA_ROOT = str(tmp_path / "media")
    files = [read_claim_file(claim, as_of=demo.day) for claim in Claim.objects.order_by("pk")]
    file = next(file for file in files if file.recommendation.outcome is Outcome.PAY)
    sheet = file.recommendation.amount
    assert sheet is not None and sheet.payable is not None
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "brown").save(picture, "PNG")
    picture.seek(0)
    by: dict[str, Any] = {"now": timezone.now(), "actor": User.objects.get(username="warranty")}
    attach_claim_photo(claim=file.claim, upload=picture, name="rust.png", zone=None, **by)
    decide_claim(claim=file.claim, kind=DecisionKind.PAY, amount=sheet.payable.amount, reason="", day=demo.day, **by)
    return file.claim


def make(claim: Claim, day: Any) -> bytes:
    return write_archive(read_evidence(read_claim_file(claim, as_of=day)))


@pytest.fixture
def folder(claim: Claim, demo: DemoShop, tmp_path: Path) -> Path:
    with zipfile.ZipFile(io.BytesIO(make(claim, demo.day))) as archive:
        archive.extractall(tmp_path / "unpacked")
    return tmp_path / "unpacked" / f"claim-{claim.number}"


@pytest.fixture
def keys(tmp_path: Path) -> Path:
    path = tmp_path / "keys"
    path.write_text("\n".join(settings.LOG_KEYS))
    return path


def verify(folder: Path, *options: str) -> tuple[int, str]:
    """Run the script as whoever got the file would: by itself, with none of this project to be found."""
    done = subprocess.run(
        [sys.executable, "-I", "-S", str(folder / "verify.py"), *options],
        capture_output=True,
        text=True,
        cwd=folder.parent,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


def seal_anew(folder: Path) -> None:
    """Fit the manifest to the files as they are now, as a forger without the key would."""
    manifest = json.loads((folder / "manifest.json").read_bytes())
    there = (path for path in folder.rglob("*") if path.is_file() and not path.name.startswith("manifest."))
    manifest["files"] = {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in there
    }
    content = json.dumps(manifest).encode()
    (folder / "manifest.json").write_bytes(content)
    (folder / "manifest.sha256").write_text(f"{hashlib.sha256(content).hexdigest()}  manifest.json\n")


def test_what_was_handed_out_verifies_with_and_without_the_key(folder: Path, keys: Path) -> None:
    for options in ((), ("--keys", str(keys))):
        status, told = verify(folder, *options)
        assert status == 0, told
    assert (folder / "letters").is_dir() and list((folder / "photos").glob("claim-photo-*.jpg"))
    entries = json.loads((folder / "event-log.json").read_bytes())
    kinds = {entry["kind"] for entry in entries}
    assert {"claim.filed", "claim.decided", "cover.registered", "treatment.signed_off", "terms.published"} <= kinds


def test_one_byte_changed_in_any_file_is_found_and_the_file_is_named(folder: Path) -> None:
    names = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    assert len(names) >= 13
    for name in names:
        whole = (folder / name).read_bytes()
        # In the script, a sign of its first line of text; elsewhere in the middle.
        place = whole.index(b"Checks") if name == "verify.py" else len(whole) // 2
        (folder / name).write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        status, told = verify(folder)
        assert status == 1 and name in told, (name, told)
        (folder / name).write_bytes(whole)
    assert verify(folder)[0] == 0


def test_a_file_that_is_missing_or_was_added_is_named(folder: Path) -> None:
    (folder / "photos.json").rename(folder / "pictures.json")
    status, told = verify(folder)
    assert status == 1 and "photos.json" in told and "pictures.json" in told


def change_words(entries: Any) -> None:
    next(entry for entry in entries if entry["words"])["words"][0]["text"] += "!"


def change_hash(entries: Any) -> None:
    before, _after = next((one, two) for one, two in pairwise(entries) if two["position"] == one["position"] + 1)
    before["hash"] = "0" * 64


def change_kind(entries: Any) -> None:
    entries[-1]["kind"] = "claim.forgotten"


def change_row(rows: Any) -> None:
    row = next(row for row in rows if row["part"] == "treatment_line")
    row["text"] = row["text"].replace("_id", "_ix", 1)


def drop_row(rows: Any) -> None:
    rows.pop()


@pytest.mark.parametrize(
    ("name", "change", "found_without_the_key"),
    [
        ("event-log.json", change_words, True),
        ("event-log.json", change_hash, True),
        ("event-log.json", change_kind, False),
        ("signed-rows.json", drop_row, True),
        ("signed-rows.json", change_row, False),
    ],
)
def test_a_manifest_made_anew_hides_what_only_the_key_shows(
    folder: Path, keys: Path, name: str, change: Callable[[Any], None], found_without_the_key: bool
) -> None:
    content = json.loads((folder / name).read_bytes())
    change(content)
    (folder / name).write_text(json.dumps(content))
    seal_anew(folder)
    status, told = verify(folder)
    assert (status == 1) is found_without_the_key and (name in told) is found_without_the_key, told
    status, told = verify(folder, "--keys", str(keys))
    assert status == 1 and name in told and "manifest.json" in told


def test_a_record_made_anew_breaks_the_seal(folder: Path, keys: Path) -> None:
    (folder / "findings.json").write_text("{}")
    seal_anew(folder)
    assert verify(folder)[0] == 0
    status, told = verify(folder, "--keys", str(keys))
    assert status == 1 and "manifest.json" in told


def test_keys_of_somebody_else_prove_nothing(folder: Path, keys: Path) -> None:
    keys.write_text("another key")
    assert verify(folder, "--keys", str(keys))[0] == 1


def test_the_same_state_gives_the_same_bytes_on_any_day(claim: Claim, demo: DemoShop) -> None:
    later = demo.day.replace(year=demo.day.year + 1, day=1)
    made = make(claim, demo.day)
    assert made == make(claim, later)
    with translation.override("fr"):
        assert made != make(claim, demo.day)


@pytest.mark.parametrize(("username", "status"), [("warranty", 200), ("owner", 200), ("writer", 403), ("dealer", 403)])
def test_who_handles_claims_takes_the_evidence_along(claim: Claim, username: str, status: int) -> None:
    client = Client()
    client.force_login(User.objects.get(username=username))
    answer = client.get(f"/claims/{claim.number}/evidence.zip")
    assert answer.status_code == status
    page = client.get(f"/claims/{claim.number}/")
    assert (b"evidence.zip" in page.content) is (status == 200)
    if status == 200:
        with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
            assert archive.testzip() is None
            assert f"claim-{claim.number}/manifest.json" in archive.namelist()
