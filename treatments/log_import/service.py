"""Imports one log: reads and checks every row, then records whole vehicles batch by batch, and accounts for each row.

A kill leaves whole vehicles or none; running it again finishes the job, and running it a third time adds nothing.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import islice
from pathlib import Path
from typing import Protocol, TypeVar

from django.db import IntegrityError, transaction

from treatments.explanations import MESSAGES
from treatments.log_import.batch import BatchWriter
from treatments.log_import.files import LogFile, LogFileError, RawRow
from treatments.log_import.opening import open_log
from treatments.log_import.records import ExpectedMaterial, ProductFinder, ZoneFinder
from treatments.log_import.report import BatchOutcome, ImportReport, RejectsFile, Written
from treatments.log_import.rules.cells import shorten
from treatments.log_import.rules.columns import HeadingsError, LogColumns, recognise_columns
from treatments.log_import.rules.dates import DateOrder
from treatments.log_import.rules.faults import Fault, FaultCode, Note, NoteCode
from treatments.log_import.rules.row import LogRow, Shop, read_log_row
from treatments.log_import.staging import Staging
from treatments.models import Site, User, Zone
from treatments.rules.explanation import Explanation, render_in_english
from treatments.rules.units import DecimalSign
from treatments.shared.faults import work_apart
from treatments.shared.rendering import render_all
from treatments.vehicles.rules.vin import advise_on_vin, clean_vin
from treatments.vehicles.services import find_vins_on_record

Told = TypeVar("Told", Fault, Note)

VEHICLES_PER_BATCH = 200
HIDDEN = "The workbook hides this row, and it was read all the same: delete it where it is not to count."
# Two imports of the same new vehicle at once: the database lets one in, the other looks again.
MOST_TRIES = 3
# How far below the first row headings are looked for, and how many rows of one vehicle a note names.
ROWS_LOOKED_AT = 5
MOST_ROWS_TOLD = 10


class Progress(Protocol):
    """Where the import tells how far it is; tqdm fits."""

    def update(self, n: int = 1) -> object: ...


class ProgressMaker(Protocol):
    def __call__(self, what: str, total: int | None) -> AbstractContextManager[Progress]: ...


@dataclass(frozen=True, slots=True)
class ImportRequest:
    """What to import and how.

    Attributes:
        order: the order of day and month in local dates, None where it was not said.
        decimal: the decimal sign of the log's numbers, None where it was not said.
        sheet: which sheet of a workbook; the only one that has rows where left out.
        renamed: field to heading, for logs that use other words.
        check_only: report without writing anything, the rejects file included.
        rejects_path: where the rejected rows go; beside the log where left out.
    """

    path: Path
    site: Site
    order: DateOrder | None = None
    decimal: DecimalSign | None = None
    sheet: str | None = None
    renamed: Mapping[str, str] | None = None
    check_only: bool = False
    rejects_path: Path | None = None


Tell = Callable[[int, Fault | Note], None]


def import_log(
    request: ImportRequest,
    *,
    now: datetime,
    today: date,
    actor: User | None,
    show_progress: ProgressMaker,
    tell: Tell,
) -> ImportReport:
    """Import a log.

    Args:
        request: what to import and how.
        now: the moment of recording.
        today: the date at the site; a visit after it is rejected.
        actor: who imports.
        show_progress: makes a progress bar.
        tell: called with row number and fault or note, in the file's order, when all is done.

    Raises:
        LogFileError, HeadingsError: where the file as a whole can't be read; nothing was written then.
    """
    with open_log(request.path, request.sheet) as log, Staging() as staging:
        columns = _find_columns(log, request.renamed)
        keys = dict(Zone.objects.values_list("code", "pk"))
        if not keys:
            raise LogFileError("The shop has no zones yet: run manage.py load_catalogue first.")
        shop = Shop(today, request.order, ZoneFinder(keys).find, ProductFinder().find, request.decimal)
        rows_read = _stage_rows(log, columns, shop, staging, show_progress)
        writer = BatchWriter(
            site=request.site,
            columns=columns,
            source=request.path.name,
            now=now,
            actor=actor,
            find_expected=ExpectedMaterial().find,
        )
        total = _record_vehicles(staging, writer, request.check_only, show_progress)
        rejected = 0
        adviser = VinAdviser(staging)
        for number, faults, _ in staging.read_rejects():
            rejected += 1
            for fault in faults:
                tell(number, adviser.complete(fault))
        for number, note in _warn_once_per_vehicle(staging, adviser):
            tell(number, note)
        written = _write_rejects(request, log, staging, adviser) if rejected and not request.check_only else None
        return ImportReport(
            rows_read=rows_read,
            accepted=total.accepted,
            rejected=rejected,
            already_known=total.known,
            vehicles_added=total.vehicles_added,
            treatments_added=total.treatments_added,
            treatments_amended=total.treatments_amended,
            faults={code.value: count for code, count in staging.count_faults().items()},
            notes=staging.count_notes(),
            rejects_path=str(written.path) if written else "",
            rejects_kept=str(written.kept) if written and written.kept else "",
            sheet=log.sheet,
            unread_headings=columns.unread,
        )


def _stage_rows(log: LogFile, columns: LogColumns, shop: Shop, staging: Staging, show_progress: ProgressMaker) -> int:
    """Read every row; those with a number that could be two are read once more, by what the whole log proves."""
    count = 0
    with show_progress("Reading rows", log.row_estimate) as progress:
        for raw in log.rows:
            count += 1
            progress.update()
            if raw.fault is not None:
                staging.reject(raw.number, (raw.fault,), raw.cells)
                continue
            shop = _learn(shop, raw, columns)
            row, faults = read_log_row(raw.number, raw.cells, columns, shop, raw.typed)
            if raw.is_hidden:
                staging.note(raw.number, Note(NoteCode.ROW_HIDDEN, "", "", HIDDEN))
            if row is not None:
                staging.accept(raw, row)
            elif any(fault.code is FaultCode.NUMBER_AMBIGUOUS for fault in faults):
                staging.defer(raw)
            else:
                staging.reject(raw.number, faults, raw.cells)
    shop = replace(shop, proven=shop.habits.decimal)
    for raw in staging.read_deferred():
        row, faults = read_log_row(raw.number, raw.cells, columns, shop, raw.typed)
        if row is not None:
            staging.accept(raw, row)
        else:
            staging.reject(raw.number, faults, raw.cells)
    return count


def _find_columns(log: LogFile, renamed: Mapping[str, str] | None) -> LogColumns:
    """Return where each field stands; a title above the headings is named, since nobody would look for it."""
    try:
        return recognise_columns(log.headings, renamed)
    except HeadingsError as error:
        for raw in islice(log.rows, ROWS_LOOKED_AT):
            try:
                recognise_columns(raw.cells, renamed)
            except HeadingsError:
                continue
            title = shorten(" ".join(filter(None, log.headings)))
            raise HeadingsError(
                f"The headings stand in row {raw.number}, below '{title}': delete the rows above them, so that they "
                "are the first row."
            ) from error
        raise


def _warn_once_per_vehicle(staging: Staging, adviser: "VinAdviser") -> Iterator[tuple[int, Note]]:
    """Yield the notes in the file's order; what is doubtful about a VIN once, with all the rows of the vehicle."""
    rows: dict[str, list[int]] = {}
    for number, note in staging.read_notes():
        if note.code is NoteCode.VIN_NOT_VERIFIED:
            rows.setdefault(clean_vin(note.value), []).append(number)
    for number, note in staging.read_notes():
        if note.code is not NoteCode.VIN_NOT_VERIFIED:
            yield number, adviser.complete(note)
        elif others := rows.pop(clean_vin(note.value), None):
            told = adviser.complete(note)
            yield number, replace(told, sentence=told.sentence + _list_rows(others[1:]))


def _list_rows(numbers: Sequence[int]) -> str:
    if not numbers:
        return ""
    told = ", ".join(map(str, numbers[:MOST_ROWS_TOLD]))
    more = len(numbers) - MOST_ROWS_TOLD
    told += f" and {more} more" if more > 0 else ""
    return f" So in row{'s' if len(numbers) > 1 else ''} {told}."


def _learn(shop: Shop, raw: RawRow, columns: LogColumns) -> Shop:
    """Return the shop with what a row proves about the log's dates and numbers."""

    def find(name: str) -> str:
        place = columns.places.get(name, -1)
        # A number that the workbook keeps as such shows nothing of how its writer puts numbers into words.
        return raw.cells[place] if 0 <= place < len(raw.cells) and place not in raw.typed else ""

    habits = shop.habits.learn(raw.number, find("date"), (find("odometer"), find("quantity")))
    return shop if habits is shop.habits else replace(shop, habits=habits)


def _batches(
    vehicles: Iterable[tuple[str, list[LogRow]]],
) -> Iterator[list[tuple[str, list[LogRow]]]]:
    iterator = iter(vehicles)
    while batch := list(islice(iterator, VEHICLES_PER_BATCH)):
        yield batch


def _record_vehicles(
    staging: Staging, writer: BatchWriter, check_only: bool, show_progress: ProgressMaker
) -> BatchOutcome:
    total = BatchOutcome(writer.columns)
    with show_progress("Checking" if check_only else "Recording", staging.finish_reading()) as progress:
        for batch in _batches(staging.read_vehicles()):
            for outcome in _record_batch(batch, writer, check_only):
                for number, faults in outcome.rejects:
                    staging.reject(number, faults)
                for number, note in outcome.notes:
                    staging.note(number, note)
                total.accepted += outcome.accepted
                total.known += outcome.known
                total.vehicles_added += outcome.vehicles_added
                total.treatments_added += outcome.treatments_added
                total.treatments_amended += outcome.treatments_amended
            progress.update(sum(len(rows) for _, rows in batch))
    return total


def _record_batch(batch: list[tuple[str, list[LogRow]]], writer: BatchWriter, check_only: bool) -> list[BatchOutcome]:
    """Record vehicles; one that can't be recorded has its rows rejected, and the others are recorded all the same."""
    refused = BatchOutcome(writer.columns)

    def refuse(vehicle: tuple[str, list[LogRow]], why: tuple[Explanation, ...]) -> None:
        vin, rows = vehicle
        fault = refused.describe(
            FaultCode.NOT_RECORDED, "vin", vin, f"This vehicle could not be recorded. {render_all(why)}"
        )
        refused.rejects.extend((row.number, (fault,)) for row in rows)

    done = work_apart(
        batch,
        lambda some: _record_together(list(some), writer, check_only),
        name=lambda vehicle: f"Importing vehicle {vehicle[0]}",
        tell=refuse,
        writes=False,  # each try is a transaction of its own
    )
    return [*done, refused]


def _record_together(batch: list[tuple[str, list[LogRow]]], writer: BatchWriter, check_only: bool) -> BatchOutcome:
    for attempt in range(1, MOST_TRIES + 1):
        try:
            with transaction.atomic():
                outcome = writer.write(batch)
                if check_only:
                    transaction.set_rollback(True)
                return outcome
        except IntegrityError:
            if attempt == MOST_TRIES:
                raise
    raise AssertionError("unreachable")


class VinAdviser:
    """Says of a VIN's possible corrections which are vehicles that the shop or this file knows; once for each VIN."""

    CODES = frozenset({FaultCode.VIN, FaultCode.VIN_CHECK_DIGIT, NoteCode.VIN_NOT_VERIFIED})

    def __init__(self, staging: Staging) -> None:
        self._staging = staging
        self._sentences: dict[str, str] = {}

    def complete(self, told: Told) -> Told:
        """Return a fault or a note; what is told of a VIN that has corrections with those that are known."""
        if told.code not in self.CODES:
            return told
        if told.value not in self._sentences:
            advice = advise_on_vin(told.value, find_on_record=self._find_known)
            self._sentences[told.value] = render_in_english(advice.explanations, MESSAGES) if advice.on_record else ""
        sentence = self._sentences[told.value]
        return replace(told, sentence=sentence) if sentence else told

    def _find_known(self, vins: Sequence[str]) -> set[str]:
        return {*find_vins_on_record(vins), *self._staging.find_staged_vins(tuple(vins))}


def _write_rejects(request: ImportRequest, log: LogFile, staging: Staging, adviser: VinAdviser) -> Written:
    path = request.rejects_path or request.path.with_name(f"{request.path.stem}-rejects{request.path.suffix or '.csv'}")
    if path.resolve() == request.path.resolve():
        path = path.with_name(f"{path.stem}-again{path.suffix}")
    return RejectsFile(log, path).write(
        (cells, "; ".join(_put_in_words(adviser.complete(fault)) for fault in faults))
        for _, faults, cells in staging.read_rejects()
    )


def _put_in_words(told: Fault) -> str:
    return f"{told.column}: {told.sentence}" if told.column else told.sentence


__all__ = ["HeadingsError", "ImportRequest", "LogFileError", "import_log"]
