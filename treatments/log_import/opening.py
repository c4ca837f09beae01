"""Opens a log as rows of text cells, from CSV or XLSX, one row at a time.

The ending of the file says which it is; other forms are refused with what to save instead.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from treatments.log_import.csv_log import open_csv
from treatments.log_import.files import LogFile, LogFileError
from treatments.log_import.workbook_log import open_workbook


@contextmanager
def open_log(path: Path, sheet: str | None = None) -> Iterator[LogFile]:
    """Open a log by its ending: .xlsx as a workbook, anything else as CSV.

    Args:
        path: the file.
        sheet: the name of the sheet to read; the only one that has rows where left out.

    Raises:
        LogFileError: for a file that isn't there, isn't UTF-8, isn't a workbook, or has no rows.
    """
    if not path.is_file():
        raise LogFileError(f"'{path}' is not a file: give the path of a CSV or XLSX log.")
    ending = path.suffix.casefold()
    if ending == ".xlsx":
        with open_workbook(path, sheet) as log:
            yield log
        return
    if ending in (".xls", ".ods", ".xlsm", ".xlsb"):
        raise LogFileError(f"'{path.name}' is a {ending} file: save it as .xlsx or as CSV (UTF-8).")
    if sheet is not None:
        raise LogFileError(f"--sheet {sheet}: only a workbook (.xlsx) has sheets; leave the option out.")
    with open_csv(path) as log:
        yield log
