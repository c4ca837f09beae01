"""Keeps the rows of one import on disk, by vehicle, so that memory stays bounded whatever the length of the log.
Writes the lines of treatments, by far the most rows of an import: by COPY where the database has it.
"""

import contextlib
import json
import os
import pickle
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from types import TracebackType

from django.db import connection

from treatments.log_import.files import RawRow
from treatments.log_import.rules.faults import Fault, FaultCode, Note
from treatments.log_import.rules.row import LogRow
from treatments.models import TreatmentLine


def insert_lines(lines: Sequence[TreatmentLine]) -> None:
    """Insert new lines. Their keys are not set afterwards where they were written by COPY."""
    if connection.vendor != "postgresql":
        TreatmentLine.objects.bulk_create(lines, batch_size=2000)
        return
    fields = [field for field in TreatmentLine._meta.concrete_fields if not field.primary_key]
    columns = ", ".join(connection.ops.quote_name(str(field.column)) for field in fields)
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY {TreatmentLine._meta.db_table} ({columns}) FROM STDIN") as copy,
    ):
        for line in lines:
            copy.write_row(
                [field.get_db_prep_save(getattr(line, field.attname), connection=connection) for field in fields]
            )


WRITE_EVERY = 2_000
# So many rows stay in memory, about 2 KB each; only a longer log is written to the scratch file.
MOST_IN_MEMORY = 25_000


class Staging:
    """A scratch file of rows by vehicle, rejects and notes by row. Use as a context; it is removed at the end."""

    def __enter__(self) -> "Staging":
        handle, name = tempfile.mkstemp(prefix="import-", suffix=".sqlite3")
        os.close(handle)
        self._path = Path(name)
        self._scratch = sqlite3.connect(self._path, isolation_level=None)
        self._scratch.executescript(
            """
            PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -16000;
            CREATE TABLE accepted (number INTEGER PRIMARY KEY, vin TEXT, day TEXT, row BLOB, cells TEXT);
            CREATE TABLE rejected (number INTEGER PRIMARY KEY, faults BLOB, cells TEXT);
            CREATE TABLE deferred (number INTEGER PRIMARY KEY, raw BLOB);
            CREATE TABLE noted (number INTEGER, code TEXT, note BLOB);
            BEGIN;
            """
        )
        # The file loses its name while it is open, so that the system frees it however this process ends. A system
        # that doesn't allow that (Windows) removes it at the end of an import that isn't killed.
        with contextlib.suppress(PermissionError):
            self._path.unlink()
        self._waiting: list[tuple[str, str, int, LogRow, tuple[str, ...]]] = []
        self._places: dict[int, int] = {}
        self._on_disk = False
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._scratch.close()
        self._path.unlink(missing_ok=True)

    # The rows are this process's own objects on a scratch file of its own, so pickle is safe and quick here.

    def accept(self, raw: RawRow, row: LogRow) -> None:
        """Stage a row that can be read."""
        self._waiting.append((row.vin, row.day.isoformat(), row.number, row, raw.cells))
        if len(self._waiting) >= (WRITE_EVERY if self._on_disk else MOST_IN_MEMORY):
            self._write()

    def _write(self) -> None:
        self._on_disk = True
        rows = (
            (number, vin, day, pickle.dumps(row), json.dumps(cells)) for vin, day, number, row, cells in self._waiting
        )
        self._scratch.executemany("INSERT INTO accepted VALUES (?, ?, ?, ?, ?)", rows)
        self._waiting.clear()

    def reject(self, number: int, faults: tuple[Fault, ...], cells: tuple[str, ...] | None = None) -> None:
        """Note a rejected row; its cells are found again where it had been staged."""
        stored = json.dumps(cells) if cells is not None else self._find_cells(number)
        self._scratch.execute("INSERT INTO rejected VALUES (?, ?, ?)", (number, pickle.dumps(faults), stored))

    def _find_cells(self, number: int) -> str:
        if not self._on_disk:
            return json.dumps(self._waiting[self._places[number]][-1])
        found = self._scratch.execute("SELECT cells FROM accepted WHERE number = ?", (number,)).fetchone()
        return str(found[0])

    def note(self, number: int, note: Note) -> None:
        """Note something about an accepted row."""
        self._scratch.execute("INSERT INTO noted VALUES (?, ?, ?)", (number, note.code.value, pickle.dumps(note)))

    def defer(self, raw: RawRow) -> None:
        """Keep a row that the rest of the log may make plain."""
        self._scratch.execute("INSERT INTO deferred VALUES (?, ?)", (raw.number, pickle.dumps(raw)))

    def read_deferred(self) -> Iterator[RawRow]:
        """Yield the rows that were kept for later."""
        for (blob,) in self._scratch.execute("SELECT raw FROM deferred ORDER BY number"):
            yield pickle.loads(blob)

    def finish_reading(self) -> int:
        """Put the staged rows in order of vehicles; return how many there are."""
        if not self._on_disk:
            self._waiting.sort(key=itemgetter(0, 1, 2))
            self._places = {waiting[2]: place for place, waiting in enumerate(self._waiting)}
            return len(self._waiting)
        self._write()
        self._scratch.execute("CREATE INDEX by_vehicle ON accepted (vin, day, number)")
        return int(self._scratch.execute("SELECT count(*) FROM accepted").fetchone()[0])

    def read_vehicles(self) -> Iterator[tuple[str, list[LogRow]]]:
        """Yield each vehicle with all its rows, by VIN, the rows by day and row number."""
        if not self._on_disk:
            for vin, waiting in groupby(self._waiting, key=itemgetter(0)):
                yield vin, [row for _, _, _, row, _ in waiting]
            return
        yield from self._read_vehicles_on_disk()

    def _read_vehicles_on_disk(self) -> Iterator[tuple[str, list[LogRow]]]:
        vin: str | None = None
        rows: list[LogRow] = []
        cursor = self._scratch.execute("SELECT vin, row FROM accepted ORDER BY vin, day, number")
        for next_vin, blob in cursor:
            if next_vin != vin:
                if vin is not None:
                    yield vin, rows
                vin, rows = next_vin, []
            rows.append(pickle.loads(blob))
        if vin is not None:
            yield vin, rows

    def find_staged_vins(self, vins: tuple[str, ...]) -> set[str]:
        """Return which of these VINs the file has elsewhere, in a row that can be read."""
        if not self._on_disk:
            return {vin for vin, *_ in self._waiting} & set(vins)
        marks = ",".join("?" * len(vins))
        found = self._scratch.execute(f"SELECT DISTINCT vin FROM accepted WHERE vin IN ({marks})", vins)
        return {row[0] for row in found}

    def read_rejects(self) -> Iterator[tuple[int, tuple[Fault, ...], tuple[str, ...]]]:
        """Yield the rejected rows in the file's order: number, faults, cells."""
        for number, faults, cells in self._scratch.execute("SELECT * FROM rejected ORDER BY number"):
            yield number, pickle.loads(faults), tuple(json.loads(cells))

    def read_notes(self) -> Iterator[tuple[int, Note]]:
        """Yield the notes in the file's order."""
        for number, note in self._scratch.execute("SELECT number, note FROM noted ORDER BY number, code"):
            yield number, pickle.loads(note)

    def count_notes(self) -> dict[str, int]:
        return dict(self._scratch.execute("SELECT code, count(*) FROM noted GROUP BY code"))

    def count_faults(self) -> dict[FaultCode, int]:
        """Return how many rows have each fault."""
        counts: dict[FaultCode, int] = {}
        for _, faults, _ in self.read_rejects():
            for code in dict.fromkeys(fault.code for fault in faults):
                counts[code] = counts.get(code, 0) + 1
        return counts
