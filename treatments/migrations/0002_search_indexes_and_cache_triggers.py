"""What models can't say: indexes for searching on PostgreSQL, and triggers that tell when reference data changed.

Trigram indexes keep a search for any part of a VIN, plate, name or telephone quick. Plates and telephone numbers are
indexed without their separators too, by expression, so that no copy of a person's data is kept.
"""

from typing import Any

from django.db import migrations

from treatments.reference.triggers import drop_stamp, give_first_stamp, watch_table

SEPARATORS = " \u00a0\u202f-\u2010\u2011\u2013.\u00b7/()+"
# By table: the name of each index, and what Django compares.
SEARCHED = {
    "treatments_vehicle": {
        "vin_search": "upper(vin::text)",
        "plate_search": "upper(plate::text)",
        "description_search": "upper(description::text)",
        "bare_plate_search": f"upper(translate(plate, '{SEPARATORS}', ''))",
    },
    "treatments_customer": {
        "name_search": "upper(name::text)",
        "contact_search": "upper(contact::text)",
        "bare_numbers_search": f"translate(contact || '\n' || phone, '{SEPARATORS}', '')",
    },
}
# All but when somebody logged in last.
OF_USERS = ("username", "first_name", "last_name", "is_active", "is_superuser", "role", "site_id", "dealership_id")


def add_indexes(apps: Any, schema_editor: Any) -> None:
    """Index on PostgreSQL, and let the planner look at it; SQLite scans, which at its size is quick enough."""
    if schema_editor.connection.vendor != "postgresql":
        return
    schema_editor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
    for table, indexes in SEARCHED.items():
        for name, expression in indexes.items():
            schema_editor.execute(f"CREATE INDEX {table}_{name} ON {table} USING gin (({expression}) gin_trgm_ops)")
        schema_editor.execute(f"ANALYZE {table}")


def remove_indexes(apps: Any, schema_editor: Any) -> None:
    if schema_editor.connection.vendor != "postgresql":
        return
    for table, indexes in SEARCHED.items():
        for name in indexes:
            schema_editor.execute(f"DROP INDEX {table}_{name}")


class Migration(migrations.Migration):
    dependencies = [("treatments", "0001_initial")]
    operations = [
        migrations.RunPython(add_indexes, remove_indexes),
        migrations.RunPython(give_first_stamp, drop_stamp),
        watch_table("treatments_site"),
        watch_table("treatments_dealership"),
        watch_table("treatments_zone"),
        watch_table("treatments_zonearea"),
        watch_table("treatments_product"),
        watch_table("treatments_user", OF_USERS),
    ]
