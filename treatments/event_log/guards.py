"""What the database itself refuses, as triggers: changes to the event log, to signed-off work, to published terms.
They are no migrations; ``migrate`` puts them in place.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.apps import AppConfig
from django.db import connections, transaction
from django.db.models.signals import post_migrate, pre_migrate

from treatments.event_log.signed_content import SignedTable

REFUSE_EMPTYING = "refuse_to_empty_table"


DIFFERS = "<differs>"


@dataclass(frozen=True, slots=True)
class Guard:
    """Refuses to write a row of ``table`` where ``condition`` (over OLD and NEW) is true.

    ``DIFFERS`` in a condition stands for the database's own words for "is another than", NULL or not. ``on`` names the
    verbs, such as ``"UPDATE OR DELETE"``.
    """

    name: str
    table: str
    on: str
    condition: str
    says: str

    @property
    def verbs(self) -> list[str]:
        return self.on.split(" OR ")


@dataclass(frozen=True, slots=True)
class Trigger:
    """One trigger as one database writes it; on PostgreSQL with the body of its function."""

    name: str
    table: str
    create: str
    function: str = ""
    body: str = ""


def _write_for_postgresql(guards: Sequence[Guard]) -> Iterator[Trigger]:
    for guard in guards:
        for verb in guard.verbs:
            # A function for each verb, since a delete has no NEW.
            name = f"{guard.name}_{verb.lower()}"
            body = (
                f" BEGIN IF {guard.condition.replace(DIFFERS, 'IS DISTINCT FROM')} THEN "
                f"RAISE EXCEPTION '{guard.says}' USING ERRCODE = '23514'; END IF; "
                f"RETURN {'OLD' if verb == 'DELETE' else 'NEW'}; END "
            )
            create = f"CREATE TRIGGER {name} BEFORE {verb} ON {guard.table} FOR EACH ROW EXECUTE FUNCTION {name}()"
            yield Trigger(name, guard.table, create, name, body)
    # TRUNCATE fires no trigger of rows.
    body = " BEGIN RAISE EXCEPTION 'the rows of % stand', TG_TABLE_NAME USING ERRCODE = '23514'; END "
    for table in sorted({guard.table for guard in guards if "DELETE" in guard.verbs}):
        create = (
            f"CREATE TRIGGER {table}_not_emptied BEFORE TRUNCATE ON {table} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION {REFUSE_EMPTYING}()"
        )
        yield Trigger(f"{table}_not_emptied", table, create, REFUSE_EMPTYING, body)


def _write_for_sqlite(guards: Sequence[Guard]) -> Iterator[Trigger]:
    for guard in guards:
        for verb in guard.verbs:
            name = f"{guard.name}_{verb.lower()}"
            create = (
                f"CREATE TRIGGER {name} BEFORE {verb} ON {guard.table} FOR EACH ROW "
                f"WHEN {guard.condition.replace(DIFFERS, 'IS NOT')} BEGIN SELECT RAISE(ABORT, '{guard.says}'); END"
            )
            yield Trigger(name, guard.table, create)


def list_triggers(guards: Sequence[Guard], vendor: str) -> list[Trigger]:
    """Return the triggers that stand for the guards in a database."""
    return list(_write_for_postgresql(guards) if vendor == "postgresql" else _write_for_sqlite(guards))


def find_missing_triggers(guards: Sequence[Guard], connection: Any) -> list[Trigger]:
    """Return the triggers that are not there, are there with another text, or were disabled."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT t.tgname, c.relname, p.prosrc FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
                "JOIN pg_proc p ON p.oid = t.tgfoid WHERE NOT t.tgisinternal AND t.tgenabled IN ('O', 'A') "
                "AND pg_table_is_visible(c.oid)"
            )
            there = set(cursor.fetchall())
            return [
                trigger
                for trigger in list_triggers(guards, "postgresql")
                if (trigger.name, trigger.table, trigger.body) not in there
            ]
        cursor.execute("SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")
        there = set(cursor.fetchall())
    return [t for t in list_triggers(guards, "sqlite") if (t.name, t.table, t.create) not in there]


def install_guards(guards: Sequence[Guard], connection: Any) -> None:
    """Put in place what is missing; what is there stays untouched."""
    with connection.cursor() as cursor:
        # Not there yet where only some migrations were asked for.
        tables = set(connection.introspection.table_names(cursor))
    missing = [trigger for trigger in find_missing_triggers(guards, connection) if trigger.table in tables]
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        for trigger in missing:
            if connection.vendor == "postgresql":
                cursor.execute(f"DROP TRIGGER IF EXISTS {trigger.name} ON {trigger.table}")
                cursor.execute(
                    f"CREATE OR REPLACE FUNCTION {trigger.function}() RETURNS trigger LANGUAGE plpgsql "
                    f"AS $${trigger.body}$$"
                )
            else:
                cursor.execute(f"DROP TRIGGER IF EXISTS {trigger.name}")
            cursor.execute(trigger.create)


def remove_guards(guards: Sequence[Guard], connection: Any) -> None:
    """Take the triggers away, as for changing the tables under them."""
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        tables = connection.introspection.table_names(cursor)
        for trigger in list_triggers(guards, connection.vendor):
            if connection.vendor != "postgresql":
                cursor.execute(f"DROP TRIGGER IF EXISTS {trigger.name}")
            elif trigger.table in tables:
                cursor.execute(f"DROP TRIGGER IF EXISTS {trigger.name} ON {trigger.table}")


_KEPT: list[Guard] = []


def list_guards() -> list[Guard]:
    """Return the guards of all apps."""
    return list(_KEPT)


def keep_guards(app: AppConfig, guards: Sequence[Guard]) -> None:
    """Have a room's guards in place whenever its tables were migrated; to be called by the room's ``ready``."""
    _KEPT.extend(guard for guard in guards if guard not in _KEPT)

    def lift(*, using: str, **_: Any) -> None:
        if connections[using].vendor == "sqlite":
            remove_guards(guards, connections[using])

    def put_back(*, using: str, **_: Any) -> None:
        install_guards(guards, connections[using])

    pre_migrate.connect(lift, sender=app, weak=False, dispatch_uid=f"lift the guards of {app.label}")
    post_migrate.connect(put_back, sender=app, weak=False, dispatch_uid=f"put back the guards of {app.label}")


GUARDS = [
    Guard(
        "event_log_is_append_only",
        "treatments_event",
        "UPDATE OR DELETE",
        "1 = 1",
        "the event log is append-only",
    ),
    Guard(
        "head_of_the_log_moves_on",
        "treatments_eventloghead",
        "UPDATE",
        "NEW.position <= OLD.position OR NOT EXISTS "
        "(SELECT 1 FROM treatments_event e WHERE e.position = NEW.position AND e.hash = NEW.hash)",
        "the head of the event log only moves on to its last entry",
    ),
    Guard(
        "head_of_the_log_stays",
        "treatments_eventloghead",
        "DELETE",
        "1 = 1",
        "the head of the event log stays",
    ),
    Guard(
        "words_of_an_event_stand",
        "treatments_eventwords",
        "UPDATE",
        "1 = 1",
        "words of the event log are only erased",
    ),
    *(
        Guard(
            f"amends_signed_{what}",
            f"treatments_{what}",
            "INSERT",
            f"NEW.amends_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM treatments_{what} amended "
            "WHERE amended.id = NEW.amends_id AND amended.signed_off_at IS NOT NULL)",
            f"only a signed-off {what} is amended",
        )
        for what in ("treatment", "inspection")
    ),
    Guard(
        "never_coated_takes_no_product",
        "treatments_treatmentline",
        "INSERT OR UPDATE",
        "NEW.product_id IS NOT NULL AND EXISTS (SELECT 1 FROM treatments_zone z "
        "WHERE z.id = NEW.zone_id AND z.kind = 'never_coated')",
        "a never-coated part takes no product",
    ),
]


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
