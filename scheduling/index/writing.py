"""Writes the index: compares what was computed with what is stored, and writes only the rows that differ.

New rows go in by COPY on PostgreSQL, where a first run writes millions of them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import connection, models
from psycopg.types.json import Jsonb

from scheduling.covers.queries import CoverCase
from scheduling.covers.rules.cover import ONE_DAY
from scheduling.covers.rules.due_item import DueItem as ComputedItem
from scheduling.covers.rules.due_item import DueKind, DueStatus
from scheduling.covers.rules.exposure import find_last_seen, find_risk_day
from scheduling.models import CoverState, DueItem
from treatments.rules.explanation import to_json

STATE_COLUMNS = (
    "cover_id",
    "status",
    "since",
    "last_day",
    "percent",
    "explanations",
    "recheck_on",
    "site_id",
    "dealership_id",
    "due_opens_on",
    "due_last_on",
    "due_grace_until",
    "reinspection_opens_on",
    "touch_up_opens_on",
    "last_seen_on",
    "corrosivity",
    "risk_on",
    "booked_on",
)
ITEM_COLUMNS = (
    "cover_id",
    "key",
    "kind",
    "zones",
    "opens_on",
    "target_on",
    "last_on",
    "grace_until",
    "status",
    "reasons",
    "why_opens",
    "why_last",
    "why_grace",
)

Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class RecomputeReport:
    """What a recompute read and what it changed.

    Attributes:
        failed: keys of the covers that could not be computed; why is kept beside the index.
    """

    covers: int = 0
    states_written: int = 0
    items_written: int = 0
    items_removed: int = 0
    failed: tuple[int, ...] = ()

    def __add__(self, other: "RecomputeReport") -> "RecomputeReport":
        return RecomputeReport(
            self.covers + other.covers,
            self.states_written + other.states_written,
            self.items_written + other.items_written,
            self.items_removed + other.items_removed,
            self.failed + other.failed,
        )


def compute_rows(case: CoverCase, booked_days: Mapping[str, date], as_of: date) -> tuple[Row, list[Row]]:
    """Return the row of a cover's state and the rows of its due items that need doing.

    Args:
        booked_days: by the key of a due item, the day on which an appointment will serve it.
        as_of: the day for which the rows answer.
    """
    found = case.assess(as_of)
    items = found.list_what_needs_doing()
    recheck_on = found.holds_until + ONE_DAY if found.holds_until else None
    move = min((from_day for from_day, _terms in case.terms_by_day if from_day > as_of), default=None)
    if move is not None and (recheck_on is None or move < recheck_on):
        recheck_on = move
    opens_on = last_on = grace_until = risk_on = None
    last_seen_on = find_last_seen(case.history, as_of)
    place = case.facts.find_place_of_use(as_of)
    first_openings: dict[DueKind, date] = {}
    for item in items:
        first_openings[item.kind] = min(first_openings.get(item.kind, date.max), item.dates.opens_on)
    if items:
        pressing = min(items, key=_order_of_pressing).dates
        opens_on, last_on, grace_until = pressing.opens_on, pressing.last_on, pressing.grace_until
        risk_on = find_risk_day(last_seen_on, place) if last_seen_on else None
    # A booking for a day that has passed serves nothing any more; the visit was made, or somebody has to say so.
    due_keys = {item.key for item in items}
    booked = {key: day for key, day in booked_days.items() if day >= as_of and key in due_keys}
    booked_on = min(booked.values(), default=None)
    if booked_on is not None:
        ends = min(day + ONE_DAY for day in booked.values())
        recheck_on = ends if recheck_on is None else min(recheck_on, ends)
    state = found.state
    cover = case.cover
    row = (
        cover.pk,
        state.status.value,
        state.since,
        state.last_day,
        state.percent,
        [to_json(explanation) for explanation in state.explanations],
        recheck_on,
        cover.site_id,
        cover.dealership_id,
        opens_on,
        last_on,
        grace_until,
        first_openings.get(DueKind.REINSPECTION),
        first_openings.get(DueKind.TOUCH_UP),
        last_seen_on,
        place.value,
        risk_on,
        booked_on,
    )
    return row, [_describe_item(cover.pk, item, item.key in booked) for item in items]


def _order_of_pressing(item: ComputedItem) -> tuple[date, date]:
    return item.dates.grace_until, item.dates.target_on


def _describe_item(cover: int, item: ComputedItem, is_booked: bool) -> Row:
    dates = item.dates
    return (
        cover,
        item.key,
        item.kind.value,
        list(item.zones),
        dates.opens_on,
        dates.target_on,
        dates.last_on,
        dates.grace_until,
        DueStatus.BOOKED.value if is_booked else item.status.value,
        [to_json(reason) for reason in item.reasons],
        to_json(dates.why_opens),
        to_json(dates.why_last),
        to_json(dates.why_grace),
    )


def write_index(keys: Sequence[int], states: list[Row], items: list[Row], position: int) -> RecomputeReport:
    """Make the index of the covers ``keys`` hold exactly these rows, in the caller's transaction.

    A cover whose index was computed from a later position of the event log keeps what it has.

    Args:
        position: that of the event log from which the rows were computed.
    """
    locked = CoverState.objects.select_for_update().filter(cover__in=keys).order_by("pk")
    stored_states: dict[int, Row] = {}
    newer = set()
    for *row, computed_from in locked.values_list(*STATE_COLUMNS, "log_position"):
        # Rows are compared without the position, since a new one alone is no change.
        stored_states[row[0]] = (*row, position)
        if computed_from > position:
            newer.add(row[0])
    keys = [key for key in keys if key not in newer]
    states = [(*row, position) for row in states if row[0] not in newer]
    items = [row for row in items if row[0] not in newer]
    stored_items: dict[tuple[int, str], Row] = {}
    primary_keys: dict[tuple[int, str], int] = {}
    if stored_states:
        for primary_key, *row in DueItem.objects.filter(cover__in=keys).values_list("pk", *ITEM_COLUMNS):
            stored_items[row[0], row[1]] = tuple(row)
            primary_keys[row[0], row[1]] = primary_key
    columns = (*STATE_COLUMNS, "log_position")
    state_count = _write_rows(CoverState, columns, states, {(key,): row for key, row in stored_states.items()}, 1)
    CoverState.objects.filter(cover__in=keys, log_position__lt=position).update(log_position=position)
    wanted = {(row[0], row[1]) for row in items}
    gone = [primary_key for key, primary_key in primary_keys.items() if key not in wanted]
    if gone:
        DueItem.objects.filter(pk__in=gone).delete()
    item_count = _write_rows(DueItem, ITEM_COLUMNS, items, stored_items, 2)
    return RecomputeReport(len(keys), state_count, item_count, len(gone))


def _write_rows(
    model: type[models.Model],
    columns: tuple[str, ...],
    rows: list[Row],
    stored: "dict[Any, Row]",
    key_length: int,
) -> int:
    new = [row for row in rows if row[:key_length] not in stored]
    changed = [row for row in rows if row[:key_length] in stored and stored[row[:key_length]] != row]
    if connection.vendor == "postgresql":
        _copy_rows(model, columns, new)
    else:
        model._default_manager.bulk_create([model(**dict(zip(columns, row, strict=True))) for row in new])
    names = [name.removesuffix("_id") for name in columns]
    model._default_manager.bulk_create(
        [model(**dict(zip(columns, row, strict=True))) for row in changed],
        update_conflicts=True,
        unique_fields=names[:key_length],
        update_fields=names[key_length:],
    )
    return len(new) + len(changed)


def _copy_rows(model: type[models.Model], columns: tuple[str, ...], rows: list[Row]) -> None:
    if not rows:
        return
    table = connection.ops.quote_name(model._meta.db_table)
    statement = f"COPY {table} ({', '.join(columns)}) FROM STDIN"
    # Only the columns of JSON hold lists and dicts.
    with connection.cursor() as cursor, cursor.copy(statement) as copy:
        for row in rows:
            copy.write_row([Jsonb(value) if isinstance(value, list | dict) else value for value in row])
