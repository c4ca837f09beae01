"""Reads a log from a workbook (XLSX): one sheet, row by row, each cell as a person would type it.

Formulas are wanted as written: a formula is not a value, whatever it last came to.
"""

import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from datetime import date, datetime, time, timedelta
from itertools import islice
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from treatments.log_import.files import LogFile, LogFileError, RawRow

# What reading a damaged workbook ends in, wherever the damage is.
BROKEN = (ParseError, zipfile.BadZipFile, zlib.error, EOFError, KeyError, ValueError, TypeError, IndexError)


@contextmanager
def open_workbook(path: Path, wanted: str | None) -> Iterator[LogFile]:
    """Open a workbook's sheet as a log.

    Args:
        path: the workbook.
        wanted: the name of the sheet; the only one that has rows where left out.

    Raises:
        LogFileError: for a file that is no workbook, a sheet that isn't there, or several to choose from.
    """
    try:
        book = load_workbook(path, read_only=True, data_only=False)
    except (*BROKEN, InvalidFileException, OSError) as error:
        raise LogFileError(f"'{path.name}' can't be read as a workbook ({error}): save it as .xlsx again.") from error
    try:
        sheet = _choose_sheet(path, book, wanted)
        stated = sheet.max_row
        try:
            hidden = _find_hidden_rows(sheet)
        except BROKEN as error:
            raise LogFileError(f"'{path.name}' is broken ({error}): save it again as .xlsx.") from error
        # The size that a sheet states may be wrong, and openpyxl would leave out what lies beyond it.
        sheet.reset_dimensions()
        rows = _describe_damage(path, sheet.iter_rows())
        first = next(rows, None)
        headings = tuple(_format_cell(cell) for cell in first) if first else ()
        while headings and not headings[-1]:
            headings = headings[:-1]
        if not headings:
            raise LogFileError(
                f"'{path.name}', sheet '{sheet.title}', has no headings: the first row must name the columns."
            )
        estimate = stated - 1 if stated else None
        several = len(book.worksheets) > 1
        yield LogFile(path, headings, _read_rows(rows, hidden), estimate, sheet=sheet.title if several else "")
    finally:
        book.close()


def _choose_sheet(path: Path, book: Any, wanted: str | None) -> Any:
    """Return the sheet that was named, or the only one that has rows."""
    sheets = list(book.worksheets)
    if not sheets:
        raise LogFileError(f"'{path.name}' has no sheet with rows: save the log as a sheet of its own.")
    if wanted is not None:
        for same in (str.strip, str.casefold):
            for sheet in sheets:
                if same(sheet.title.strip()) == same(wanted.strip()):
                    return sheet
        raise LogFileError(f"--sheet {wanted}: no such sheet; '{path.name}' has: {_list_names(sheets)}.")
    if len(sheets) == 1:
        return sheets[0]
    # A sheet with one row alone is a title, a remark or a form with headings: no log.
    filled = [s for s in sheets if _has_rows(path, s, 2)] or [s for s in sheets if _has_rows(path, s, 1)]
    if len(filled) > 1:
        raise LogFileError(
            f"'{path.name}' has rows in {len(filled)} sheets: {_list_names(filled)}. Say which one is the log with "
            f"--sheet '{filled[0].title}', and import the others one by one if they are logs too."
        )
    return filled[0] if filled else sheets[0]


def _list_names(sheets: list[Any]) -> str:
    return ", ".join(f"'{sheet.title}'" for sheet in sheets)


def _has_rows(path: Path, sheet: Any, least: int) -> bool:
    rows = _describe_damage(path, sheet.iter_rows())
    filled = (row for row in rows if any(_format_cell(cell).strip() for cell in row))
    return sum(1 for _ in islice(filled, least)) == least


def _describe_damage(path: Path, rows: Iterator[Any]) -> Iterator[Any]:
    """Yield the rows; say where the file inside the workbook is broken, which shows only when it is reached."""
    number = 0
    try:
        for row in rows:
            number += 1
            yield row
    except BROKEN as error:
        raise LogFileError(
            f"'{path.name}' is broken after row {number} ({error}): open it in a spreadsheet and save it again."
        ) from error


def _find_hidden_rows(sheet: Any) -> frozenset[int]:
    """Return the numbers of the rows that the sheet hides, by a filter or by hand."""
    with closing(sheet._get_source()) as source:
        tags = re.findall(rb"<(?:\w+:)?row\b[^>]*>", source.read())
    numbered: set[int] = set()
    for place, tag in enumerate(tags, start=1):
        if re.search(rb"\bhidden=.(?:1|true)\b", tag):
            said = re.search(rb"\br=.(\d+)", tag)
            numbered.add(int(said[1]) if said else place)
    return frozenset(numbered)


def _read_rows(rows: Iterable[Any], hidden: frozenset[int]) -> Iterator[RawRow]:
    for number, row in enumerate(rows, start=2):
        cells = tuple(_format_cell(cell) for cell in row)
        if any(cell.strip() for cell in cells):
            typed = frozenset(place for place, cell in enumerate(row) if _is_number(getattr(cell, "value", None)))
            yield RawRow(number, cells, typed, is_hidden=number in hidden)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _format_cell(cell: Any) -> str:
    value = getattr(cell, "value", None)
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ", "seconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time):
        return value.isoformat("seconds")
    if isinstance(value, timedelta):
        minutes, seconds = divmod(round(value.total_seconds()), 60)
        return f"{minutes // 60:02}:{minutes % 60:02}:{seconds:02}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return _format_float(value)
    if not isinstance(value, str | int):  # a formula over a range of cells comes as an object of its own
        return f"={getattr(value, 'text', value)}"
    return str(value)


def _format_float(value: float) -> str:
    # A whole number that a spreadsheet keeps as 12345.0 was typed as 12345.
    if value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    text = repr(value)
    # With three decimals the text, once in a rejects file, could be taken for thousands; with four it can't.
    return f"{text}0" if "e" not in text and len(text.partition(".")[2]) == 3 else text
