"""Importing a shop's log through the command that people run, with what lies in the database afterwards."""

import csv
import os
import re
import signal
import subprocess
import sys
import time
from collections import Counter
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from django.utils import timezone
from openpyxl import load_workbook

from tests.conftest import NOW, ShopForTests
from tests.treatments.dirty_log import HEADINGS, DirtyLog, make_dirty_log, make_row, make_vin
from tests.treatments.import_helpers import (
    count_records,
    read_counts,
    read_sums,
    run_import,
    today,
    write_csv,
    write_xlsx,
)
from treatments.enums import MeasuredBy, TreatmentKind
from treatments.models import Customer, Ownership, Treatment, TreatmentLine, Vehicle, Zone
from treatments.records.drafts import compute_fingerprint, sign_draft
from treatments.records.material_totals import TotalEntry
from treatments.records.services import LineEntry, amend_treatment, record_treatment
from treatments.rules.units import Volume, VolumeUnit

pytestmark = pytest.mark.slow


@pytest.fixture
def dirty(shop: ShopForTests) -> DirtyLog:
    return make_dirty_log(today())


@pytest.mark.parametrize("form", ["comma", "semicolon", "byte order mark", "xlsx"])
def test_a_dirty_log_of_a_thousand_rows_gives_exactly_its_faults(dirty: DirtyLog, tmp_path: Path, form: str) -> None:
    if form == "xlsx":
        path = write_xlsx(tmp_path / "log.xlsx", dirty.rows)
    else:
        path = write_csv(
            tmp_path / "log.csv",
            dirty.rows,
            separator=";" if form == "semicolon" else ",",
            encoding="utf-8-sig" if form == "byte order mark" else "utf-8",
        )
    printed, fine = run_import(path)
    rejected = sum(dirty.faults.values())
    assert not fine
    assert read_sums(printed) == (1000, 1000 - rejected - dirty.already_known, rejected, dirty.already_known)
    assert read_counts(printed, "Faults") == dirty.faults
    assert read_counts(printed, "Notes") == dirty.notes
    assert printed.count("REJECTED row") == rejected
    # Each rejection names row, column and value.
    assert re.search(r"REJECTED row 2, column 'VIN', value '1XX\w+': .*" + make_vin(123_451) + " would pass:", printed)
    assert Customer.objects.filter(name__startswith="Maeve O'Tarn").exists()

    before = count_records()
    again, _ = run_import(path)
    assert read_sums(again) == (1000, 0, rejected, 1000 - rejected)
    assert count_records() == before


def test_visit_that_a_log_adds_a_zone_to_keeps_its_total(shop: ShopForTests, tmp_path: Path) -> None:
    row = make_row(1, "Left rocker panel", date(2025, 3, 10), "first treatment", "1000")
    run_import(write_csv(tmp_path / "log.csv", [row]))
    first = Treatment.objects.get()
    (line,) = first.lines.all()
    told = TotalEntry(line.product, line.lot, Volume(Decimal(900), VolumeUnit.MILLILITRE), MeasuredBy.CANISTER)
    entry = LineEntry(line.zone, line.product, line.lot)
    measured = amend_treatment(
        treatment=first, reason="weighed", lines=[entry], totals=[told], now=timezone.now(), actor=None
    )
    run_import(write_csv(tmp_path / "more.csv", [row | {"Zone": "Right rocker panel"}]))
    newer = Treatment.objects.get(amends=measured)
    assert newer.lines.count() == 2
    assert [total.quantity_ml for total in newer.totals.all()] == [900]


def test_rejects_can_be_mended_and_fed_in_again(shop: ShopForTests, tmp_path: Path) -> None:
    day = date(2025, 3, 10)
    good = make_row(1, "Left rocker panel", day, "first treatment", "1000")
    bad = good | {"Zone": "roker left", "Remark": "-1+cmd|x"}
    path = write_csv(tmp_path / "log.csv", [good, bad], separator=";")
    printed, _ = run_import(path)
    assert read_sums(printed) == (2, 1, 1, 0)
    rejects = tmp_path / "log-rejects.csv"
    with rejects.open(encoding="utf-8", newline="") as text:
        (row,) = csv.DictReader(text, delimiter=";")
    assert list(row) == [*HEADINGS, "reason"]
    assert "Zone: No such zone. Is it Left rocker panel" in row["reason"]
    assert row["Remark"] == "'-1+cmd|x"  # nothing that a spreadsheet would run

    fixed = tmp_path / "fixed.csv"
    fixed.write_text(rejects.read_text("utf-8").replace("roker left", "Right rocker panel"), "utf-8")
    printed, fine = run_import(fixed)
    assert fine
    assert read_sums(printed) == (1, 1, 0, 0)
    first, amended = Treatment.objects.order_by("pk")
    assert amended.amends == first
    assert "fixed.csv" in amended.amendment_reason
    assert sorted(amended.lines.values_list("zone__code", flat=True)) == ["rocker_left", "rocker_right"]
    assert run_import(path)[0].count("already known 1")


def test_rejects_of_a_workbook_are_a_workbook_without_formulas(shop: ShopForTests, tmp_path: Path) -> None:
    row = make_row(1, "Left rocker panel", date(2025, 3, 10), "first treatment", "=1000+1")
    path = write_xlsx(tmp_path / "log.xlsx", [row])
    printed, _ = run_import(path)
    assert read_counts(printed, "Faults") == Counter({"formula": 1})
    sheet = load_workbook(tmp_path / "log-rejects.xlsx").worksheets[0]
    headings, values = list(sheet.iter_rows())
    written = {heading.value: cell for heading, cell in zip(headings, values, strict=True)}
    assert written["Odometer"].data_type == "s"
    assert written["Odometer"].value == "'=1000+1"
    assert "write the value itself" in written["reason"].value


def test_check_reports_the_same_and_writes_nothing(dirty: DirtyLog, tmp_path: Path) -> None:
    path = write_csv(tmp_path / "log.csv", dirty.rows)
    before = count_records()
    checked, _ = run_import(path, "--check")
    assert count_records() == before
    assert not (tmp_path / "log-rejects.csv").exists()
    printed, _ = run_import(path)
    assert read_sums(checked) == read_sums(printed)
    assert read_counts(checked, "Faults") == read_counts(printed, "Faults")
    assert count_records() != before


def test_dates_are_never_guessed(shop: ShopForTests, tmp_path: Path) -> None:
    row = make_row(1, "Left rocker panel", date(2025, 3, 10), "first treatment", "1000") | {"Date": "04/03/2025"}
    path = write_csv(tmp_path / "log.csv", [row])
    printed, fine = run_import(path)
    assert not fine
    assert "2025-03-04 or 2025-04-03" in printed
    assert "--dates dmy" in printed
    assert run_import(path, "--dates", "mdy")[1]
    assert Treatment.objects.get().done_on == date(2025, 4, 3)


def test_a_visit_told_in_two_ways_is_rejected_where_it_contradicts(shop: ShopForTests, tmp_path: Path) -> None:
    first = make_row(1, "Left rocker panel", date(2025, 3, 10), "first treatment", "1000")
    rows = [
        first,
        first | {"Zone": "Right rocker panel", "Odometer": "1500"},
        first | {"Zone": "Left front door", "Customer": "Somebody Else", "Contact": "else@example.com"},
        first | {"Quantity": "0.5"},
        first | {"Zone": "Right front door"},
    ]
    printed, _ = run_import(write_csv(tmp_path / "log.csv", rows))
    assert read_sums(printed) == (5, 2, 3, 0)
    assert read_counts(printed, "Faults") == Counter({"visit_disagrees": 2, "line_disagrees": 1})


def test_a_row_of_a_visit_that_stands_as_a_draft_is_rejected(shop: ShopForTests, tmp_path: Path) -> None:
    first = make_row(1, "Left rocker panel", date(2025, 3, 10), "first treatment", "1000")
    touch_up = first | {"Date": "2026-03-10", "Kind of visit": "annual touch-up", "Odometer": "9000"}
    log = write_csv(tmp_path / "log.csv", [first])
    assert run_import(log)[1]
    draft = record_treatment(
        vehicle=Vehicle.objects.get(), site=shop.site, done_on=date(2026, 3, 10), kind=TreatmentKind.ANNUAL_TOUCH_UP,
        lines=[LineEntry(Zone.objects.get(code="rocker_right"), not_done_reason="blocked")], now=NOW, actor=None,
        sign_off=False,
    )  # fmt: skip
    write_csv(log, [first, touch_up, first | {"Date": "2026-04-10", "Kind of visit": "annual touch-up"}])
    before = count_records()
    printed, _ = run_import(log)
    assert read_sums(printed) == (3, 1, 1, 1)
    assert read_counts(printed, "Faults") == Counter({"visit_disagrees": 1})
    draft.refresh_from_db()
    assert draft.signed_off_at is None and [line.zone.code for line in draft.lines.all()] == ["rocker_right"]
    assert count_records()["Treatment"] == before["Treatment"] + 1
    # Once it is signed off, the row is added to it as an amendment.
    sign_draft(treatment=draft, fingerprint=compute_fingerprint(draft), now=NOW, actor=None)
    assert read_sums(run_import(log)[0]) == (3, 1, 0, 2)
    assert Treatment.objects.get(amends=draft).lines.count() == 2


def test_owner_changes_are_recorded_and_older_visits_extend_them(shop: ShopForTests, tmp_path: Path) -> None:
    new = make_row(1, "Left rocker panel", date(2025, 3, 10), "annual touch-up", "9000")
    buyer = new | {"Date": "2026-03-01", "Customer": "Cora Dunlin", "Contact": "cora@example.com", "Odometer": "19000"}
    assert run_import(write_csv(tmp_path / "a.csv", [new, buyer]))[1]
    older = new | {"Date": "2024-03-09", "Kind of visit": "first treatment", "Odometer": "1000"}
    assert run_import(write_csv(tmp_path / "b.csv", [older]))[1]
    owners = [(o.customer.name, o.from_day, o.until_day) for o in Ownership.objects.order_by("from_day")]
    assert owners == [
        ("Owner 1", date(2024, 3, 9), date(2026, 3, 1)),
        ("Cora Dunlin", date(2026, 3, 1), None),
    ]


def test_unreadable_files_say_what_to_do_and_write_nothing(shop: ShopForTests, tmp_path: Path) -> None:
    good = make_row(1, "Left rocker panel", date(2025, 3, 10), "first treatment", "1000")
    utf16 = tmp_path / "utf16.csv"
    utf16.write_text("VIN,Date\n", encoding="utf-16")
    fake = tmp_path / "fake.xlsx"
    fake.write_text("not a workbook")
    missing = tmp_path / "missing.csv"
    missing.write_text("VIN,Date\n1,2\n")
    for path, words in (
        (utf16, "UTF-16"),
        (fake, "can't be read as a workbook"),
        (missing, "no column for: customer"),
        (tmp_path / "absent.csv", "is not a file"),
    ):
        printed, fine = run_import(path)
        assert not fine
        assert words in printed
    assert Vehicle.objects.count() == 0
    # A few bytes that are not UTF-8 cost their row only, and come back in the rejects as they were.
    text = write_csv(tmp_path / "latin.csv", [good, good | {"Zone": "Left front door", "Customer": "Ren~ Fell"}])
    text.write_bytes(text.read_bytes().replace(b"Ren~", b"Ren\xe9"))
    printed, _ = run_import(text)
    assert read_counts(printed, "Faults") == Counter({"encoding": 1})
    assert b"Ren\xe9 Fell" in (tmp_path / "latin-rejects.csv").read_bytes()


@pytest.mark.django_db(transaction=True)
def test_a_kill_in_the_middle_leaves_whole_vehicles_and_the_next_run_finishes(
    shop: ShopForTests, tmp_path: Path
) -> None:
    from django.db import connection

    rows = make_dirty_log(today(), 12_000).rows
    path = write_csv(tmp_path / "log.csv", rows)
    # The vehicles at the end of the log have no faulty rows.
    per_vehicle = Counter(row["VIN"] for row in rows if "010000" <= row["VIN"][-6:] < "020000")
    settings = connection.settings_dict
    name = settings["NAME"]
    url = f"sqlite:///{name}"
    if connection.vendor == "postgresql":
        url = f"postgres://{settings['USER']}:{settings['PASSWORD']}@{settings['HOST']}:{settings['PORT']}/{name}"
    elif connection.is_in_memory_db():
        pytest.fail("The embedded test database must be a file, so that a second process can open it.")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    environment = os.environ | {"DATABASE_URL": url, "VAR_DIR": str(tmp_path / "var"), "TMPDIR": str(scratch)}
    command = [sys.executable, "manage.py", "import_treatments", str(path)]
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while process.poll() is None and Treatment.objects.count() < 200:
        time.sleep(0.02)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert list(scratch.iterdir()) == []  # nor is anything of the staged rows left
    landed = Counter(TreatmentLine.objects.values_list("treatment__vehicle__vin", flat=True))
    assert 0 < len(landed) < len(per_vehicle)
    whole = {vin: count for vin, count in landed.items() if vin in per_vehicle}
    assert whole == {vin: per_vehicle[vin] for vin in whole}
    run_import(path)
    landed = Counter(TreatmentLine.objects.values_list("treatment__vehicle__vin", flat=True))
    assert {vin: landed[vin] for vin in per_vehicle} == dict(per_vehicle)
