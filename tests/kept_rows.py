"""Rows that many tests want: read once after they were loaded, put back as they were for the tests after it."""

from datetime import date, time
from typing import Any

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, transaction

Rows = dict[str, tuple[list[str], list[tuple[Any, ...]]]]
ROWS_AT_ONCE = 200


def read_rows() -> Rows:
    """Return the rows of every table that has any, as the database keeps them."""
    found: Rows = {}
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            rows = cursor.fetchall()
            if rows:
                found[table] = ([column[0] for column in cursor.description], rows)
    return found


def read_rows_added(before: Rows) -> Rows:
    """Return the rows of the tables that were empty before."""
    return {table: rows for table, rows in read_rows().items() if table not in before}


@transaction.atomic  # references between tables are looked at when all rows are there
def put_back(kept: Rows) -> None:
    """Write rows into tables that are empty."""
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        for table, (columns, rows) in kept.items():
            names = ", ".join(quote(name) for name in columns)
            marks = f"({', '.join(['%s'] * len(columns))})"
            # SQLite takes only so many values in one statement.
            step = max(1, min(ROWS_AT_ONCE, 900 // len(columns)))
            for start in range(0, len(rows), step):
                part = rows[start : start + step]
                cursor.execute(
                    f"INSERT INTO {quote(table)} ({names}) VALUES {', '.join([marks] * len(part))}",
                    [_write(value) for row in part for value in row],
                )
        for statement in connection.ops.sequence_reset_sql(no_style(), list(apps.get_models())):
            cursor.execute(statement)


def _write(value: Any) -> Any:
    """Return a value as it was written: SQLite keeps days and times as text, and reads them back as objects."""
    is_time = isinstance(value, date | time)  # a datetime is a date too
    return str(value) if is_time and connection.vendor == "sqlite" else value
