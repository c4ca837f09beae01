"""Finds and deletes the files that hold a person's words, and names those that the program leaves to the shop."""

import email
import email.policy
from collections.abc import Iterable, Iterator
from email.message import EmailMessage
from pathlib import Path
from zipfile import BadZipFile, ZipFile

from django.conf import settings

from notifications.personal_data.people import Person

TEXT_FILES = (".csv", ".tsv", ".txt", ".json", ".toml")
# What the program itself brings.
STATIC = "static"


def find_files(person: Person) -> dict[str, tuple[Path, ...]]:
    """Return the files that an erasure deletes, by the name of their place in the register."""
    found = {"mail": tuple(_find_mail(person)), "documents": tuple(_find_documents(person))}
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
    known = {*person.covers.values_list("number", flat=True), *person.vehicles.values_list("vin", flat=True)}
    for path in sorted(folder.glob("*")):
        if any(number in path.name for number in known):
            yield path


def delete_files(found: dict[str, tuple[Path, ...]]) -> None:
    """Delete the files of a plan; one that is gone already is as good."""
    for paths in found.values():
        for path in paths:
            path.unlink(missing_ok=True)


def find_files_of_the_shop(person: Person, folders: Iterable[Path] = ()) -> list[Path]:
    """Return the logs, rejects and lists that name a person; the program leaves them to whoever put them there.

    Args:
        person: who.
        folders: where to look besides the program's own folder.
    """
    found = []
    for folder in (Path(settings.VAR_DIR), *folders):
        for path in sorted(p for p in folder.rglob("*") if p.suffix.lower() in (*TEXT_FILES, ".xlsx") and p.is_file()):
            if STATIC in path.parts:
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
