"""Looks for markers in everything that a shop's installation keeps: tables, a dump, the database's files, all files."""

import io
import os
import re
import subprocess
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from zipfile import ZipFile, is_zipfile

from tests.proofs.erasure_markers import SIGN

# Marker: the columns (``app.Model.field``) and files (relative to VAR_DIR) that it was found in.
Found = dict[str, set[str]]
MARKER = re.compile(rf"{SIGN}\d{{3}}x", re.IGNORECASE)
DATABASE_FILE = "shop.sqlite3"
EVENT_WORDS = "treatments.EventWords.text"


def find_markers(text: str) -> set[str]:
    return {found.lower() for found in MARKER.findall(text)}


def search_everything(folder: Path) -> Found:
    """Return where every marker is found; what a dump holds beside the columns is told as found in the dump."""
    found: Found = defaultdict(set)
    for where, text in read_columns():
        for marker in find_markers(text):
            found[marker].add(where)
    in_columns = set(found)
    for marker in find_markers(dump_database(folder)) - in_columns:
        found[marker].add("dump of the database")
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        name = path.relative_to(folder).as_posix()
        is_database = path.name.startswith(DATABASE_FILE)
        for marker in find_markers(path.name) | {m for text in read_file(path) for m in find_markers(text)}:
            # What a column holds lies in the database's file too; all else there is what was erased and not rewritten.
            if not is_database or marker not in in_columns:
                found[marker].add(name)
    return found


def read_columns() -> Iterator[tuple[str, str]]:
    """Yield every value of every column of every table that holds a marker, with the column's label."""
    from django.apps import apps
    from django.contrib.sessions.models import Session
    from django.db import connection

    from treatments.models import EventWords

    labels = {
        (model._meta.db_table, field.column): f"{model._meta.label}.{field.name}"
        for model in apps.get_models(include_auto_created=True)
        if not model._meta.proxy
        for field in model._meta.concrete_fields
    }
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            for column in connection.introspection.get_table_description(cursor, table):
                quoted = connection.ops.quote_name(column.name)
                cursor.execute(
                    f"SELECT CAST({quoted} AS text) FROM {connection.ops.quote_name(table)} "
                    f"WHERE LOWER(CAST({quoted} AS text)) LIKE %s",
                    [f"%{SIGN}%"],
                )
                for (text,) in cursor.fetchall():
                    label = labels.get((table, column.name), f"{table}.{column.name}")
                    if label != EVENT_WORDS:
                        yield label, text
    for words in EventWords.objects.select_related("event"):
        yield f"{EVENT_WORDS} about a {words.event.subject}", words.text
    # Packed, so that a dump does not show what it says.
    for row in Session.objects.all():
        yield "sessions.Session.session_data", str(row.get_decoded())


def dump_database(folder: Path) -> str:
    """Return the whole database as text, as its own tool writes it."""
    from django.db import connection

    if connection.vendor == "postgresql":
        name = connection.settings_dict
        command = ["pg_dump", "--inserts", "-h", name["HOST"] or "127.0.0.1", "-U", name["USER"], name["NAME"]]
        if name.get("PORT"):
            command[1:1] = ["-p", str(name["PORT"])]
        environment = {**os.environ, "PGPASSWORD": name["PASSWORD"] or ""}
        return subprocess.run(command, env=environment, check=True, capture_output=True, text=True).stdout
    import sqlite3

    with sqlite3.connect(folder / DATABASE_FILE) as copy:
        return "\n".join(copy.iterdump())


def read_file(path: Path) -> Iterator[str]:
    """Yield everything that a file says, as it lies there and decoded."""
    from notifications.privacy.files import read_mail

    content = path.read_bytes()
    yield content.decode("latin-1")
    yield content.decode("utf-16-le", "replace")
    if path.suffix == ".eml":
        yield from read_mail(path)
    elif path.suffix == ".pdf":
        from pypdf import PdfReader

        document = PdfReader(io.BytesIO(content))
        yield str(document.metadata)
        for page in document.pages:
            yield page.extract_text()
    elif is_zipfile(path):
        with ZipFile(path) as packed:
            for name in packed.namelist():
                yield name
                yield packed.read(name).decode("utf-8", "replace")
    elif path.suffix in (".jpg", ".jpeg", ".png"):
        from PIL import Image

        with Image.open(path) as picture:
            yield str(picture.info)
            yield str(dict(picture.getexif()))
