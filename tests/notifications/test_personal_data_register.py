"""The register of personal data leaves no text column of any model out, found from the models themselves."""

import subprocess
import sys

import pytest
from django.apps import apps
from django.conf import settings
from django.db import connection, models

from notifications.privacy.closed import CLOSED, OTHER_TABLES
from notifications.privacy.register import REGISTER, OnErasure, list_registered_columns
from notifications.privacy.tables import TABLES

# What can hold text: whatever is not known to hold numbers, days, moments or keys only.
WITHOUT_TEXT = (
    models.AutoField,
    models.BooleanField,
    models.DateField,
    models.DecimalField,
    models.DurationField,
    models.FloatField,
    models.ForeignKey,
    models.IntegerField,
    models.TimeField,
)


def list_text_columns() -> list[tuple[str, models.Field]]:
    """Return every column of every model that can hold text, with its label."""
    return [
        (f"{model._meta.label}.{field.name}", field)
        for model in apps.get_models(include_auto_created=True)
        for field in model._meta.concrete_fields
        if not isinstance(field, WITHOUT_TEXT)
    ]


def is_held_to_a_list(field: models.Field) -> bool:
    """Say whether the database itself lets the column hold the words of its choices only."""
    held = {value for value, _ in field.flatchoices}
    for constraint in field.model._meta.constraints:
        condition = getattr(constraint, "condition", None)
        if isinstance(constraint, models.CheckConstraint) and isinstance(condition, models.Q):
            for child in condition.children:
                if isinstance(child, tuple) and child[0] == f"{field.name}__in" and set(child[1]) - {""} <= held:
                    return True
    return False


TEXT_COLUMNS = list_text_columns()


@pytest.mark.parametrize(("label", "field"), TEXT_COLUMNS, ids=[label for label, _ in TEXT_COLUMNS])
def test_every_text_column_is_in_the_register_or_declared_to_hold_no_words(label: str, field: models.Field) -> None:
    table, _, column = label.rpartition(".")
    registered = label in list_registered_columns()
    closed = column in CLOSED.get(table, {}) or is_held_to_a_list(field)
    assert registered or closed, (
        f"{label} can hold a person's words and stands in no list. Add it to notifications/privacy/register.py "
        "with what erasure does, or, where only the program writes codes into it, to closed.py."
    )
    assert not (registered and closed), f"{label} stands in both lists."


def test_the_lists_name_no_column_that_is_gone() -> None:
    there_is = {label for label, _ in TEXT_COLUMNS}
    told = set(list_registered_columns()) | {f"{table}.{name}" for table, names in CLOSED.items() for name in names}
    assert told <= there_is, sorted(told - there_is)


def test_no_column_stands_twice_and_every_line_says_what_it_must() -> None:
    labels = [label for line in REGISTER for label in line.labels]
    assert len(labels) == len(set(labels))
    for line in REGISTER:
        assert str(line.purpose)
        if line.on_erasure is OnErasure.KEEP:
            assert str(line.why), f"{line.labels} is kept: say why."
        if line.on_erasure is OnErasure.REPLACE:
            assert line.instead, f"{line.labels} is replaced: say by what."
        if line.days_setting:
            assert isinstance(getattr(settings, line.days_setting), int)


@pytest.mark.django_db
def test_every_table_of_the_database_has_a_model_or_is_declared() -> None:
    known = {model._meta.db_table for model in apps.get_models(include_auto_created=True)}
    there_is = {table.name for table in connection.introspection.get_table_list(connection.cursor())}
    assert there_is - known - set(OTHER_TABLES) == set()


def test_a_command_whose_reader_has_enough_ends_quietly() -> None:
    command = [sys.executable, "manage.py", "personal_data", "register"]
    with subprocess.Popen(command, cwd=settings.BASE_DIR, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as ran:
        assert ran.stdout is not None and ran.stderr is not None
        ran.stdout.close()
        assert ran.stderr.read() == b""


def test_every_table_of_the_register_has_a_name_for_people() -> None:
    assert set(TABLES) == {line.table for line in REGISTER}
