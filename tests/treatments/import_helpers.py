"""Writes logs as files, runs the import on them as people do, and reads what it printed."""

import csv
import io
import re
from collections import Counter
from datetime import date
from pathlib import Path

from django.core.management import call_command
from django.core.management.base import CommandError
from django.utils import timezone
from openpyxl import Workbook

from tests.treatments.dirty_log import HEADINGS, make_row
from treatments.models import Customer, Lot, OdometerReading, Ownership, Treatment, TreatmentLine, Vehicle
from treatments.queries import find_shop_day


def today() -> date:
    return find_shop_day(timezone.now())


def write_csv(path: Path, rows: list[dict[str, str]], *, separator: str = ",", encoding: str = "utf-8") -> Path:
    with path.open("w", encoding=encoding, newline="") as text:
        writer = csv.DictWriter(text, list(dict.fromkeys([*HEADINGS, *rows[0]])), delimiter=separator)
        writer.writeheader()
        writer.writerows(rows)
    return path


def write_xlsx(path: Path, rows: list[dict[str, str]]) -> Path:
    book = Workbook()
    sheet = book.active
    sheet.append(HEADINGS)
    for row in rows:
        sheet.append([row[heading] for heading in HEADINGS])
    book.save(path)
    return path


def run_import(path: Path, *options: str) -> tuple[str, bool]:
    """Return what was printed, and whether the exit status was 0."""
    out = io.StringIO()
    try:
        call_command("import_treatments", str(path), *options, stdout=out)
    except CommandError as error:
        return out.getvalue() + str(error), False
    return out.getvalue(), True


def read_sums(printed: str) -> tuple[int, int, int, int]:
    found = re.search(r"Rows read (\d+) = accepted (\d+) \+ rejected (\d+) \+ already known (\d+)", printed)
    assert found, printed
    read, accepted, rejected, known = (int(number) for number in found.groups())
    return read, accepted, rejected, known


def read_counts(printed: str, title: str) -> Counter[str]:
    found = re.search(rf"^{title}, in rows: (.*)$", printed, re.MULTILINE)
    pairs = (pair.rsplit(" ", 1) for pair in found[1].split(", ")) if found else ()
    return Counter({name: int(count) for name, count in pairs})


def count_records() -> dict[str, int]:
    models = (Vehicle, Customer, Ownership, OdometerReading, Treatment, TreatmentLine, Lot)
    return {model.__name__: model.objects.count() for model in models}


def make_visit(**changes: str) -> dict[str, str]:
    """Return one row of a first treatment; its VIN is that of vehicle 1."""
    row = make_row(1, "Left rocker panel", date(2025, 3, 10), "first treatment", "1000")
    return row | {name.replace("_", " "): value for name, value in changes.items()}
