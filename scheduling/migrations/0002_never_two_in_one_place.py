"""No two appointments overlap in a bay, for a person or for a vehicle, whoever books at once.

PostgreSQL holds it by exclusion constraints over half-open ranges that leave out what was cancelled. SQLite has one
writer at a time, so a trigger that looks for an overlap holds as firmly there.
"""

from django.db import migrations

GIVEN_UP = "('cancelled', 'no_show')"
# What is taken: its column, and until which moment.
TAKEN = (
    ("bay", "bay_id", "bay_free_at"),
    ("person", "person_id", "work_ends_at"),
    ("vehicle", "vehicle_id", "ready_at"),
)
TABLE = "scheduling_appointment"


def install(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
        for name, column, until in TAKEN:
            schema_editor.execute(
                f"ALTER TABLE {TABLE} ADD CONSTRAINT {name}_never_taken_twice EXCLUDE USING gist "
                f"({column} WITH =, tstzrange(starts_at, {until}, '[)') WITH &&) WHERE (status NOT IN {GIVEN_UP})"
            )
        return
    for name, column, until in TAKEN:
        overlap = (
            f"NEW.status NOT IN {GIVEN_UP} AND EXISTS (SELECT 1 FROM {TABLE} AS other "
            f"WHERE other.{column} = NEW.{column} AND other.id <> NEW.id AND other.status NOT IN {GIVEN_UP} "
            f"AND other.starts_at < NEW.{until} AND NEW.starts_at < other.{until})"
        )
        for verb in ("INSERT", "UPDATE"):
            # After, not before: a new row has no key before it is written.
            schema_editor.execute(
                f"CREATE TRIGGER {name}_never_taken_twice_{verb.lower()} AFTER {verb} ON {TABLE} "
                f"FOR EACH ROW WHEN {overlap} "
                f"BEGIN SELECT RAISE(ABORT, '{name}_never_taken_twice'); END"
            )


def remove(apps, schema_editor):
    for name, _, _ in TAKEN:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f"ALTER TABLE {TABLE} DROP CONSTRAINT {name}_never_taken_twice")
        else:
            for verb in ("insert", "update"):
                schema_editor.execute(f"DROP TRIGGER {name}_never_taken_twice_{verb}")


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0001_initial")]
    operations = [migrations.RunPython(install, remove)]
