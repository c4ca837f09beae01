"""The event log: the database refuses to change it, and whoever gets past that is found by the chain of hashes."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import DatabaseError, connection, transaction
from django.db.models import F

from tests.conftest import NOW
from treatments.event_log import Happening, compute_hash, record_events, verify_log
from treatments.models import Event, EventLogHead, User


@pytest.fixture
def log(db: None) -> list[Event]:
    """Six entries, as the services write them."""
    actor = User.objects.create_user("writer", role="service_writer")
    for number in range(6):
        with transaction.atomic():
            happening = Happening("thing.done", "thing", str(number), before=None, after={"number": number})
            record_events([happening], actor=actor, now=NOW + timedelta(minutes=number))
    assert list(verify_log()) == []
    return list(Event.objects.all())


def get_past_the_guard() -> None:
    """Do what somebody with the keys of the database could."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("DROP TRIGGER event_log_is_append_only ON treatments_event")
        else:
            cursor.execute("DROP TRIGGER event_log_is_append_only_update")


def test_the_database_refuses_to_change_the_log(log: list[Event]) -> None:
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Event.objects.filter(position=2).update(kind="thing.undone")
    if connection.vendor == "postgresql":
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            Event.objects.filter(position=2).delete()
    assert Event.objects.get(position=2).kind == "thing.done"


def change(**values: object) -> Callable[[list[Event]], None]:
    return lambda log: Event.objects.filter(position=3).update(**values) and None


def rehash(log: list[Event]) -> None:
    """Change an entry and give it the hash that goes with its new text."""
    entry = log[2]
    told = Happening("thing.undone", entry.subject, entry.subject_id, entry.before, entry.after)
    new = compute_hash(entry.previous_hash, entry.position, entry.happened_at, entry.actor_id, told)
    Event.objects.filter(position=3).update(kind="thing.undone", hash=new)


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


def insert(log: list[Event]) -> None:
    """Put an entry between two others, with a hash of its own, and count the others on."""
    for entry in reversed(log[3:]):
        Event.objects.filter(pk=entry.position).update(position=F("position") + 1)
    told = Happening("thing.done", "thing", "99", None, {"number": 99})
    new = compute_hash(log[2].hash, 4, NOW, None, told)
    Event.objects.create(
        position=4, happened_at=NOW, kind=told.kind, subject="thing", subject_id="99", after=told.after,
        previous_hash=log[2].hash, hash=new,
    )  # fmt: skip
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
    "removed from the middle": remove_from_the_middle,
    "removed and the gap closed": remove_and_close_the_gap,
    "end removed": remove_the_end,
    "end removed, head moved back": remove_the_end_with_the_head,
    "entry inserted": insert,
    "two entries swapped": swap,
}


@pytest.mark.parametrize("name", TAMPERS)
def test_whatever_was_changed_removed_or_put_in_is_found(name: str, log: list[Event]) -> None:
    get_past_the_guard()
    call_command("verify_log")
    TAMPERS[name](log)
    assert list(verify_log()), name
    with pytest.raises(CommandError, match="not as it was written"):
        call_command("verify_log")


def test_a_fault_names_the_entry_at_which_it_is(log: list[Event]) -> None:
    get_past_the_guard()
    change(after={"number": 7})(log)
    (fault,) = verify_log()
    assert (fault.position, fault.sentence) == (3, "Entry 3 was changed after it was written.")
