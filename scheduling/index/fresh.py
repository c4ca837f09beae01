"""Reads what is due for covers from the index where it is up to date, so that neither records nor rules need be asked.

It is up to date for a day where the last run was for no later one, the cover was not to be looked at again by then, and
no event tells of it that no run has read yet.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple

from django.db.models import BigIntegerField, Case, DateField, Q, QuerySet, Subquery, TextField, Value, When
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Cast, Coalesce

from scheduling.index.stale import (
    COVER_KINDS,
    OWNER_KINDS,
    READER,
    SITE_KINDS,
    VEHICLE_KINDS,
    VISIT_KINDS,
    sort_events,
)
from scheduling.models import Cover, CoverState, DueItem, RecomputeRun
from treatments.among import Among
from treatments.models import Event, EventReader, Ownership
from treatments.standing_query import Given, GivenKeys, StandingQuery

# Where more events than this are unread about a few covers, their records are the quicker way.
MOST_EVENTS = 500


class IndexedItem(NamedTuple):
    """One thing for which somebody must come, as the index has it; ``kind`` is the value of a ``DueKind``."""

    cover: int
    key: str
    kind: str
    zones: Sequence[str]
    opens_on: date
    target_on: date
    last_on: date
    grace_until: date


def read_fresh_items(covers: Sequence[Cover], day: date) -> dict[int, list[IndexedItem]]:
    """Return by cover all that somebody must come for, by target day; what the rules would say of the records.

    Whoever is left out has to be assessed: the index is not up to date for it, or knows of nothing to be done.

    Args:
        covers: the covers.
        day: today at the shop.
    """
    # Events first: what is written down and read by a run between the two reads is then seen in the index.
    stale = _find_stale(covers)
    found: dict[int, list[IndexedItem]] = defaultdict(list)
    for row in ITEMS.ask([cover.pk for cover in covers if cover.pk not in stale], day):
        found[row[0]].append(IndexedItem._make(row))
    for items in found.values():
        items.sort(key=_by_target)
    return dict(found)


def _by_target(item: IndexedItem) -> tuple[date, str, str]:
    """Return what the rules sort due items by."""
    return item.target_on, item.kind, item.key


def _list_items() -> "QuerySet[Any, Any]":
    """Return what needs doing for covers (0) whose index is up to date for a day (1) as far as the index itself tells.

    While a run is at work, and after one for a later day, it does not tell.
    """
    day = Given(1, DateField())
    done_for = Case(When(finished_at__isnull=False, then="as_of"))
    last_run = Subquery(RecomputeRun.objects.order_by("-pk").annotate(done_for=done_for).values("done_for")[:1])
    not_yet = Q(recheck_on__isnull=True) | Q(recheck_on__gt=day)
    # By their states, so that each of those is looked up once and not for every item.
    current = CoverState.objects.filter(Among("cover_id", GivenKeys(0)), not_yet).values("cover_id")
    return (
        DueItem.objects.filter(cover_id__in=current)
        .annotate(last_run=last_run)
        .filter(last_run__lte=day)
        .order_by()
        .values_list("cover_id", "key", "kind", "zones", "opens_on", "target_on", "last_on", "grace_until")
    )


ITEMS = StandingQuery(_list_items)


class _UnreadEvent(NamedTuple):
    kind: str
    subject: str
    subject_id: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None


def _list_unread() -> "QuerySet[Any, Any]":
    """Return what no run has read yet of events about covers (0) or vehicles (1), and about any owner or site."""
    place = EventReader.objects.filter(name=READER).values("position")[:1]
    covers, vehicles = GivenKeys(0), GivenKeys(1)
    return (
        Event.objects.annotate(
            of_vehicle=Cast(KeyTextTransform("vehicle", "after"), TextField()),
            of_cover=Cast(KeyTextTransform("cover", "after"), TextField()),
        )
        .filter(
            Q(kind__in=COVER_KINDS) & Q(Among("subject_id", covers))
            | Q(kind__in=VEHICLE_KINDS, subject="vehicle") & Q(Among("subject_id", vehicles))
            | Q(kind__in=VEHICLE_KINDS) & ~Q(subject="vehicle") & Q(Among("of_vehicle", vehicles))
            | Q(kind__in=VISIT_KINDS) & Q(Among("of_cover", covers))
            | Q(kind__in=[*OWNER_KINDS, *SITE_KINDS]),
            position__gt=Coalesce(Subquery(place), Value(0), output_field=BigIntegerField()),
        )
        .order_by("position")
        .values_list(*_UnreadEvent._fields)[: MOST_EVENTS + 1]
    )


UNREAD = StandingQuery(_list_unread)


def _find_stale(covers: Sequence[Cover]) -> set[int]:
    """Return the covers about which something is written down that no run has read yet."""
    rows = UNREAD.ask([str(cover.pk) for cover in covers], [str(cover.vehicle_id) for cover in covers])
    if not rows:
        return set()
    if len(rows) > MOST_EVENTS:
        return {cover.pk for cover in covers}
    told = sort_events(_UnreadEvent._make(row) for row in rows)
    vehicles = set(told.vehicles)
    if told.owners:
        theirs = Ownership.objects.filter(
            Among("vehicle_id", [cover.vehicle_id for cover in covers]), customer__in=told.owners
        )
        vehicles |= set(theirs.values_list("vehicle_id", flat=True))
    return {
        cover.pk
        for cover in covers
        if cover.pk in told.covers or cover.vehicle_id in vehicles or cover.site_id in told.sites
    }
