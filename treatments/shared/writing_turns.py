"""Lets writers take turns on SQLite, which has one writer at a time and no queue for the others.

SQLite's own waiting is by chance: among many writers one can be passed over until it gives up. A lock of the operating
system is granted in the order of asking, and released when its holder dies.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.db import connection

try:
    import fcntl
except ImportError:  # Windows; there SQLite's own waiting has to do
    fcntl = None  # type: ignore[assignment]


@contextmanager
def take_turn() -> Iterator[None]:
    """Wait for one's turn to write, where the database has no queue of its own; not for use inside a transaction."""
    if connection.vendor != "sqlite" or fcntl is None or connection.in_atomic_block:
        yield
        return
    path = Path(str(connection.settings_dict["NAME"])).with_suffix(".turn")
    with path.open("a") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield
