"""Reads a log from text with commas, semicolons or tabs, record by record, and finds quotes that were never closed.

A stray double quote makes a CSV reader take the following rows for one long cell. Here the row in which it stands is
given back as faulty, and the rows that it swallowed are read again as rows of their own.
"""

import csv
from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path

from treatments.log_import.files import LogFile, LogFileError, RawRow
from treatments.log_import.rules.cells import is_not_utf8, shorten
from treatments.log_import.rules.faults import Fault, FaultCode

# No cell of a log is longer; it also bounds how far a stray quote can reach.
LONGEST_CELL = 131_072
SEPARATORS = ",;\t"


@contextmanager
def open_csv(path: Path) -> Iterator[LogFile]:
    """Open a text file as a log.

    Raises:
        LogFileError: for text that is not UTF-8, a file that is none, or headings that can't be read.
    """
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
        # A title above the headings may have no separator.
        separator = _find_separator("".join([first_line, *islice(text, 2)]) if _is_title(first_line) else first_line)
        text.seek(0)
        csv.field_size_limit(LONGEST_CELL)
        records = _Records(text, separator, path.name)
        headings = records.read_headings()
        if any(is_not_utf8(heading) for heading in headings):
            raise LogFileError(f"The headings of '{path.name}' are not UTF-8 text: save it again as 'CSV UTF-8'.")
        yield LogFile(
            path,
            headings,
            records.read_rows(),
            _count_lines(path) - 1,
            separator,
            start[:3] == b"\xef\xbb\xbf",
        )


def _find_separator(first_line: str) -> str:
    outside = "".join(part for number, part in enumerate(first_line.split('"')) if number % 2 == 0)
    return max(SEPARATORS, key=outside.count)


def _is_title(first_line: str) -> bool:
    return not any(separator in first_line for separator in SEPARATORS)


def _count_lines(path: Path) -> int:
    with path.open("rb") as binary:
        return sum(block.count(b"\n") for block in iter(lambda: binary.read(1 << 20), b"")) + 1


class _Lines:
    """The lines of a file, which remembers those of the present record and can take some of them back."""

    def __init__(self, lines: Iterable[str]) -> None:
        self._lines = iter(lines)
        self._returned: deque[str] = deque()
        self.taken: list[str] = []
        self.ended_inside = False

    def start_record(self) -> None:
        self.taken = []
        self.ended_inside = False

    def give_back(self, lines: list[str]) -> None:
        self._returned.extendleft(reversed(lines))

    def __iter__(self) -> "_Lines":
        return self

    def __next__(self) -> str:
        try:
            line = self._returned.popleft() if self._returned else next(self._lines)
        except StopIteration:
            # The reader asks for more only inside a quoted cell, once it has a line of the record.
            self.ended_inside = bool(self.taken)
            raise
        self.taken.append(line)
        return line


class _Records:
    """The records of a file; a record is a row, whose quoted cells may go over several lines."""

    def __init__(self, lines: Iterable[str], separator: str, name: str) -> None:
        self._lines = _Lines(lines)
        self._separator = separator
        self._name = name
        self._reader = csv.reader(self._lines, delimiter=separator)
        self._headings: tuple[str, ...] = ()

    def read_headings(self) -> tuple[str, ...]:
        """Return the first record.

        Raises:
            LogFileError: where a quote is opened in it and not closed.
        """
        try:
            headings = tuple(next(self._reader))
        except csv.Error as error:
            raise self._refuse_headings() from error
        taken = self._lines.taken
        width = len(self._split(taken[0]))
        if self._lines.ended_inside or any(self._is_whole_row(line, width) for line in taken[1:]):
            raise self._refuse_headings()
        self._headings = headings
        return headings

    def _refuse_headings(self) -> LogFileError:
        return LogFileError(f"'{self._name}', row 1: a double quote is opened in the headings and not closed.")

    def read_rows(self) -> Iterator[RawRow]:
        """Yield the rows below the headings that have anything in them."""
        number = 1
        while True:
            number += 1
            self._lines.start_record()
            try:
                cells = next(self._reader)
            except StopIteration:
                return
            except csv.Error as error:
                if len(self._lines.taken) == 1:
                    raise LogFileError(
                        f"'{self._name}', row {number}: {error}. No cell of a log is that long: correct the row."
                    ) from error
                yield self._part_at_quote(number)
                continue
            if self._has_stray_quote(cells):
                yield self._part_at_quote(number)
            elif any(cell.strip() for cell in cells):
                yield RawRow(number, tuple(cells))

    def _has_stray_quote(self, cells: list[str]) -> bool:
        """Say whether a cell of this record swallowed rows, or the file ended inside a cell."""
        taken, width = self._lines.taken, len(self._headings)
        if self._lines.ended_inside:
            return True
        if len(taken) == 1:
            return False
        if len(cells) > width or any(self._is_whole_row(line, width) for line in taken[1:]):
            return True
        # A cell that people wrapped is well-formed; one that ends at the opening quote of another row's cell is not.
        try:
            next(csv.reader(taken, delimiter=self._separator, strict=True))
        except csv.Error:
            return True
        return False

    def _is_whole_row(self, line: str, width: int) -> bool:
        """Say whether a line by itself is a row: as many cells as headings, and no quote left open.

        It is one too where all the separators stand before its first quote: then that quote can only be a stray one.
        """
        if width < 2:
            return False
        if line.partition('"')[0].count(self._separator) >= width - 1:
            return True
        if line.count('"') % 2:
            return False
        try:
            return len(next(csv.reader([line], delimiter=self._separator, strict=True))) == width
        except (csv.Error, StopIteration):
            return False

    def _part_at_quote(self, number: int) -> RawRow:
        """Return the first line of the present record as a faulty row, and give the lines after it back."""
        first, *others = self._lines.taken
        self._lines.give_back(others)
        whole = self._split(first)
        # The last cell of the line is the one with the quote, and holds what stood behind it as well.
        before, behind = whole[:-1], self._split(whole[-1].rstrip("\r\n"))
        cells = (*before, f'"{behind[0]}' if behind else '"', *behind[1:])
        heading = self._headings[len(before)] if len(before) < len(self._headings) else ""
        sentence = (
            "A double quote is opened here and not closed: remove it, or close it after the value. The rows below are "
            "read as rows of their own."
        )
        return RawRow(
            number, cells, fault=Fault(FaultCode.QUOTES, heading.strip(), shorten(cells[len(before)]), sentence)
        )

    def _split(self, line: str) -> list[str]:
        return next(csv.reader([line], delimiter=self._separator), [])
