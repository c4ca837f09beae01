"""Files and rows that spreadsheets and hurried people make: each is told in one helpful line, and none in silence."""

import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.management import get_commands
from openpyxl import Workbook, load_workbook

from tests.conftest import ShopForTests
from tests.treatments.dirty_log import HEADINGS, ZONES, make_row, make_vin
from tests.treatments.import_helpers import read_counts, read_sums, run_import, today, write_csv, write_xlsx
from treatments.models import Treatment, TreatmentLine
from treatments.vehicles.rules.vin import advise_on_vin

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
SHEET = "xl/worksheets/sheet1.xml"


def rewrite(path: Path, member: str, change: Callable[[bytes], bytes]) -> None:
    """Change one file inside a workbook."""
    with zipfile.ZipFile(path) as archive:
        content = {name: archive.read(name) for name in archive.namelist()}
    content[member] = change(content[member])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in content.items():
            archive.writestr(name, text)


def make_rows() -> list[dict[str, str]]:
    return [make_row(1, zone, today(), "first treatment", "1000") for zone in ZONES]


@pytest.mark.parametrize("stated", ['ref="A1:C3"', 'ref="A1"', 'ref="A1:ZZ900000"'])
def test_a_sheet_that_states_a_wrong_size_is_read_whole(shop: ShopForTests, tmp_path: Path, stated: str) -> None:
    path = write_xlsx(tmp_path / "log.xlsx", make_rows())
    rewrite(path, SHEET, lambda xml: re.sub(rb'<dimension ref="[^"]*"', b"<dimension " + stated.encode(), xml))
    printed, fine = run_import(path)
    assert fine, printed
    assert read_sums(printed) == (len(ZONES), len(ZONES), 0, 0)


@pytest.mark.parametrize("member", [SHEET, "xl/workbook.xml", "xl/_rels/workbook.xml.rels", "xl/styles.xml"])
@pytest.mark.parametrize("damage", ["cut", "tag", "empty"])
def test_a_damaged_workbook_is_refused_and_nothing_is_written(
    shop: ShopForTests, tmp_path: Path, member: str, damage: str
) -> None:
    path = write_xlsx(tmp_path / "log.xlsx", make_rows())
    changes: dict[str, Callable[[bytes], bytes]] = {
        "cut": lambda xml: xml[: len(xml) * 2 // 3],
        "tag": lambda xml: xml.replace(b"</", b"<<", 1),
        "empty": lambda xml: b"",
    }
    rewrite(path, member, changes[damage])
    printed, fine = run_import(path)
    assert not fine
    assert "log.xlsx" in printed
    assert not Treatment.objects.exists()


def test_hidden_rows_are_read_and_noted(shop: ShopForTests, tmp_path: Path) -> None:
    path = write_xlsx(tmp_path / "log.xlsx", make_rows())
    book = load_workbook(path)
    book.active.row_dimensions[3].hidden = True
    book.save(path)
    printed, fine = run_import(path)
    assert fine, printed
    assert read_sums(printed) == (len(ZONES), len(ZONES), 0, 0)
    assert read_counts(printed, "Notes")["row_hidden"] == 1


FRACTIONS = {
    "½ qt": "0.5",
    "1/2 qt": "0.5",
    "1 1/2 qt": "1.5",
    "1½ qt": "1.5",
    "3/4 l": "0.75",
    "1/3 qt": "0.333",
    "⅞ l": "0.875",
}


@pytest.mark.parametrize("text", FRACTIONS)
def test_a_fraction_is_told_as_the_number_to_write(shop: ShopForTests, tmp_path: Path, text: str) -> None:
    printed = reject_one(tmp_path, {"Quantity": text}, "quantity")
    assert f"{FRACTIONS[text]}," in printed


@pytest.mark.parametrize(
    ("changed", "code", "helps"),
    [
        ({"Quantity": "1 pt"}, "quantity", "0.5 qt"),
        ({"Quantity": "2 pints"}, "quantity", "568 ml"),
        ({"Quantity": "2 imperial pints"}, "quantity", "568 ml"),
        ({"Quantity": "2026-01-02"}, "quantity", "0.5"),
        ({"Quantity": "1/0 qt"}, "quantity", "0.5"),
        ({"Date": "45123"}, "date", "2023-07-16"),
        ({"Date": "45123.5"}, "date", "2027-07-17"),
        ({"Date": "12"}, "date", "YYYY-MM-DD"),
        ({"VIN": "IXXC4FA12RM1OO2OO"}, "vin", "1XXC4FA12RM100200 would pass"),
        (dict(zip(HEADINGS, HEADINGS, strict=True)), "headings_repeated", "delete it"),
        (dict.fromkeys(HEADINGS, "") | {"Customer": "Total", "Quantity": "12.5 l"}, "totals", "delete it"),
        (dict.fromkeys(HEADINGS, "") | {"Zone": "", "Quantity": "12.5 l", "Date": "Totals:"}, "totals", "delete it"),
    ],
)
def test_what_people_write_is_told_in_one_line(
    shop: ShopForTests, tmp_path: Path, changed: dict[str, str], code: str, helps: str
) -> None:
    assert helps in reject_one(tmp_path, changed, code)


def reject_one(folder: Path, changed: dict[str, str], code: str) -> str:
    """Import one good row and a changed one; return the one line that tells why the changed one is rejected."""
    good, other = make_rows()[:2]
    printed, fine = run_import(write_csv(folder / "log.csv", [good, other | changed]))
    assert not fine
    assert read_sums(printed) == (2, 1, 1, 0)
    assert read_counts(printed, "Faults") == {code: 1}, printed
    (told,) = [line for line in printed.splitlines() if "REJECTED" in line]
    return told


def test_many_letters_for_digits_are_read_as_the_digits_that_they_look_like() -> None:
    right = make_vin(7)
    for letter, digit in (("O", "0"), ("I", "1")):
        assert [one.vin for one in advise_on_vin(right.replace(digit, letter)).corrections][:1] == [right]


def test_an_email_heading_is_read(shop: ShopForTests, tmp_path: Path) -> None:
    book = Workbook()
    row = make_rows()[0]
    row["E-mail"] = row.pop("Contact")
    book.active.append(list(row))
    book.active.append(list(row.values()))
    book.save(tmp_path / "log.xlsx")
    printed, fine = run_import(tmp_path / "log.xlsx")
    assert fine, printed
    assert TreatmentLine.objects.count() == 1


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_the_same_rejects_are_written_once(shop: ShopForTests, tmp_path: Path, ending: str) -> None:
    good, other = make_rows()[:2]
    wrong = [good, other | {"Quantity": "½ qt"}, other | {"VIN": good["VIN"][:-2] + "OO"}]
    write = write_csv if ending == "csv" else write_xlsx
    path = write(tmp_path / f"log.{ending}", wrong)
    run_import(path)
    first = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    # By now the right VIN is on record, so why the other is rejected is told otherwise.
    run_import(path)
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == first
    run_import(write(tmp_path / f"log.{ending}", [*wrong, other | {"Quantity": "1 pt"}]))
    assert len(list(tmp_path.glob("*rejects*"))) == 2


def test_every_command_that_a_text_names_exists() -> None:
    named: dict[str, set[str]] = {}
    for app in ("treatments", "scheduling", "claims", "notifications", "desk", "api", "config", "docs"):
        for file in (ROOT / app).rglob("*"):
            if file.suffix in (".py", ".html", ".po", ".md"):
                for name in re.findall(r"manage\.py ([a-z_]+)", file.read_text()):
                    named.setdefault(name, set()).add(file.name)
    for file in ROOT.glob("*.md"):
        for name in re.findall(r"manage\.py ([a-z_]+)", file.read_text()):
            named.setdefault(name, set()).add(file.name)
    assert len(named) > 10
    assert {name: files for name, files in named.items() if name not in get_commands()} == {}
