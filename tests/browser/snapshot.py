"""Puts the whole test database back to a state that was kept, in a fraction of the time that loading it would take.

A server thread and a browser see only what is committed, so that a test of them can't be rolled back.
"""

import sqlite3
from contextlib import closing
from pathlib import Path

from django.db import connection, connections


class Snapshots:
    """States of the test database under names, kept beside it: files for SQLite, databases for PostgreSQL."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._kept: set[str] = set()

    def keep(self, name: str) -> None:
        """Keep the database as it is now."""
        connections.close_all()
        if connection.vendor == "sqlite":
            _copy_file(_find_file(), self._folder / f"{name}.sqlite3")
        else:
            self._run(
                f"DROP DATABASE IF EXISTS {self._find_name(name)}",
                f'CREATE DATABASE {self._find_name(name)} TEMPLATE "{connection.settings_dict["NAME"]}"',
            )
        self._kept.add(name)

    def restore(self, name: str) -> None:
        """Put the database back to a kept state."""
        connections.close_all()
        if connection.vendor == "sqlite":
            _copy_file(self._folder / f"{name}.sqlite3", _find_file())
        else:
            database = connection.settings_dict["NAME"]
            self._run(
                # The server's threads may still hold a connection; they notice at their next request.
                f'DROP DATABASE IF EXISTS "{database}" WITH (FORCE)',
                f'CREATE DATABASE "{database}" TEMPLATE {self._find_name(name)}',
            )

    def drop(self) -> None:
        """Remove what was kept."""
        connections.close_all()
        if connection.vendor != "sqlite":
            self._run(*(f"DROP DATABASE IF EXISTS {self._find_name(name)}" for name in self._kept))

    def _find_name(self, name: str) -> str:
        return f'"{connection.settings_dict["NAME"]}_{name}"'

    def _run(self, *statements: str) -> None:
        with connection._nodb_cursor() as cursor:  # type: ignore[attr-defined]
            for statement in statements:
                cursor.execute(statement)


def _find_file() -> Path:
    return Path(str(connection.settings_dict["NAME"]))


def _copy_file(source: Path, target: Path) -> None:
    """Copy by SQLite's own backup, which another connection to either file does no harm to."""
    with closing(sqlite3.connect(source)) as read, closing(sqlite3.connect(target)) as write:
        read.backup(write)
