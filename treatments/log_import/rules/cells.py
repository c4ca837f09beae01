"""The cells of one row of a log by field, with the faults and notes found so far.

The checks that every cell must pass, whatever it means, stand here; what a cell means is read elsewhere.
"""

from treatments.log_import.rules.columns import LogColumns
from treatments.log_import.rules.faults import Fault, FaultCode, Note, NoteCode
from treatments.log_import.rules.text import find_bad_text, show_plainly

LONGEST = {"customer": 200, "contact": 200, "email": 200, "phone": 40, "plate": 16, "vehicle": 200, "lot": 60}
LONGEST |= {"not_done": 200}
LONGEST_OTHER = 10_000
# Remarks that people wrap onto several lines; the lines are joined.
MAY_HAVE_LINES = frozenset({"vehicle", "not_done"})
LONGEST_SHOWN = 80


class Cells:
    """The cells of one row; ``typed`` are the places of those that a workbook keeps as numbers."""

    def __init__(self, cells: tuple[str, ...], columns: LogColumns, typed: frozenset[int] = frozenset()) -> None:
        self.cells = cells
        self.columns = columns
        self.typed = typed
        width = len(cells)
        self._texts = {field: cells[place].strip() for field, place in columns.places.items() if place < width}
        self.faults: list[Fault] = []
        self.notes: list[Note] = []

    def get(self, field: str) -> str:
        return self._texts.get(field, "")

    def is_typed_number(self, field: str) -> bool:
        return self.columns.places.get(field) in self.typed

    def refuse(self, code: FaultCode, field: str, value: str, sentence: str, corrections: tuple[str, ...] = ()) -> None:
        name = self.columns.name(field) if field else ""
        self.faults.append(Fault(code, show_plainly(name), shorten(value), sentence, corrections))

    def note(self, code: NoteCode, field: str, value: str, sentence: str) -> None:
        self.notes.append(Note(code, self.columns.name(field), shorten(value), sentence))

    def is_refused(self, field: str) -> bool:
        return any(fault.column == self.columns.name(field) for fault in self.faults)

    def check(self) -> None:
        """Refuse what no cell may hold, in every column that is read."""
        headings = self.columns.headings
        extra = [cell for cell in self.cells[len(headings) :] if cell.strip()]
        if extra:
            self.refuse(
                FaultCode.CELLS,
                "",
                " | ".join(extra),
                f"The row has {len(self.cells)} cells, the headings only {len(headings)}: "
                "put a value that holds the separator in double quotes.",
            )
        for field in self.columns.places:
            text = self.get(field)
            bad = find_bad_text(text, may_have_lines=field in MAY_HAVE_LINES)
            if bad:
                self.refuse(bad[0], field, text, bad[1])
            if len(text) > LONGEST.get(field, LONGEST_OTHER):
                sentence = f"{len(text)} characters; shorten it to {LONGEST.get(field, LONGEST_OTHER)}."
                self.refuse(FaultCode.TOO_LONG, field, text, sentence)


def shorten(value: str) -> str:
    """Return a value as it may be printed: on one line, and not endlessly long."""
    return show_plainly(value if len(value) <= LONGEST_SHOWN else f"{value[: LONGEST_SHOWN - 1]}…")
