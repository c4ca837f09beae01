"""The event log: the database refuses to change it, and whoever gets past that is found by the chain of hashes."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import DatabaseError, connection, transaction
from django.db.models import F

from tests.conftest import NOW
from tests.guards import past_the_guards
from treatments.event_log import Happening, record_events, verify_log
from treatments.event_log.guards import (
    find_missing_triggers,
    list_guards,
    list_triggers,
)
from treatments.event_log.keys import LogKey, read_keys
from treatments.event_log.recording import compute_hash, compute_head_hash
from treatments.models import Event, EventLogHead, User


def record_one(number: int, actor: User | None = None) -> None:
    happening = Happening("thing.done", "thing", str(number), before=None, after={"number": number})
    with transaction.atomic():
        record_events([happening], actor=actor, now=NOW + timedelta(minutes=number))


@pytest.fixture
def log(db: None) -> list[Event]:
    """Six entries, as the services write them."""
    # Past what records a new person, so that entry N is of thing N.
    (actor,) = User.objects.bulk_create([User(username="writer", role="service_writer")])
    for number in range(1, 7):
        record_one(number, actor)
    assert list(verify_log()) == []
    return list(Event.objects.all())


def make_stolen_key() -> LogKey:
    """Return a key as somebody without ours would have to make one up, under our key's name."""
    return LogKey(read_keys()[0].name, b"made up")


def test_the_database_refuses_to_change_the_log(log: list[Event]) -> None:
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Event.objects.filter(position=2).update(kind="thing.undone")
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Event.objects.filter(position=2).delete()
    assert Event.objects.get(position=2).kind == "thing.done"


def change(**values: object) -> Callable[[list[Event]], None]:
    return lambda log: Event.objects.filter(position=3).update(**values) and None


def rehash(log: list[Event]) -> None:
    """Change an entry and give it the hash that goes with its new text."""
    entry = log[2]
    entry.kind = "thing.undone"
    new = compute_hash(make_stolen_key(), entry)
    Event.objects.filter(position=3).update(kind="thing.undone", hash=new)


def rehash_all(log: list[Event]) -> None:
    """Change an entry and write every hash anew from there on, the head's too, as one could without a key."""
    log[2].kind = "thing.undone"
    key, previous_hash = make_stolen_key(), log[1].hash
    for entry in log[2:]:
        entry.previous_hash = previous_hash
        entry.hash = previous_hash = compute_hash(key, entry)
        entry.save()
    head = EventLogHead(position=len(log), hash=previous_hash)
    EventLogHead.objects.update(hash=previous_hash, keyed_hash=compute_head_hash(key, head))


def remove_from_the_middle(log: list[Event]) -> None:
    Event.objects.filter(position=3).delete()


def remove_and_close_the_gap(log: list[Event]) -> None:
    Event.objects.filter(position=3).delete()
    for entry in log[3:]:
        Event.objects.filter(pk=entry.position).update(position=F("position") - 1)
    EventLogHead.objects.update(position=F("position") - 1)


def remove_the_end(log: list[Event]) -> None:
    Event.objects.filter(position__gte=5).delete()


def remove_the_end_with_the_head(log: list[Event]) -> None:
    """Cut the log off and move its head back, but leave the head with the hash that it had."""
    Event.objects.filter(position__gte=5).delete()
    EventLogHead.objects.update(position=4)


def remove_the_end_and_point_the_head_at_the_new_one(log: list[Event]) -> None:
    Event.objects.filter(position__gte=5).delete()
    EventLogHead.objects.update(position=4, hash=log[3].hash)


def insert(log: list[Event]) -> None:
    """Put an entry between two others, with a hash of its own, and count the others on."""
    for entry in reversed(log[3:]):
        Event.objects.filter(pk=entry.position).update(position=F("position") + 1)
    entry = Event(
        position=4, happened_at=NOW, kind="thing.done", subject="thing", subject_id="99", after={"number": 99},
        key_name=log[2].key_name, previous_hash=log[2].hash,
    )  # fmt: skip
    entry.hash = compute_hash(make_stolen_key(), entry)
    entry.save(force_insert=True)
    EventLogHead.objects.update(position=F("position") + 1)


def swap(log: list[Event]) -> None:
    Event.objects.filter(position=2).update(position=100)
    Event.objects.filter(position=3).update(position=2)
    Event.objects.filter(position=100).update(position=3)


TAMPERS: dict[str, Callable[[list[Event]], None]] = {
    "kind changed": change(kind="thing.undone"),
    "moment changed": change(happened_at=NOW),
    "actor changed": change(actor=None),
    "subject changed": change(subject_id="7"),
    "before changed": change(before={"number": 1}),
    "after changed": change(after={"number": 7}),
    "hash changed": change(hash="0" * 64),
    "previous hash changed": change(previous_hash="f" * 64),
    "changed with a fitting hash": rehash,
    "key's name changed": change(key_name="another"),
    "signed content changed": change(signed={"treatments.Treatment": {"1": "0"}}),
    "all written anew": rehash_all,
    "removed from the middle": remove_from_the_middle,
    "removed and the gap closed": remove_and_close_the_gap,
    "end removed": remove_the_end,
    "end removed, head moved back": remove_the_end_with_the_head,
    "end removed, head put on the new end": remove_the_end_and_point_the_head_at_the_new_one,
    "head gone": lambda log: EventLogHead.objects.all().delete() and None,
    "entry inserted": insert,
    "two entries swapped": swap,
}


@pytest.mark.parametrize("name", TAMPERS)
def test_whatever_was_changed_removed_or_put_in_is_found(name: str, log: list[Event]) -> None:
    call_command("verify_log")
    with past_the_guards():
        TAMPERS[name](log)
    assert list(verify_log()), name
    with pytest.raises(CommandError, match="not as it was written"):
        call_command("verify_log")


def test_a_fault_names_the_entry_at_which_it_is(log: list[Event]) -> None:
    with past_the_guards():
        change(after={"number": 7})(log)
    (fault,) = verify_log()
    assert (fault.position, fault.sentence) == (3, "Entry 3 was changed after it was written.")


OLD_KEY, NEW_KEY = "o" * 40, "n" * 40


def test_a_new_key_goes_on_from_the_old_one(log: list[Event], settings: Any) -> None:
    before = settings.LOG_KEYS[0]
    settings.LOG_KEYS = [NEW_KEY, before]
    record_one(7)
    assert list(verify_log()) == []
    settings.LOG_KEYS = [NEW_KEY]
    assert [fault.position for fault in verify_log()] == [1]


def test_a_key_that_was_replaced_writes_no_more(log: list[Event], settings: Any) -> None:
    """An old key may have leaked; whoever has it can't go on with the log."""
    before = settings.LOG_KEYS[0]
    settings.LOG_KEYS = [NEW_KEY, before]
    record_one(7)
    settings.LOG_KEYS = [before]
    record_one(8)
    settings.LOG_KEYS = [NEW_KEY, before]
    assert [fault.position for fault in verify_log()] == [8]


def test_the_head_only_moves_on_to_the_last_entry(log: list[Event]) -> None:
    for values in ({"position": 4, "hash": log[3].hash}, {"position": 7}, {"hash": "0" * 64}):
        with pytest.raises(DatabaseError, match="head of the event log"), transaction.atomic():
            EventLogHead.objects.update(**values)
    with pytest.raises(DatabaseError, match="head of the event log"), transaction.atomic():
        EventLogHead.objects.all().delete()
    record_one(7)
    assert EventLogHead.objects.get().position == 7


@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite has no TRUNCATE")
@pytest.mark.parametrize("table", ["treatments_event", "treatments_eventloghead", "treatments_treatment"])
def test_the_database_refuses_to_empty_a_table_at_once(log: list[Event], table: str) -> None:
    with pytest.raises(DatabaseError, match="stand"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute(f"TRUNCATE {table} CASCADE")


def test_every_guard_is_in_place_and_one_that_is_gone_is_missed(log: list[Event]) -> None:
    assert find_missing_triggers(list_guards(), connection) == []
    with past_the_guards():
        assert find_missing_triggers(list_guards(), connection) == list_triggers(list_guards(), connection.vendor)
        assert any("treatments_event" in fault.sentence for fault in verify_log())
    assert find_missing_triggers(list_guards(), connection) == []
