"""Reads what is due for covers from the index where it is up to date, so that neither records nor rules need be asked.

It is up to date for a day where the last run was for no later one, the cover was not to be looked at again by then, and
no event tells of it that no run has read yet.
"""

import functools
import json
from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple

from django.db.models import BigIntegerField, Case, F, Q, QuerySet, Subquery, TextField, Value, When
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Cast, Coalesce

from scheduling.covers.queries import read_cases_apart
from scheduling.covers.rules.due_item import DueKind
from scheduling.index.stale import (
    COVER_KINDS,
    MATERIAL_KINDS,
    OWNER_KINDS,
    READER,
    SITE_KINDS,
    VEHICLE_KINDS,
    VISIT_KINDS,
    sort_events,
)
from scheduling.models import Cover, CoverState, DueItem, RecomputeRun
from treatments.models import Event, EventReader, Ownership
from treatments.shared.faults import log_fault

# Where more events than this are unread, the records of a few covers are the quicker way. A large shop writes down some
# thousand in a day, and a run reads them every night.
MOST_UNREAD = 2_000


class IndexedItem(NamedTuple):
    """One thing for which somebody must come, as the index has it; ``kind`` is the value of a ``DueKind``."""

    cover: int
    key: str
    kind: str
    zones_as_json: str
    opens_on: date
    target_on: date
    last_on: date
    grace_until: date

    @property
    def zones(self) -> tuple[str, ...]:
        """The zones that are to be recoated; few ask, so that they are not read before."""
        return _read_zones(self.zones_as_json)


# Vehicles of one body style have the same zones due.
@functools.lru_cache(maxsize=1024)
def _read_zones(text: str) -> tuple[str, ...]:
    return tuple(json.loads(text))


def read_fresh_items(covers: Sequence[Cover], day: date) -> dict[int, list[IndexedItem]]:
    """Return by cover all that somebody must come for, by target day; what the rules would say of the records.

    Whoever is left out has to be assessed: the index is not up to date for it, or knows of nothing to be done.

    Args:
        covers: the covers.
        day: today at the shop.
    """
    if not covers:
        return {}
    # Events first: what is written down and read by a run between the two reads is then seen in the index.
    stale = _find_stale(covers)
    found: dict[int, list[IndexedItem]] = defaultdict(list)
    for row in _list_items([cover for cover in covers if cover.pk not in stale], day):
        found[row[0]].append(IndexedItem._make(row))
    for items in found.values():
        items.sort(key=_by_target)
    return dict(found)


def list_open_kinds(covers: Sequence[Cover], day: date) -> dict[int, list[tuple[DueKind, int]]]:
    """Return kind and number of zones of each thing to be done for a cover whose window is open, by target day.

    From the index, and from the records where that is not up to date. Nothing is told of a cover that can't be
    computed.

    Args:
        covers: covers with ``site`` loaded.
        day: today at the shop.
    """
    found = {
        key: [(DUE_KINDS[item.kind], len(item.zones)) for item in items if item.opens_on <= day]
        for key, items in read_fresh_items(covers, day).items()
    }
    others = [cover for cover in covers if cover.pk not in found]
    for case in read_cases_apart(others)[0]:
        try:
            found[case.cover.pk] = case.list_open_kinds(day)
        except Exception as error:
            log_fault(error, f"Cover {case.cover.number}")
    return {cover.pk: found.get(cover.pk, []) for cover in covers}


DUE_KINDS = {kind.value: kind for kind in DueKind}


def _by_target(item: IndexedItem) -> tuple[date, str, str]:
    """Return what the rules sort due items by."""
    return item.target_on, item.kind, item.key


def _list_items(covers: Sequence[Cover], day: date) -> "QuerySet[Any, Any]":
    """Return what needs doing for those covers whose index is up to date for a day as far as the index itself tells.

    While a run is at work, and after one for a later day, it does not tell.
    """
    done_for = Case(When(finished_at__isnull=False, then="as_of"))
    last_run = Subquery(RecomputeRun.objects.order_by("-pk").annotate(done_for=done_for).values("done_for")[:1])
    not_yet = Q(recheck_on__isnull=True) | Q(recheck_on__gt=day)
    # By their states, so that each of those is looked up once and not for every item.
    current = CoverState.objects.filter(not_yet, cover__in=covers).values("cover_id")
    return (
        DueItem.objects.filter(cover_id__in=current)
        .annotate(last_run=last_run, zones_as_json=Cast("zones", TextField()))
        .filter(last_run__lte=day)
        .order_by()
        .values_list("cover_id", "key", "kind", "zones_as_json", "opens_on", "target_on", "last_on", "grace_until")
    )


class _UnreadEvent(NamedTuple):
    behind: int
    kind: str
    subject: str
    subject_id: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None


def _list_unread(covers: Sequence[Cover]) -> "QuerySet[Any, Any]":
    """Return what no run has read yet of events about some covers or their vehicles, and about any owner or site.

    Of the first MOST_UNREAD only; the last of these is returned whatever it tells of, as a sign that there may be more.
    """
    read = EventReader.objects.filter(name=READER).values("position")[:1]
    place = Coalesce(Subquery(read), Value(0), output_field=BigIntegerField())
    # As the event log writes keys: as texts.
    keys, vehicles = [str(cover.pk) for cover in covers], [str(cover.vehicle_id) for cover in covers]
    return (
        Event.objects.annotate(
            # Entries of the log are numbered without a gap.
            behind=F("position") - place,
            of_vehicle=Cast(KeyTextTransform("vehicle", "after"), TextField()),
            of_cover=Cast(KeyTextTransform("cover", "after"), TextField()),
        )
        .filter(
            Q(kind__in=COVER_KINDS, subject_id__in=keys)
            | Q(kind__in=VEHICLE_KINDS, subject="vehicle", subject_id__in=vehicles)
            | Q(kind__in=VEHICLE_KINDS, of_vehicle__in=vehicles) & ~Q(subject="vehicle")
            | Q(kind__in=VISIT_KINDS, of_cover__in=keys)
            | Q(kind__in=[*OWNER_KINDS, *SITE_KINDS, *MATERIAL_KINDS])
            | Q(behind=MOST_UNREAD),
            position__gt=place,
            position__lte=place + MOST_UNREAD,
        )
        .order_by()
        .values_list(*_UnreadEvent._fields)
    )


def _find_stale(covers: Sequence[Cover]) -> set[int]:
    """Return the covers about which something is written down that no run has read yet."""
    events = [_UnreadEvent._make(row) for row in _list_unread(covers)]
    if not events:
        return set()
    if any(event.behind == MOST_UNREAD for event in events):
        return {cover.pk for cover in covers}
    told = sort_events(events)
    if told.all:
        return {cover.pk for cover in covers}
    vehicles = set(told.vehicles)
    if told.owners:
        of_covers = [cover.vehicle_id for cover in covers]
        theirs = Ownership.objects.filter(vehicle__in=of_covers, customer__in=told.owners)
        vehicles |= set(theirs.values_list("vehicle_id", flat=True))
    return {
        cover.pk
        for cover in covers
        if cover.pk in told.covers or cover.vehicle_id in vehicles or cover.site_id in told.sites
    }
