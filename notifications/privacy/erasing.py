"""Erases what is on record about one person, line by line of the register, and says what it did and what it kept.

``plan_erasure`` says it before, ``erase_person`` does it; both take the same steps.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Any

from django.apps import apps
from django.db import models, transaction
from django.utils.translation import gettext as _

from notifications.enums import MessageStatus
from notifications.models import Message
from notifications.privacy.files import erase_files, find_files
from notifications.privacy.people import Person, find_reasons_to_keep
from notifications.privacy.register import REGISTER, Needed, OnErasure, Text, Words
from scheduling.index.service import recompute_covers
from treatments.event_log import Happening, record_events
from treatments.models import Customer, Event, EventWords, User
from treatments.queries import find_shop_day

KEYS_AT_ONCE = 500
# What becomes of a row does not depend on what stands in its columns.
WHOLE_ROWS = (OnErasure.DELETE, OnErasure.COMPUTE)
# Of a message that is still to go out, the text is needed.
NOT_SENT_YET = [MessageStatus.WAITING, MessageStatus.LEASED]


class ErasureOrder(StrEnum):
    """On whose order data are erased: a closed list, so that the record of it holds no words of its own."""

    PERSON = "person"
    AUTHORITY = "authority"
    SHOP = "shop"
    AGE = "age"


@dataclass(frozen=True, slots=True)
class Step:
    """What becomes of some rows under one line of the register.

    Attributes:
        line: the line.
        keys: the primary keys of the rows.
        kept_for: why they stay for now, although the line would have them erased; empty where they don't.
    """

    line: Words
    keys: tuple[Any, ...]
    kept_for: tuple[str, ...] = ()

    @property
    def is_erased(self) -> bool:
        return not self.kept_for and self.line.on_erasure is not OnErasure.KEEP

    @property
    def erases_words(self) -> bool:
        """Whether words go, and not only what is computed from others anyway."""
        return self.is_erased and self.line.on_erasure is not OnErasure.COMPUTE

    @property
    def why_kept(self) -> tuple[Text, ...]:
        return self.kept_for or (self.line.why,)


@dataclass(frozen=True, slots=True)
class Erasure:
    """What is erased about a person and what is kept, row by row and file by file.

    Attributes:
        customer: the key of the customer.
        steps: each line of the register under which the person has rows.
        files: the files that are deleted, by the name of their place in the register.
        reasons: why the person must still be known by name; empty where nothing needs it.
    """

    customer: int
    steps: tuple[Step, ...]
    files: dict[str, tuple[Path, ...]] = field(default_factory=dict)
    reasons: tuple[str, ...] = ()

    @property
    def erased(self) -> list[Step]:
        return [step for step in self.steps if step.is_erased]

    @property
    def kept(self) -> list[Step]:
        return [step for step in self.steps if not step.is_erased]

    @property
    def waits(self) -> bool:
        """Whether something is kept for now only, so that it is erased later."""
        return any(step.kept_for for step in self.steps)

    @property
    def is_whole(self) -> bool:
        """Whether nobody is left who could be named."""
        return not self.reasons


def plan_erasure(*, customer: Customer, now: datetime, folders: Sequence[Path] = ()) -> Erasure:
    """Return what an erasure would erase and keep, and why; nothing is changed.

    Args:
        folders: where files of rejected rows may lie besides the program's own folder.
    """
    return _plan(Person(customer, now), folders)


def _plan(person: Person, folders: Sequence[Path]) -> Erasure:
    reasons = tuple(find_reasons_to_keep(person.customer))
    return Erasure(person.customer.pk, tuple(_list_steps(person, reasons)), find_files(person, folders), reasons)


def _list_steps(person: Person, reasons: tuple[str, ...]) -> Iterator[Step]:
    may_sue = _("claim %(number)s: either side may still go to law over it")
    whys = tuple(may_sue % {"number": number} for number in person.claims_needed.values())
    rows_of = _read_rows(person)
    for line in REGISTER:
        rows = [row for row in rows_of[line.table] if _holds_words(row, line)]
        if line.table == "notifications.Message" and reasons:
            rows = [row for row in rows if row["status"] not in NOT_SENT_YET]
        if line.needed in (Needed.BY_COVER, Needed.BY_BOTH) and reasons:
            yield from _make_step(line, rows, reasons)
            continue
        if line.needed in (Needed.BY_CLAIM, Needed.BY_BOTH) and whys:
            yield from _make_step(line, [row for row in rows if person.is_of_needed_claim(line.table, row)], whys)
            rows = [row for row in rows if not person.is_of_needed_claim(line.table, row)]
        yield from _make_step(line, rows)


def _read_rows(person: Person) -> dict[str, list[dict[str, Any]]]:
    """Return the rows about a person by table of the register, each with what its lines look at; a query a table."""
    columns: dict[str, set[str]] = {"notifications.Message": {"status"}}
    for line in REGISTER:
        columns.setdefault(line.table, set()).update(() if line.on_erasure in WHOLE_ROWS else line.columns)
    return {table: person.read_rows(table, names) for table, names in columns.items()}


def _make_step(line: Words, rows: Sequence[dict[str, Any]], kept_for: tuple[str, ...] = ()) -> Iterator[Step]:
    if rows:
        yield Step(line, tuple(row["pk"] for row in rows), kept_for)


def _holds_words(row: dict[str, Any], line: Words) -> bool:
    """Say whether a row has anything in the columns of a line but what stands there after an erasure."""
    if line.on_erasure in WHOLE_ROWS:
        return True
    return any(row[column] and row[column] != line.replacement(row["pk"]) for column in line.columns)


@transaction.atomic
def erase_person(
    *, customer: Customer, order: ErasureOrder, now: datetime, actor: User | None, folders: Sequence[Path] = ()
) -> Erasure:
    """Erase what is on record about a person as far as nothing needs it; return what was erased and what was kept.

    The vehicle's record stays under its VIN: the next owner's cover rests on it.
    """
    locked = Customer.objects.select_for_update().get(pk=customer.pk)
    person = Person(locked, now)
    plan = _plan(person, folders)
    if plan.is_whole:
        Message.objects.filter(customer=locked, status__in=NOT_SENT_YET).update(status=MessageStatus.WITHDRAWN)
        if locked.messages_stopped_at is None:
            Customer.objects.filter(pk=locked.pk).update(messages_stopped_at=now)
    events = _list_events_without_words(plan)
    for step in plan.erased:
        carry_out(step, now)
    transaction.on_commit(partial(erase_files, plan.files, person))
    after = {
        "order": order,
        # By these the log verifies although their words are gone.
        "events": events,
        "whole": plan.is_whole,
        "erased": _count(plan.erased),
        "kept": _count(plan.kept),
    }
    record_events([Happening("customer.erased", "customer", str(locked.pk), after=after)], actor=actor, now=now)
    return plan


def _list_events_without_words(plan: Erasure) -> list[int]:
    keys = [key for step in plan.erased if step.line.table == "treatments.EventWords" for key in step.keys]
    found: set[int] = set()
    for first in range(0, len(keys), KEYS_AT_ONCE):
        rows = EventWords.objects.filter(pk__in=keys[first : first + KEYS_AT_ONCE])
        found |= set(rows.values_list("event_id", flat=True))
    return sorted(found)


def _count(steps: Sequence[Step]) -> dict[str, int]:
    """Return how many values of each column, or rows of each table that loses rows; the log's own check counts so."""
    counts: dict[str, int] = {}
    for step in steps:
        for label in [step.line.table] if step.line.on_erasure is OnErasure.DELETE else step.line.labels:
            counts[label] = counts.get(label, 0) + len(step.keys)
    return counts


def find_request(customer: Customer) -> Event | None:
    """Return the entry of the log that says on whose order a person's data were erased as far as it went then."""
    asked = Event.objects.filter(kind="customer.erased", subject="customer", subject_id=str(customer.pk))
    return asked.order_by("position").first()


def carry_out(step: Step, now: datetime) -> None:
    """Do to the rows of a step what its line says."""
    line = step.line
    model = apps.get_model(line.table)
    if line.on_erasure is OnErasure.COMPUTE:
        recompute_covers(keys=list(step.keys), as_of=find_shop_day(now))
        return
    for first in range(0, len(step.keys), KEYS_AT_ONCE):
        rows = model._default_manager.filter(pk__in=step.keys[first : first + KEYS_AT_ONCE])
        if line.on_erasure is OnErasure.DELETE:
            _delete_with_files(rows, line)
        elif "{pk}" in line.instead:
            for key in rows.values_list("pk", flat=True):
                told = dict.fromkeys(line.columns, line.replacement(key))
                model._default_manager.filter(pk=key).update(**told)
        else:
            for column in line.columns:
                rows.exclude(**{column: ""}).update(**{column: line.instead})


def _delete_with_files(rows: "models.QuerySet[Any]", line: Words) -> None:
    model = rows.model
    for column in line.columns:
        if isinstance(model._meta.get_field(column), models.FileField):
            for row in rows:
                file = getattr(row, column)
                # Only once the row is gone for good.
                transaction.on_commit(partial(file.storage.delete, str(file.name)))
    rows.delete()
