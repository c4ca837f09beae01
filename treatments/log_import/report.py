"""What an import came to: counts, warnings, and the file of the rows refused, each with field, value and way out.
The file can be corrected and imported again.
"""

import contextlib
import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import count, zip_longest
from pathlib import Path
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

from treatments.log_import.files import LogFile
from treatments.log_import.rules.cells import make_harmless, shorten, show_plainly
from treatments.log_import.rules.columns import REASON_HEADING, LogColumns, squeeze
from treatments.log_import.rules.faults import Fault, FaultCode, Note, NoteCode
from treatments.log_import.rules.row import LogRow


@dataclass(slots=True)
class BatchOutcome:
    """Counts, and what is to be told of single rows."""

    columns: LogColumns
    accepted: int = 0
    known: int = 0
    vehicles_added: int = 0
    treatments_added: int = 0
    treatments_amended: int = 0
    rejects: list[tuple[int, tuple[Fault, ...]]] = field(default_factory=list)
    notes: list[tuple[int, Note]] = field(default_factory=list)

    def describe(self, code: FaultCode, field_name: str, value: str, sentence: str) -> Fault:
        return Fault(code, self.columns.name(field_name), shorten(value), sentence)

    def reject(self, row: LogRow, faults: Iterable[Fault]) -> None:
        self.rejects.append((row.number, tuple(faults)))

    def note(self, row: LogRow, code: NoteCode, field_name: str, value: str, sentence: str) -> None:
        name = self.columns.name(field_name) if field_name else ""
        self.notes.append((row.number, Note(code, name, shorten(value), sentence)))


@dataclass(frozen=True, slots=True)
class ImportReport:
    """Rows read are rows with anything in them, without the headings. The three parts always sum to them.

    Attributes:
        rejects_path: where the rejected rows lie, empty where nothing was rejected or written.
        rejects_kept: a rejects file that was there with other content and was left as it is.
        sheet: the sheet that was read, where the workbook has several.
    """

    rows_read: int
    accepted: int
    rejected: int
    already_known: int
    vehicles_added: int = 0
    treatments_added: int = 0
    treatments_amended: int = 0
    faults: dict[str, int] = field(default_factory=dict)
    notes: dict[str, int] = field(default_factory=dict)
    rejects_path: str = ""
    rejects_kept: str = ""
    sheet: str = ""
    unread_headings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        parts = self.accepted + self.rejected + self.already_known
        if parts != self.rows_read:
            raise AssertionError(f"{parts} rows accounted for of {self.rows_read} read: a mistake in the import.")


@dataclass(frozen=True, slots=True)
class Written:
    """Where the rejects lie; ``kept`` is the first file that was left alone since its content differs."""

    path: Path
    kept: Path | None = None


class RejectsFile:
    """The rejects of one log."""

    def __init__(self, log: LogFile, path: Path) -> None:
        self.log = log
        self.path = path

    def write(self, rows: Iterable[tuple[tuple[str, ...], str]]) -> Written:
        """Write the rows, each with its reason; a file that is there with other content stays as it is."""
        headings, place = self._find_reason_place()
        filled = (self._fill(cells, reason, len(headings), place) for cells, reason in rows)
        # Always the same name, so that what a kill leaves is overwritten by the next import.
        unfinished = self.path.with_name(f"{self.path.name}.part")
        if self.log.is_xlsx:
            _write_xlsx(unfinished, headings, filled)
        else:
            self._write_csv(unfinished, headings, filled)
        return self._put_in_place(unfinished)

    def _put_in_place(self, unfinished: Path) -> Written:
        kept: Path | None = None
        for path in self._names():
            try:
                # Taking the name first, so that nothing written there meanwhile can be lost.
                path.open("xb").close()
            except FileExistsError:
                if self._is_same(path, unfinished):
                    unfinished.unlink()
                    return Written(path, kept)
                kept = kept or path
                continue
            unfinished.replace(path)
            return Written(path, kept)
        raise AssertionError("unreachable")

    def _names(self) -> Iterator[Path]:
        yield self.path
        for number in count(2):
            yield self.path.with_name(f"{self.path.stem}-{number}{self.path.suffix}")

    def _is_same(self, one: Path, other: Path) -> bool:
        """Say whether both hold the same rows; why they are rejected may be told otherwise by now."""
        if _have_same_bytes(one, other):
            return True
        place = self._find_reason_place()[1]
        if self.log.is_xlsx:
            return _have_same_cells(one, other, place)
        return _have_same_rows(one, other, place, self.log.separator)

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


def _write_xlsx(path: Path, headings: list[str], rows: Iterable[list[str]]) -> None:
    book = Workbook(write_only=True)
    sheet = book.create_sheet("rejects")
    for row in (headings, *rows):
        cells = []
        for text in row:
            cell = WriteOnlyCell(sheet, value=_without_controls(text))
            cell.data_type = "s"  # a string, whatever it looks like
            cells.append(cell)
        sheet.append(cells)
    buffer = io.BytesIO()
    book.save(buffer)
    path.write_bytes(buffer.getvalue())


def _without_controls(text: str) -> str:
    """Return the text with the control characters escaped that a workbook can't hold."""
    return show_plainly(text) if ILLEGAL_CHARACTERS_RE.search(text) else text


def _have_same_bytes(one: Path, other: Path) -> bool:
    if not one.is_file() or one.stat().st_size != other.stat().st_size:
        return False
    with one.open("rb") as first, other.open("rb") as second:
        while block := first.read(1 << 16):
            if block != second.read(1 << 16):
                return False
    return True


def _leave_out(row: Sequence[object], place: int) -> tuple[object, ...]:
    return (*row[:place], *row[place + 1 :])


def _have_same_rows(one: Path, other: Path, place: int, separator: str) -> bool:
    with contextlib.ExitStack() as files:
        try:
            texts = [
                files.enter_context(path.open(encoding="utf-8-sig", errors="surrogateescape", newline=""))
                for path in (one, other)
            ]
            rows = [csv.reader(text, delimiter=separator) for text in texts]
            return all(
                mine is not None and theirs is not None and _leave_out(mine, place) == _leave_out(theirs, place)
                for mine, theirs in zip_longest(*rows)
            )
        except (OSError, csv.Error):
            return False


def _have_same_cells(one: Path, other: Path, place: int) -> bool:
    with one.open("rb") as first, other.open("rb") as second:
        books: list[Any] = []
        try:
            # As open files, since a name with another ending than .xlsx is refused.
            books += [load_workbook(file, read_only=True) for file in (first, second)]
            rows = [book.worksheets[0].iter_rows(values_only=True) for book in books]
            return all(
                mine is not None and theirs is not None and _leave_out(mine, place) == _leave_out(theirs, place)
                for mine, theirs in zip_longest(*rows)
            )
        except Exception:  # whatever somebody put there under this name is not what was written here
            return False
        finally:
            for book in books:
                book.close()
