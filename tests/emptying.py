"""Lets Django empty the tables after a test that committed, which the guards of the database refuse to everybody."""

from collections.abc import Sequence
from typing import Any

from django.db.backends.base.operations import BaseDatabaseOperations

from treatments.database_guards import install_guards, list_guards, list_triggers

_empty = BaseDatabaseOperations.execute_sql_flush


def _empty_past_the_guards(operations: Any, statements: Sequence[str]) -> None:
    connection = operations.connection
    # PostgreSQL empties by TRUNCATE, SQLite by DELETE.
    ending = "_not_emptied" if connection.vendor == "postgresql" else "_delete"
    with connection.cursor() as cursor:
        for trigger in list_triggers(list_guards(), connection.vendor):
            if trigger.name.endswith(ending):
                on = f" ON {trigger.table}" if connection.vendor == "postgresql" else ""
                cursor.execute(f"DROP TRIGGER {trigger.name}{on}")
    try:
        _empty(operations, statements)
    finally:
        install_guards(list_guards(), connection)


def let_tests_empty_tables() -> None:
    """Put this in the place of Django's own step."""
    BaseDatabaseOperations.execute_sql_flush = _empty_past_the_guards  # type: ignore[method-assign]
