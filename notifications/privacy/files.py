"""Finds and deletes the files that hold a person's words, and names those that the program leaves to the shop."""

import csv
import email
import email.policy
from collections.abc import Iterable, Iterator
from email.message import EmailMessage
from pathlib import Path
from zipfile import BadZipFile, ZipFile

from django.conf import settings
from openpyxl import load_workbook

from notifications.privacy.people import Person
from scheduling.models import Cover
from treatments.models import Vehicle

TEXT_FILES = (".csv", ".tsv", ".txt", ".json", ".toml")
# What the program itself brings.
STATIC = "static"


def find_files(person: Person, folders: Iterable[Path] = ()) -> dict[str, tuple[Path, ...]]:
    """Return the files that an erasure deletes, or takes rows out of, by the name of their place in the register.

    Args:
        person: who.
        folders: where to look for rejected rows besides the program's own folder.
    """
    found = {
        "mail": tuple(_find_mail(person)),
        "documents": tuple(_find_documents(person)),
        "export": tuple(_find_exports(person)),
        "rejects": tuple(path for path in _list_rejects(folders) if _names(path, person)),
    }
    return {place: files for place, files in found.items() if files}


def _find_mail(person: Person) -> Iterator[Path]:
    folder = getattr(settings, "EMAIL_FILE_PATH", None)
    if folder is None:
        return
    for path in sorted(Path(folder).glob("*.eml")):
        if any(person.is_named_in(text) for text in read_mail(path)):
            yield path


def read_mail(path: Path) -> list[str]:
    """Return the headers and every text of a mail file, decoded."""
    mail = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
    texts = [f"{name}: {value}" for name, value in mail.items()]
    for part in mail.walk():
        if isinstance(part, EmailMessage) and part.get_content_maintype() == "text":
            texts.append(str(part.get_content()))
    return texts


def _find_documents(person: Person) -> Iterator[Path]:
    folder = Path(settings.DOCUMENTS_DIR)
    covers = Cover.objects.filter(pk__in=person.cover_keys).values_list("number", flat=True)
    vehicles = Vehicle.objects.filter(pk__in=person.vehicle_keys).values_list("vin", flat=True)
    known = {*covers, *vehicles}
    for path in sorted(folder.glob("*")):
        if any(number in path.name for number in known):
            yield path


def _find_exports(person: Person) -> Iterator[Path]:
    for path in sorted(Path(settings.VAR_DIR, "exports").glob("*.json")):
        if any(person.is_named_in(text) for text in _read_texts(path)):
            yield path


def _list_rejects(folders: Iterable[Path]) -> list[Path]:
    found = {path for folder in (Path(settings.VAR_DIR), *folders) for path in folder.rglob("*-rejects*")}
    return sorted(path for path in found if path.suffix.lower() in (".csv", ".tsv", ".txt", ".xlsx"))


def _names(path: Path, person: Person) -> bool:
    return any(person.may_be_meant_in(text) for text in _read_texts(path))


def erase_files(found: dict[str, tuple[Path, ...]], person: Person) -> None:
    """Delete the files of a plan, and take a person's rows out of the files of rejected rows."""
    for place, paths in found.items():
        for path in paths:
            if place == "rejects":
                take_rows_out(path, person)
            else:
                path.unlink(missing_ok=True)  # one that is gone already is as good


def take_rows_out(path: Path, person: Person) -> None:
    """Write a file of rejected rows anew without those that name a person; without any row left, delete it."""
    if not path.exists():
        return
    unfinished = path.with_name(f"{path.name}.part")
    left = _copy_workbook(path, unfinished, person) if path.suffix == ".xlsx" else _copy_csv(path, unfinished, person)
    if left:
        unfinished.replace(path)
    else:
        unfinished.unlink()
        path.unlink()


def _copy_csv(path: Path, copy: Path, person: Person) -> int:
    with path.open(encoding="utf-8", errors="surrogateescape", newline="") as text:
        heading = text.readline()
        separator = max(",;\t|", key=heading.count)
        text.seek(0)
        rows = list(csv.reader(text, delimiter=separator))
    kept = [row for row in rows[1:] if not _is_about(row, person)]
    with copy.open("w", encoding="utf-8", errors="surrogateescape", newline="") as text:
        csv.writer(text, delimiter=separator).writerows([*rows[:1], *kept])
    return len(kept)


def _copy_workbook(path: Path, copy: Path, person: Person) -> int:
    book = load_workbook(path)
    sheet = book.worksheets[0]
    rows = [[str(cell or "") for cell in row] for row in sheet.iter_rows(min_row=2, values_only=True)]
    about = [number for number, row in enumerate(rows, start=2) if _is_about(row, person)]
    for number in reversed(about):
        sheet.delete_rows(number)
    book.save(copy)
    return len(rows) - len(about)


def _is_about(cells: Iterable[str], person: Person) -> bool:
    return person.may_be_meant_in("\n".join(cells))


def find_files_of_the_shop(person: Person, folders: Iterable[Path] = ()) -> list[Path]:
    """Return the logs, rejects and lists that name a person; the program leaves them to whoever put them there.

    Args:
        person: who.
        folders: where to look besides the program's own folder.
    """
    found = []
    for folder in (Path(settings.VAR_DIR), *folders):
        for path in sorted(p for p in folder.rglob("*") if p.suffix.lower() in (*TEXT_FILES, ".xlsx") and p.is_file()):
            if STATIC in path.parts or "-rejects" in path.name or path.parent.name == "exports":
                continue
            if any(person.may_be_meant_in(text) for text in _read_texts(path)):
                found.append(path)
    return found


def _read_texts(path: Path) -> Iterator[str]:
    if path.suffix.lower() == ".xlsx":
        try:
            with ZipFile(path) as book:
                for name in book.namelist():
                    if name.endswith(".xml"):
                        yield book.read(name).decode("utf-8", "replace")
        except BadZipFile:
            return
    else:
        with path.open(encoding="utf-8", errors="replace") as text:
            yield from text
