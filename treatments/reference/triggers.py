"""Triggers that give the reference stamp another number when a table is written; used by migrations only.

A table that Django remakes on SQLite loses them: watch it again in the same migration (a test lists those without).
"""

from collections.abc import Callable, Sequence
from typing import Any

from django.db import migrations

STAMP_TABLE = "treatments_referencestamp"
# A number that was never there: after a rollback or a restored backup a count would come to the same one again.
_ANOTHER = {
    "postgresql": f"UPDATE {STAMP_TABLE} SET stamp = 1 + floor(random() * 9000000000000000)::bigint",
    "sqlite": f"UPDATE {STAMP_TABLE} SET stamp = 1 + abs(random() % 9000000000000000)",
}
FUNCTION = "give_reference_another_stamp"


def give_first_stamp(apps: Any, schema_editor: Any) -> None:
    """Write the one row, and on PostgreSQL the function that the triggers call."""
    apps.get_model("treatments", "ReferenceStamp").objects.create(pk=1, stamp=1)
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(
            f"CREATE FUNCTION {FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            f"{_ANOTHER['postgresql']}; RETURN NULL; END $$"
        )


def drop_stamp(apps: Any, schema_editor: Any) -> None:
    """Take the function away again."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(f"DROP FUNCTION {FUNCTION}()")


def _watch(table: str, columns: Sequence[str]) -> Callable[[Any, Any], None]:
    update = f"UPDATE OF {', '.join(columns)}" if columns else "UPDATE"

    def step(apps: Any, schema_editor: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(
                f"CREATE OR REPLACE TRIGGER {table}_stamp AFTER INSERT OR DELETE OR TRUNCATE OR {update} ON {table} "
                f"FOR EACH STATEMENT EXECUTE FUNCTION {FUNCTION}()"
            )
            return
        for verb, event in (("insert", "INSERT"), ("update", update), ("delete", "DELETE")):
            schema_editor.execute(
                f"CREATE TRIGGER IF NOT EXISTS {table}_stamp_{verb} AFTER {event} ON {table} "
                f"BEGIN {_ANOTHER['sqlite']}; END"
            )

    return step


def _leave(table: str) -> Callable[[Any, Any], None]:
    def step(apps: Any, schema_editor: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f"DROP TRIGGER {table}_stamp ON {table}")
            return
        for verb in ("insert", "update", "delete"):
            schema_editor.execute(f"DROP TRIGGER {table}_stamp_{verb}")

    return step


def watch_table(table: str, columns: Sequence[str] = ()) -> migrations.RunPython:
    """Return the migration operation that watches a table, reversible.

    Args:
        table: its name in the database.
        columns: those whose change matters; all where none is named.
    """
    return migrations.RunPython(_watch(table, columns), _leave(table))
