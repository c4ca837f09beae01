"""Copies a whole database to a file and back, as its engine does it best, while others may read and write."""

import os
import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path
from typing import Any

from django.db import connection

from desk.operating.archive import BackupError


def find_engine() -> str:
    """Return the name of the engine as backups write it: sqlite or postgresql."""
    return connection.vendor


def dump_database(to: Path) -> None:
    """Write a consistent copy of the database to a file, also while others write."""
    if connection.vendor == "sqlite":
        with closing(sqlite3.connect(_sqlite_file())) as source, closing(sqlite3.connect(to)) as copy:
            source.backup(copy)
        return
    _refuse_pooler()
    _run_tool("pg_dump", "--format=custom", "--no-owner", f"--file={to}")


def load_database(source: Path) -> None:
    """Put a copy that ``dump_database`` wrote into the empty database."""
    connection.close()
    if connection.vendor == "sqlite":
        target = _sqlite_file()
        for leftover in (target, target.with_name(target.name + "-wal"), target.with_name(target.name + "-shm")):
            leftover.unlink(missing_ok=True)
        shutil.copyfile(source, target)
        target.chmod(0o600)
        return
    _refuse_pooler()
    _run_tool("pg_restore", "--no-owner", "--exit-on-error", "--single-transaction", "--dbname", _name(), str(source))


def is_empty() -> bool:
    """Say whether the database has no table yet."""
    with connection.cursor() as cursor:
        return not connection.introspection.table_names(cursor)


def _sqlite_file() -> Path:
    return Path(str(connection.settings_dict["NAME"]))


def _name() -> str:
    return str(connection.settings_dict["NAME"])


def _refuse_pooler() -> None:
    """Refuse a pooler: what pg_dump sets for its session would stay on a connection that other clients get next."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        served_by = cursor.fetchone()[0]
    # The first connection was told of whoever answered it; a pooler names itself there.
    if served_by != connection.connection.info.backend_pid:
        raise BackupError(
            "DATABASE_URL leads to a connection pooler. Call this with the address of the PostgreSQL server itself."
        )


def _run_tool(tool: str, *arguments: str) -> None:
    """Run one of PostgreSQL's own tools on the database of the settings; the password is not on the command line."""
    settings: dict[str, Any] = connection.settings_dict
    known = {"PGHOST": "HOST", "PGPORT": "PORT", "PGUSER": "USER", "PGPASSWORD": "PASSWORD", "PGDATABASE": "NAME"}
    environment = {key: str(settings[name]) for key, name in known.items() if settings.get(name)}
    try:
        subprocess.run(
            [tool, *arguments], env={**os.environ, **environment}, check=True, capture_output=True, text=True
        )
    except FileNotFoundError as error:
        raise BackupError(
            f"{tool} is not on this machine. Install PostgreSQL's client programs (Debian: postgresql-client)."
        ) from error
    except subprocess.CalledProcessError as error:
        raise BackupError(f"{tool} failed: {error.stderr.strip() or error}") from error
