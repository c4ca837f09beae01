"""Database triggers for what constraints can't say, for PostgreSQL and SQLite alike; used by migrations only.

On SQLite rows may still be deleted, since that is how a test empties a table there; updates are refused on both.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import migrations


@dataclass(frozen=True, slots=True)
class Guard:
    """Refuses to write a row of ``table`` where ``condition`` (over OLD and NEW) is true."""

    name: str
    table: str
    on: str
    condition: str
    says: str


def _run(schema_editor: Any, statements: list[str]) -> None:
    for statement in statements:
        schema_editor.execute(statement)


def install(guard: Guard) -> Callable[[Any, Any], None]:
    """Return a migration step that installs a guard."""

    def step(apps: Any, schema_editor: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            _run(
                schema_editor,
                [
                    f"CREATE FUNCTION {guard.name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
                    f"IF {guard.condition} THEN RAISE EXCEPTION '{guard.says}' USING ERRCODE = '23514'; END IF; "
                    f"IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW; END $$",
                    f"CREATE TRIGGER {guard.name} BEFORE {guard.on} ON {guard.table} "
                    f"FOR EACH ROW EXECUTE FUNCTION {guard.name}()",
                ],
            )
        else:
            for verb in guard.on.split(" OR "):
                if verb == "DELETE":
                    continue
                _run(
                    schema_editor,
                    [
                        f"CREATE TRIGGER {guard.name}_{verb.lower()} BEFORE {verb} ON {guard.table} "
                        f"FOR EACH ROW WHEN {guard.condition} "
                        f"BEGIN SELECT RAISE(ABORT, '{guard.says}'); END"
                    ],
                )

    return step


def remove(guard: Guard) -> Callable[[Any, Any], None]:
    """Return a migration step that removes a guard."""

    def step(apps: Any, schema_editor: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            _run(
                schema_editor,
                [f"DROP TRIGGER {guard.name} ON {guard.table}", f"DROP FUNCTION {guard.name}()"],
            )
        else:
            verbs = [verb for verb in guard.on.split(" OR ") if verb != "DELETE"]
            _run(schema_editor, [f"DROP TRIGGER {guard.name}_{verb.lower()}" for verb in verbs])

    return step


def guard_table(guard: Guard) -> migrations.RunPython:
    """Return the migration operation for a guard, reversible."""
    return migrations.RunPython(install(guard), remove(guard))
