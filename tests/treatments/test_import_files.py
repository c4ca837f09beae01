"""The files around an import: quotes left open, sheets, encodings, the rejects file, and what a kill leaves."""

import csv
import tempfile
from collections import Counter
from datetime import date, time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from tests.conftest import ShopForTests
from tests.treatments.dirty_log import HEADINGS, ZONES, make_vin
from tests.treatments.import_helpers import (
    make_visit,
    read_counts,
    read_sums,
    run_import,
    write_csv,
    write_xlsx,
)
from treatments.log_import.csv_log import open_csv
from treatments.log_import.staging import Staging
from treatments.models import Customer, OdometerReading, Treatment, TreatmentLine, Vehicle


def test_headings_below_a_title_are_named_with_the_way_out(shop: ShopForTests, tmp_path: Path) -> None:
    log = write_csv(tmp_path / "log.csv", [make_visit()], separator=";")
    log.write_text(f"Work of the spring\n\n{log.read_text('utf-8')}", "utf-8")
    book = Workbook()
    for row in (["Work of the spring"], HEADINGS, [make_visit()[heading] for heading in HEADINGS]):
        book.active.append(row)
    book.save(tmp_path / "log.xlsx")
    for name, number in (("log.csv", 3), ("log.xlsx", 2)):
        printed, succeeded = run_import(tmp_path / name)
        assert not succeeded and not Vehicle.objects.exists()
        assert f"The headings stand in row {number}, below 'Work of the spring'" in printed
    # Without headings near the top it is said what is missing.
    (tmp_path / "none.csv").write_text("Work of the spring\n" + "a,b\n" * 9, "utf-8")
    assert "has no column for" in run_import(tmp_path / "none.csv")[0]


def test_a_doubt_about_a_vin_is_told_once_with_the_rows_of_the_vehicle(shop: ShopForTests, tmp_path: Path) -> None:
    rows = [make_visit(VIN="1" * 17, Zone=zone) for zone in ZONES[:2]]
    rows = [*rows, make_visit(VIN="0" * 17, Customer="Somebody else")]
    printed, succeeded = run_import(write_csv(tmp_path / "log.csv", rows), "--check")
    notes = [line for line in printed.splitlines() if "it looks made up" in line]
    assert succeeded and len(notes) == 2
    assert notes[0].startswith("note row 2,") and notes[0].endswith("So in row 3.")
    assert notes[1].startswith("note row 4,") and "So in row" not in notes[1]
    assert read_counts(printed, "Notes")["vin_not_verified"] == 3


def make_vehicles(count: int) -> list[dict[str, str]]:
    return [make_visit(VIN=make_vin(number), Customer=f"Owner {number}") for number in range(count)]


def spoil(path: Path, old: str, new: str) -> None:
    text = path.read_bytes().decode("utf-8")
    assert text.count(old) == 1
    path.write_bytes(text.replace(old, new).encode("utf-8"))


# Quotes


@pytest.mark.parametrize("spoilt", ["Owner 3", "Owner 9"])
def test_a_stray_quote_costs_its_own_row_only(shop: ShopForTests, tmp_path: Path, spoilt: str) -> None:
    rows = make_vehicles(10)
    path = write_csv(tmp_path / "log.csv", rows)
    fine, _ = run_import(path, "--check")
    assert read_sums(fine) == (10, 10, 0, 0)
    spoil(path, spoilt, f'"{spoilt}')
    printed, _ = run_import(path)
    number = int(spoilt[-1]) + 2
    assert read_sums(printed) == (10, 9, 1, 0)
    assert read_counts(printed, "Faults") == Counter({"quotes": 1})
    assert f"REJECTED row {number}, column 'Customer', value '\"{spoilt}': A double quote is opened here" in printed
    assert Vehicle.objects.count() == 9
    # Mended in the rejects file, the row is whole.
    rejects = tmp_path / "log-rejects.csv"
    with rejects.open(encoding="utf-8", newline="") as text:
        (row,) = csv.DictReader(text)
    assert {name: row[name] for name in HEADINGS} == rows[number - 2] | {"Customer": f'"{spoilt}'}
    assert read_counts(run_import(rejects)[0], "Faults") == Counter({"quotes": 1})
    spoil(rejects, f'"""{spoilt}"', spoilt)
    assert read_sums(run_import(rejects)[0]) == (1, 1, 0, 0)


def test_a_stray_quote_before_quoted_cells_and_before_a_very_long_log(shop: ShopForTests, tmp_path: Path) -> None:
    rows = make_vehicles(8)
    rows[4]["Remark"] = 'says "hello", and leaves'
    path = write_csv(tmp_path / "log.csv", rows)
    spoil(path, "Owner 2", '"Owner 2')
    assert read_sums(run_import(path, "--check")[0]) == (8, 7, 1, 0)
    # Two stray quotes, of which the second seems to close the first, in a column that nobody reads.
    lines = path.read_text("utf-8").replace('"Owner 2', "Owner 2").splitlines()
    lines[2] += '"x'
    lines[3] += '"y'
    path.write_text("\n".join(lines) + "\n", "utf-8")
    assert read_sums(run_import(path, "--check")[0]) == (8, 6, 2, 0)
    # More than one cell can hold.
    many = write_csv(tmp_path / "many.csv", [make_visit(Zone="Left rocker panel") for _ in range(2000)])
    many.write_bytes(many.read_bytes().replace(b"Owner 1", b'"Owner 1', 1))
    assert read_sums(run_import(many)[0]) == (2000, 1, 1, 1998)


def test_cells_that_people_wrapped_are_still_one_cell(shop: ShopForTests, tmp_path: Path) -> None:
    rows = make_vehicles(3)
    rows[0] |= {"Vehicle": "2025\nHarrow Finch", "Remark": "first,\nsecond"}
    rows[1] |= {"Customer": "Una\nReed", "Remark": "wrapped\ntoo"}
    printed, _ = run_import(write_csv(tmp_path / "log.csv", rows))
    assert read_sums(printed) == (3, 2, 1, 0)
    assert "column 'Customer', value 'Una\\nReed': A line break in the cell" in printed
    assert Vehicle.objects.get(vin=make_vin(0)).description == "2025 Harrow Finch"


def test_a_quote_left_open_in_the_headings_stops_with_the_row(shop: ShopForTests, tmp_path: Path) -> None:
    path = write_csv(tmp_path / "log.csv", make_vehicles(3))
    spoil(path, "Odometer unit", '"Odometer\nunit"')
    assert run_import(path, "--check")[1]
    spoil(path, '"Odometer\nunit"', '"Odometer unit')
    printed, fine = run_import(path)
    assert not fine
    assert "row 1: a double quote is opened in the headings and not closed" in printed


@given(st.lists(st.lists(st.text(st.sampled_from('ab ,"\n'), max_size=5), min_size=3, max_size=3), max_size=6))
def test_well_formed_text_is_read_as_the_csv_module_reads_it(rows: list[list[str]]) -> None:
    # Cells so short that none can hold a row of three cells.
    rows = [[cell.replace(",", ";") for cell in row] for row in rows]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        with path.open("w", encoding="utf-8", newline="") as text:
            csv.writer(text).writerows([["one", "two", "three"], *rows])
        with open_csv(path) as log:
            read = [row.cells for row in log.rows]
            assert read == [tuple(row) for row in rows if any(cell.strip() for cell in row)]


@given(st.integers(0, 9), st.integers(0, 2), st.integers(2, 30))
def test_wherever_a_quote_is_left_open_every_other_row_is_read(place: int, column: int, more: int) -> None:
    rows = [[f"r{number}", f"b{number}", f"c{number}"] for number in range(10 + more)]
    spoilt = [list(row) for row in rows]
    spoilt[place][column] = f'"{spoilt[place][column]}'
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_text("\n".join(",".join(row) for row in [["one", "two", "three"], *spoilt]), "utf-8")
        with open_csv(path) as log:
            read = list(log.rows)
    assert [row.number for row in read if row.fault] == [place + 2]
    assert [list(row.cells) for row in read] == spoilt
    assert [row.number for row in read] == list(range(2, len(rows) + 2))


# Encodings and separators


def test_bytes_that_are_not_utf8_are_told_as_such(shop: ShopForTests, tmp_path: Path) -> None:
    path = write_csv(tmp_path / "log.csv", [make_visit(Customer="N~ Fell"), make_visit(Zone=ZONES[1])])
    assert read_sums(run_import(path, "--check")[0])[2] == 1  # two names for one visit
    path.write_bytes(path.read_bytes().replace(b"N~", b"N\xfa"))
    printed, _ = run_import(path)
    assert "value 'N\ufffd Fell': This row is not UTF-8 text: save the log again as 'CSV UTF-8'" in printed
    assert printed.encode("utf-8")
    assert read_counts(printed, "Faults") == Counter({"encoding": 1})
    path.write_bytes(path.read_bytes().replace(b"Remark", b"Remarqu\xe9"))
    printed, fine = run_import(path)
    assert not fine
    assert "headings of 'log.csv' are not UTF-8 text: save it again as 'CSV UTF-8'" in printed


def test_a_nul_is_a_control_character(shop: ShopForTests, tmp_path: Path) -> None:
    path = write_csv(tmp_path / "log.csv", [make_visit(Customer="Una\x00Reed")])
    printed, _ = run_import(path)
    assert read_counts(printed, "Faults") == Counter({"control_characters": 1})
    assert "value 'Una\\x00Reed'" in printed
    assert "UTF-8" not in printed


def test_tabs_separate_too(shop: ShopForTests, tmp_path: Path) -> None:
    good = make_visit(Customer="Reed, Una; and Son")
    path = write_csv(tmp_path / "log.txt", [good, good | {"Zone": "left roker"}], separator="\t")
    assert read_sums(run_import(path)[0]) == (2, 1, 1, 0)
    assert Customer.objects.get().name == "Reed, Una; and Son"
    assert (tmp_path / "log-rejects.txt").read_text("utf-8").startswith("Customer\tContact\t")


# Workbooks


def write_sheets(path: Path, **sheets: list[dict[str, object]]) -> Path:
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        if rows:
            sheet.append(HEADINGS)
        for row in rows:
            sheet.append([row[heading] for heading in HEADINGS])
    book.save(path)
    return path


def test_of_several_sheets_with_rows_one_must_be_named(shop: ShopForTests, tmp_path: Path) -> None:
    first, second = [make_visit()], [make_visit(VIN=make_vin(2)), make_visit(VIN=make_vin(3))]
    path = write_sheets(tmp_path / "log.xlsx", Notes=[], **{"Year 2024": first, "Year 2025": second})
    printed, fine = run_import(path)
    assert not fine
    assert "has rows in 2 sheets: 'Year 2024', 'Year 2025'. Say which one is the log with --sheet" in printed
    printed, fine = run_import(path, "--sheet", "year 2025")
    assert fine
    assert "Sheet read: Year 2025" in printed
    assert read_sums(printed) == (2, 2, 0, 0)
    printed, fine = run_import(path, "--sheet", "Year 2026")
    assert not fine
    assert "no such sheet; 'log.xlsx' has: 'Notes', 'Year 2024', 'Year 2025'" in printed
    printed, fine = run_import(write_csv(tmp_path / "log.csv", first), "--sheet", "Year 2025")
    assert not fine
    assert "only a workbook (.xlsx) has sheets" in printed


def test_the_only_sheet_with_rows_is_read_and_named(shop: ShopForTests, tmp_path: Path) -> None:
    path = write_sheets(tmp_path / "log.xlsx", Notes=[], Log=[make_visit()])
    printed, fine = run_import(path)
    assert fine
    assert "Sheet read: Log" in printed
    book = load_workbook(path)
    book["Notes"].append(["Exported by the desk"])
    book.save(path)
    assert "Sheet read: Log" in run_import(path)[0]
    book["Notes"].append(["Two rows may be a log"])
    book.save(path)
    assert "has rows in 2 sheets: 'Notes', 'Log'" in run_import(path)[0]
    assert "Sheet read" not in run_import(write_xlsx(tmp_path / "one.xlsx", [make_visit()]))[0]


def test_cells_of_a_workbook_are_read_for_what_they_are(shop: ShopForTests, tmp_path: Path) -> None:
    good = make_visit()
    rows = [
        good | {"Odometer": 84500.0, "Quantity": 1.125, "Date": date(2025, 3, 10)},
        good | {"Zone": ZONES[1], "Date": time(14, 30)},
        good | {"Zone": ZONES[2], "Customer": "#REF!"},
    ]
    printed, _ = run_import(write_sheets(tmp_path / "log.xlsx", Log=rows), "--decimal", "comma")
    assert "row 3, column 'Date', value '14:30:00': A time of day without its date" in printed
    assert "row 4, column 'Customer', value '#REF!': A spreadsheet's error" in printed
    # The workbook's own numbers are plain, but what is typed as text follows the decimal sign that was said.
    assert "row 3, column 'Quantity', value '0.25': It can only be read with a decimal point" in printed
    assert OdometerReading.objects.get().amount == 84500
    assert str(TreatmentLine.objects.get().quantity_amount) == "1.125"


# The rejects file


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_a_rejects_file_that_somebody_mended_is_never_overwritten(
    shop: ShopForTests, tmp_path: Path, ending: str
) -> None:
    write = write_csv if ending == "csv" else write_xlsx
    path = write(tmp_path / f"log.{ending}", [make_visit(), make_visit(Zone="roker left")])
    rejects = tmp_path / f"log-rejects.{ending}"
    second = tmp_path / f"log-rejects-2.{ending}"
    assert f"Rejected rows, with reasons: {rejects}" in run_import(path)[0]
    printed, _ = run_import(path)  # the same rejects again
    assert f"Rejected rows, with reasons: {rejects}" in printed
    assert "left as it is" not in printed
    assert not second.exists()

    if ending == "csv":
        rejects.write_text(rejects.read_text("utf-8").replace("roker left", ZONES[1]), "utf-8")
    else:
        book = load_workbook(rejects)
        book.worksheets[0]["K2"] = ZONES[1]
        book.save(rejects)
    mended = rejects.read_bytes()
    for _ in range(2):
        printed, _ = run_import(path)
        assert rejects.read_bytes() == mended
        assert f"{rejects} is there with other content and was left as it is." in printed
        assert f"Rejected rows, with reasons: {second}" in printed
        if ending == "xlsx":  # saved at another time: other bytes, the same cells
            book = load_workbook(second)
            book.properties.title = "saved again"
            book.save(second)
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == sorted([path.name, rejects.name, second.name])
    # A third content gets the next number.
    second.write_bytes(mended)
    assert f"log-rejects-3.{ending}" in run_import(path)[0]
    assert read_sums(run_import(rejects)[0]) == (1, 1, 0, 0)


# What is said at the end, and what a kill leaves


def test_the_end_says_what_brings_cover_and_due_list_up(shop: ShopForTests, tmp_path: Path) -> None:
    path = write_csv(tmp_path / "log.csv", [make_visit()])
    words = "run manage.py recompute now"
    assert words not in run_import(path, "--check")[0]
    printed, _ = run_import(path)
    assert words in printed
    assert "Added 1 vehicle and 1 treatment\n" in printed
    assert words not in run_import(path)[0]  # nothing new, nothing to bring up


def test_amendments_and_sums_are_told_in_the_singular(shop: ShopForTests, tmp_path: Path) -> None:
    run_import(write_csv(tmp_path / "a.csv", [make_visit()]))
    run_import(write_csv(tmp_path / "b.csv", [make_visit(Zone=ZONES[1])]))
    assert Treatment.objects.get(amends__isnull=False).amendment_reason == "Lines added from the log b.csv, row 2"
    more = [make_visit(Zone=zone) for zone in ZONES[2:4]]
    run_import(write_csv(tmp_path / "c.csv", more))
    assert Treatment.objects.latest("pk").amendment_reason == "Lines added from the log c.csv, rows 2, 3"
    printed, _ = run_import(write_csv(tmp_path / "d.csv", [make_visit(Zone="Brakes")]))
    assert "This part must never be coated (Brakes): remove the row" in printed
    assert printed.endswith("1 of 1 row was rejected.")


def test_the_scratch_file_has_no_name_while_it_is_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with Staging() as staging:
        assert list(tmp_path.iterdir()) == []
        staging.reject(2, (), ("a",))
        assert list(staging.read_rejects()) == [(2, (), ("a",))]
        assert list(tmp_path.iterdir()) == []
