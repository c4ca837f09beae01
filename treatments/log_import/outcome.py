"""What became of the rows of a batch: counts, rejects and notes, told by the headings of the log."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from treatments.log_import.rules.cells import shorten
from treatments.log_import.rules.columns import LogColumns
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
