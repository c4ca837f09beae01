"""What an open log is: its headings and its rows of text cells, whatever sort of file it came from.

Nothing here knows what a cell means; the row numbers are those that a spreadsheet shows.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from treatments.log_import.rules.faults import Fault


class LogFileError(ValueError):
    """A file that can't be read as a log at all; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row: its number as a spreadsheet shows it, and its cells as text.

    Attributes:
        typed: the places of the cells that a workbook keeps as numbers, so that nothing about them is ambiguous.
        fault: why the row could not be told into cells, None where it could.
        is_hidden: whether the workbook does not show the row.
    """

    number: int
    cells: tuple[str, ...]
    typed: frozenset[int] = frozenset()
    fault: Fault | None = None
    is_hidden: bool = False


@dataclass(frozen=True, slots=True)
class LogFile:
    """An open log. ``rows`` can be walked once; ``row_estimate`` is for a progress bar only.

    Attributes:
        sheet: the sheet that is read, where the workbook has several.
    """

    path: Path
    headings: tuple[str, ...]
    rows: Iterator[RawRow] = field(repr=False)
    row_estimate: int | None
    separator: str = ","
    byte_order_mark: bool = False
    sheet: str = ""

    @property
    def is_xlsx(self) -> bool:
        return self.path.suffix.casefold() == ".xlsx"
