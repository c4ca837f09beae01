"""Writes the lines of treatments, by far the most rows of an import: by COPY where the database has it."""

from collections.abc import Sequence

from django.db import connection

from treatments.models import TreatmentLine


def insert_lines(lines: Sequence[TreatmentLine]) -> None:
    """Insert new lines. Their keys are not set afterwards where they were written by COPY."""
    if connection.vendor != "postgresql":
        TreatmentLine.objects.bulk_create(lines, batch_size=2000)
        return
    fields = [field for field in TreatmentLine._meta.concrete_fields if not field.primary_key]
    columns = ", ".join(connection.ops.quote_name(str(field.column)) for field in fields)
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY {TreatmentLine._meta.db_table} ({columns}) FROM STDIN") as copy,
    ):
        for line in lines:
            copy.write_row(
                [field.get_db_prep_save(getattr(line, field.attname), connection=connection) for field in fields]
            )
