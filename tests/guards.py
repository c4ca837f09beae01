"""Gets past the guards of the database: for Django, which empties tables after tests, and for tests that tamper."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from django.db import connection
from django.db.backends.base.operations import BaseDatabaseOperations

from treatments.event_log.guards import install_guards, list_guards, list_triggers, remove_guards

_empty = BaseDatabaseOperations.execute_sql_flush


def _empty_past_the_guards(operations: Any, statements: Sequence[str]) -> None:
    own = operations.connection
    # PostgreSQL empties by TRUNCATE, SQLite by DELETE.
    ending = "_not_emptied" if own.vendor == "postgresql" else "_delete"
    with own.cursor() as cursor:
        for trigger in list_triggers(list_guards(), own.vendor):
            if trigger.name.endswith(ending):
                on = f" ON {trigger.table}" if own.vendor == "postgresql" else ""
                cursor.execute(f"DROP TRIGGER {trigger.name}{on}")
    try:
        _empty(operations, statements)
    finally:
        install_guards(list_guards(), own)


def let_tests_empty_tables() -> None:
    """Put this in the place of Django's own step."""
    BaseDatabaseOperations.execute_sql_flush = _empty_past_the_guards  # type: ignore[method-assign]


@contextmanager
def past_the_guards() -> Iterator[None]:
    """Do what somebody could who may do all in the database, and leave no trace in its guards."""
    remove_guards(list_guards(), connection)
    yield
    install_guards(list_guards(), connection)
