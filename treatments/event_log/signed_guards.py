"""Writes the guards of signed-off rows from the lists of signed tables: who lists a table has it guarded."""

from collections.abc import Iterator, Sequence

from treatments.event_log.database_guards import DIFFERS, Guard
from treatments.event_log.signed_content import SignedTable


def write_signed_guards(tables: Sequence[SignedTable]) -> list[Guard]:
    """Return for each table what refuses a delete, and an update but for what may still come."""
    guards = []
    for table in tables:
        if table.only_later:
            continue
        name = f"signed_{table.name}_stands"
        database_table = table.model_class._meta.db_table
        refused = " OR ".join(_list_refused(table))
        guards.append(Guard(name, database_table, "UPDATE", f"({table.stands}) AND ({refused})", table.says))
        if not table.may_go:
            guards.append(Guard(name, database_table, "DELETE", table.stands, table.says))
    return guards


def _list_refused(table: SignedTable) -> Iterator[str]:
    meta = table.model_class._meta
    columns = {field.attname: str(field.column) for field in meta.concrete_fields}
    assert meta.pk is not None
    key = columns[meta.pk.attname]
    yield f"OLD.{key} <> NEW.{key}"
    for name in table.facts:
        yield f"OLD.{columns[name]} {DIFFERS} NEW.{columns[name]}"
    for name, erased in table.words.items():
        yield _refuse_words(columns[name], erased, key)
    for later in table.later.values():
        changed = [f"OLD.{columns[name]} {DIFFERS} NEW.{columns[name]}" for name in later.columns]
        changed += [_refuse_words(columns[name], erased, key) for name, erased in later.words.items()]
        yield f"({' OR '.join(changed)}) AND NOT ({later.once})"


def _refuse_words(column: str, erased: str, key: str) -> str:
    """Return the condition that words are changed to anything but what stands there once they are erased."""
    text = f"'{erased}'".replace("{pk}", f"' || NEW.{key} || '")
    return f"OLD.{column} {DIFFERS} NEW.{column} AND NEW.{column} {DIFFERS} {text}"
