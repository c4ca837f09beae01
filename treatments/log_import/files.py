"""Opens a log as rows of text cells, from CSV or XLSX, one row at a time; and writes rejects in the same form.

Nothing here knows what a cell means; the row numbers are those that a spreadsheet shows.
"""

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils.exceptions import InvalidFileException

from treatments.rules.log_columns import REASON_HEADING, squeeze
from treatments.rules.log_row import make_harmless

LONGEST_CELL = 131_072


class LogFileError(ValueError):
    """A file that can't be read as a log at all; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row: its number as a spreadsheet shows it, and its cells as text."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LogFile:
    """An open log. ``rows`` can be walked once; ``row_estimate`` is for a progress bar only."""

    path: Path
    headings: tuple[str, ...]
    rows: Iterator[RawRow]
    row_estimate: int | None
    separator: str = ","
    byte_order_mark: bool = False

    @property
    def is_xlsx(self) -> bool:
        return self.path.suffix.casefold() == ".xlsx"


@contextmanager
def open_log(path: Path) -> Iterator[LogFile]:
    """Open a log by its ending: .xlsx as a workbook's first sheet, anything else as CSV.

    Raises:
        LogFileError: for a file that isn't there, isn't UTF-8, isn't a workbook, or has no rows.
    """
    if not path.is_file():
        raise LogFileError(f"'{path}' is not a file: give the path of a CSV or XLSX log.")
    ending = path.suffix.casefold()
    if ending == ".xlsx":
        with _open_xlsx(path) as log:
            yield log
    elif ending in (".xls", ".ods", ".xlsm", ".xlsb"):
        raise LogFileError(f"'{path.name}' is a {ending} file: save it as .xlsx or as CSV (UTF-8).")
    else:
        with _open_csv(path) as log:
            yield log


@contextmanager
def _open_csv(path: Path) -> Iterator[LogFile]:
    with path.open("rb") as binary:
        start = binary.read(4)
    if start[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise LogFileError(f"'{path.name}' is UTF-16 text: save it as CSV (UTF-8).")
    if start[:2] == b"PK":
        raise LogFileError(f"'{path.name}' is a workbook or archive: give it the ending .xlsx.")
    # Bytes that are not UTF-8 are kept as they are, so that only their rows are rejected and can be mended.
    with path.open("r", encoding="utf-8-sig", errors="surrogateescape", newline="") as text:
        first_line = text.readline()
        if not first_line.strip():
            raise LogFileError(f"'{path.name}' has no headings: the first row must name the columns.")
        separator = _find_separator(first_line)
        text.seek(0)
        csv.field_size_limit(LONGEST_CELL)
        reader = csv.reader(text, delimiter=separator)
        headings = tuple(next(reader))
        yield LogFile(
            path,
            headings,
            _read_csv_rows(reader, path),
            _count_lines(path) - 1,
            separator,
            start[:3] == b"\xef\xbb\xbf",
        )


def _find_separator(first_line: str) -> str:
    outside = "".join(part for number, part in enumerate(first_line.split('"')) if number % 2 == 0)
    return ";" if outside.count(";") > outside.count(",") else ","


def _count_lines(path: Path) -> int:
    with path.open("rb") as binary:
        return sum(block.count(b"\n") for block in iter(lambda: binary.read(1 << 20), b"")) + 1


def _read_csv_rows(reader: Any, path: Path) -> Iterator[RawRow]:
    number = 1
    try:
        for cells in reader:
            number += 1
            if any(cell.strip() for cell in cells):
                yield RawRow(number, tuple(cells))
    except csv.Error as error:
        raise LogFileError(
            f"'{path.name}', row {number + 1}: {error}. A double quote may be opened and not closed there."
        ) from error


@contextmanager
def _open_xlsx(path: Path) -> Iterator[LogFile]:
    try:
        # Formulas are wanted as written: a formula is not a value, whatever it last came to.
        book = load_workbook(path, read_only=True, data_only=False)
    except (zipfile.BadZipFile, InvalidFileException, KeyError, OSError, ValueError) as error:
        raise LogFileError(f"'{path.name}' can't be read as a workbook ({error}): save it as .xlsx again.") from error
    try:
        sheet = book.worksheets[0]
        rows = sheet.iter_rows()
        first = next(rows, None)
        headings = tuple(_tell_cell(cell) for cell in first) if first else ()
        while headings and not headings[-1]:
            headings = headings[:-1]
        if not headings:
            raise LogFileError(f"'{path.name}' has no headings: the first row must name the columns.")
        estimate = sheet.max_row - 1 if sheet.max_row else None
        yield LogFile(path, headings, _read_xlsx_rows(rows), estimate)
    finally:
        book.close()


def _read_xlsx_rows(rows: Iterable[Any]) -> Iterator[RawRow]:
    for number, row in enumerate(rows, start=2):
        cells = tuple(_tell_cell(cell) for cell in row)
        if any(cell.strip() for cell in cells):
            yield RawRow(number, cells)


def _tell_cell(cell: Any) -> str:
    value = getattr(cell, "value", None)
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ", "seconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        # A whole number that a spreadsheet keeps as 12345.0 was typed as 12345.
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if not isinstance(value, str | int):  # a formula over a range of cells comes as an object of its own
        return f"={getattr(value, 'text', value)}"
    return str(value)


class RejectsFile:
    """Writes rejected rows in the input's own columns plus a reason; appears whole, at the end, or not at all."""

    def __init__(self, log: LogFile, path: Path) -> None:
        self.log = log
        self.path = path

    def write(self, rows: Iterable[tuple[tuple[str, ...], str]]) -> None:
        """Write the rows, each with its reason."""
        unfinished = self.path.with_name(f"{self.path.name}.part")
        headings, place = self._find_reason_place()
        filled = (self._fill(cells, reason, len(headings), place) for cells, reason in rows)
        if self.log.is_xlsx:
            self._write_xlsx(unfinished, headings, filled)
        else:
            self._write_csv(unfinished, headings, filled)
        unfinished.replace(self.path)

    def _find_reason_place(self) -> tuple[list[str], int]:
        """A rejects file fed in again keeps its one reason column."""
        headings = list(self.log.headings)
        for place, heading in enumerate(headings):
            if squeeze(heading) == REASON_HEADING:
                return headings, place
        return [*headings, REASON_HEADING], len(headings)

    @staticmethod
    def _fill(cells: tuple[str, ...], reason: str, width: int, place: int) -> list[str]:
        row = [make_harmless(cell) for cell in cells]
        row += [""] * (width - len(row))
        if len(cells) > place and place == width - 1:
            # More cells than headings: keep them all, behind the reason.
            return [*row[:place], reason, *row[place:]]
        row[place] = reason
        return row

    def _write_csv(self, path: Path, headings: list[str], rows: Iterable[list[str]]) -> None:
        encoding = "utf-8-sig" if self.log.byte_order_mark else "utf-8"
        with path.open("w", encoding=encoding, errors="surrogateescape", newline="") as text:
            writer = csv.writer(text, delimiter=self.log.separator)
            writer.writerow(headings)
            writer.writerows(rows)

    def _write_xlsx(self, path: Path, headings: list[str], rows: Iterable[list[str]]) -> None:
        book = Workbook(write_only=True)
        sheet = book.create_sheet("rejects")
        for row in (headings, *rows):
            cells = []
            for text in row:
                cell = WriteOnlyCell(sheet, value=text)
                cell.data_type = "s"  # a string, whatever it looks like
                cells.append(cell)
            sheet.append(cells)
        buffer = io.BytesIO()
        book.save(buffer)
        path.write_bytes(buffer.getvalue())
