"""Trigram indexes on PostgreSQL, so that a search for any part of a VIN, plate, name or telephone stays quick."""

from typing import Any

from django.db import migrations

COLUMNS = {
    "treatments_vehicle": ("vin", "plate", "description"),
    "treatments_customer": ("name", "contact"),
}


def add_indexes(apps: Any, schema_editor: Any) -> None:
    """Index what Django's icontains compares, upper(column); SQLite scans, which at its size is quick enough."""
    if schema_editor.connection.vendor != "postgresql":
        return
    schema_editor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
    for table, columns in COLUMNS.items():
        for column in columns:
            schema_editor.execute(
                f"CREATE INDEX {table}_{column}_search ON {table} USING gin (upper({column}::text) gin_trgm_ops)"
            )


def remove_indexes(apps: Any, schema_editor: Any) -> None:
    if schema_editor.connection.vendor != "postgresql":
        return
    for table, columns in COLUMNS.items():
        for column in columns:
            schema_editor.execute(f"DROP INDEX {table}_{column}_search")


class Migration(migrations.Migration):
    dependencies = [("treatments", "0003_place_of_use")]
    operations = [migrations.RunPython(add_indexes, remove_indexes)]
