"""Indexes on PostgreSQL of plates and telephone numbers without their separators, for a search that leaves those out.

They are indexes of expressions, so that nothing is kept of a person beside the person's own row.
"""

from typing import Any

from django.db import migrations

SIGNS = " \u00a0\u202f-\u2010\u2011\u2013.\u00b7/()+"
# By table: the name of the index, and what Django compares; for plates in any case.
INDEXES = {
    "treatments_vehicle": ("treatments_vehicle_bare_plate_search", f"upper(translate(plate, '{SIGNS}', ''))"),
    "treatments_customer": (
        "treatments_customer_bare_numbers_search",
        f"translate(contact || '\n' || phone, '{SIGNS}', '')",
    ),
}


def add_indexes(apps: Any, schema_editor: Any) -> None:
    """Index what is compared, and let the planner look at it; SQLite scans, which at its size is quick enough."""
    if schema_editor.connection.vendor != "postgresql":
        return
    for table, (name, expression) in INDEXES.items():
        schema_editor.execute(f"CREATE INDEX {name} ON {table} USING gin (({expression}) gin_trgm_ops)")
        schema_editor.execute(f"ANALYZE {table}")


def remove_indexes(apps: Any, schema_editor: Any) -> None:
    if schema_editor.connection.vendor != "postgresql":
        return
    for name, _expression in INDEXES.values():
        schema_editor.execute(f"DROP INDEX {name}")


class Migration(migrations.Migration):
    dependencies = [("treatments", "0009_log_in")]
    operations = [migrations.RunPython(add_indexes, remove_indexes)]
