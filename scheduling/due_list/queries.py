"""The due list: which covers need somebody to come, most pressing or most at risk first, one page at a time.

It reads the index that recompute keeps. Every order and filter that it offers is served by an index of the database.
"""

import functools
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from django.db.models import DateField, FilteredRelation, IntegerField, Q, QuerySet, Subquery

from scheduling.covers.rules.dates import DutyDates
from scheduling.due_list.search import SEARCHED, find_those_about, look_word_up
from scheduling.models import CoverState, DueItem
from treatments.models import User
from treatments.models.people import Role
from treatments.reference.queries import list_sites
from treatments.rules.search_words import SearchWord, read_search_words
from treatments.shared.among import Among
from treatments.shared.standing_query import Given, GivenKeys, StandingQuery

# How far a search for words that very many have is walked before the page is shown with what was found.
WALK_STEP, WALK_AT_MOST = 500, 20_000
MOST_WORDS = 6
# Counts stop here: "more than 1,000" is as good an answer, and a full count of a million rows is not quick.
COUNT_UP_TO = 1_000


class Order(StrEnum):
    PRESSING = "pressing"
    RISK = "risk"


@dataclass(frozen=True, slots=True)
class DueFilter:
    """What the due list is narrowed to; every field may be left out."""

    text: str = ""
    site: str = ""
    kind: str = ""
    urgency: str = ""
    order: Order = Order.PRESSING
    booked: str = ""
    days_ahead: int = 60


# How a day stands to the dates of the most pressing due item of a cover; the order is that of the list.
URGENCIES = {
    "overdue": "overdue",
    "in_grace": "in grace",
    "in_window": "in its window",
    "coming": "window not open yet",
}

# Whether a visit is booked that serves what is due.
BOOKED_OR_NOT = {"not_booked": "not booked yet", "booked": "booked"}


def find_urgency(item: DueItem | DutyDates, as_of: date) -> str:
    """Return how urgent an item is on a day; one of URGENCIES."""
    return _name_urgency(item.opens_on, item.last_on, item.grace_until, as_of)


def find_cover_urgency(row: "DueRow", as_of: date) -> str:
    """Return how urgent a cover of the list is on a day, by its most pressing item; one of URGENCIES."""
    return _name_urgency(row.due_opens_on, row.due_last_on, row.due_grace_until, as_of)


def _name_urgency(opens_on: date, last_on: date, grace_until: date, as_of: date) -> str:
    if as_of > grace_until:
        return "overdue"
    if as_of > last_on:
        return "in_grace"
    return "in_window" if as_of >= opens_on else "coming"


def _filter_urgency(urgency: str, as_of: Any) -> Q:
    return {
        "overdue": Q(due_grace_until__lt=as_of),
        "in_grace": Q(due_grace_until__gte=as_of, due_last_on__lt=as_of),
        "in_window": Q(due_last_on__gte=as_of, due_opens_on__lte=as_of),
        "coming": Q(due_opens_on__gt=as_of),
    }[urgency]


# The date that an index walks in the direction in which the urgency's covers lie together.
SORTED_BY = {
    "": "due_grace_until",
    "overdue": "due_grace_until",
    "in_grace": "due_grace_until",
    "in_window": "due_last_on",
    "coming": "due_opens_on",
}


def find_sort(wanted: "DueFilter | _Shape") -> str:
    """Return the column by which a list is sorted."""
    return "risk_on" if wanted.order is Order.RISK else SORTED_BY[wanted.urgency]


@dataclass(frozen=True, slots=True)
class _Shape:
    """What decides how the query of a list is written, whatever the days and keys are."""

    for_dealership: bool
    at_site: bool
    kind: str
    urgency: str
    booked: str
    order: Order


@dataclass(frozen=True, slots=True)
class _Told:
    """What the query of a list is told: the days, and the keys of a site and a dealership, or what stands for them."""

    as_of: Any
    horizon: Any
    site: Any
    dealership: Any


def _read_shape(user: User, wanted: DueFilter) -> _Shape:
    is_dealership = user.role == Role.DEALERSHIP
    return _Shape(is_dealership, bool(wanted.site), wanted.kind, wanted.urgency, wanted.booked, wanted.order)


# No row has this key.
NOBODY = -1


def _read_told(user: User, as_of: date, wanted: DueFilter) -> _Told:
    of_code = [site.pk for site in list_sites() if site.code == wanted.site] if wanted.site else []
    horizon = as_of + timedelta(days=wanted.days_ahead)
    return _Told(as_of, horizon, of_code[0] if of_code else NOBODY, user.dealership_id or NOBODY)


def list_due_covers(user: User, as_of: date, wanted: DueFilter) -> QuerySet[CoverState]:
    """Return the covers for which somebody must come and that a person may see, sorted, whatever the text."""
    return _list(_read_shape(user, wanted), _read_told(user, as_of, wanted))


def _list(shape: _Shape, told: _Told) -> QuerySet[CoverState]:
    found = _narrow(shape, told).filter(**{f"{find_sort(shape)}__isnull": False})
    return found.order_by(find_sort(shape), "cover_id")


def _narrow(shape: _Shape, told: _Told) -> QuerySet[CoverState]:
    found = CoverState.objects.filter(due_opens_on__lte=told.horizon)
    if shape.for_dealership:
        found = found.filter(dealership=told.dealership)
    if shape.at_site:
        found = found.filter(site=told.site)
    if shape.kind:
        found = found.filter(**{f"{shape.kind}_opens_on__lte": told.horizon})
    if shape.urgency:
        found = found.filter(_filter_urgency(shape.urgency, told.as_of))
    if shape.booked:
        found = found.filter(booked_on__isnull=shape.booked == "not_booked")
    return found


@dataclass(frozen=True, slots=True)
class DueRow:
    """One cover of the list with its vehicle and owner, as the index has it."""

    cover_id: int
    number: str
    vehicle_id: int
    vin: str
    plate: str
    description: str
    status: str
    due_opens_on: date
    due_last_on: date
    due_grace_until: date
    risk_on: date | None
    last_seen_on: date | None
    corrosivity: str
    booked_on: date | None
    owner: str | None
    owner_phone: str | None
    owner_email: str | None
    site_id: int


_COLUMNS = (
    "cover_id", "cover__number", "cover__vehicle_id", "cover__vehicle__vin", "cover__vehicle__plate",
    "cover__vehicle__description", "status", "due_opens_on", "due_last_on", "due_grace_until", "risk_on",
    "last_seen_on", "corrosivity", "booked_on",
    "owned__customer__name", "owned__customer__phone", "owned__customer__email", "site_id",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class DuePage:
    """One page of the due list; ``after`` is the place from which the next page goes on, None at the list's end."""

    rows: tuple[DueRow, ...]
    after: str | None


class PlaceError(ValueError):
    """A place in the list that can't be read."""


def read_due_page(user: User, as_of: date, wanted: DueFilter, *, after: str = "", size: int = 25) -> DuePage:
    """Return one page, by the place of the last row of the page before, so that a later page costs no more.

    Raises:
        PlaceError: where ``after`` is not a place that a page gave.
    """
    shape, told = _read_shape(user, wanted), _read_told(user, as_of, wanted)
    place = _read_place(after) if after else None
    common_words = []
    covers: set[int] | None = None
    # The longest word is the likeliest to be rare; once one has narrowed the list, the others are only compared.
    for word in sorted(read_search_words(wanted.text)[:MOST_WORDS], key=lambda word: len(word.written), reverse=True):
        looked_up = look_word_up(word, by_people=not shape.for_dealership) if covers is None else None
        if looked_up is None:
            common_words.append(word)
        else:
            covers = looked_up
    keys, stopped_at = covers, None
    if common_words and covers != set():
        walked, stopped_at = _walk(_Walk(shape, told, covers, size), place, common_words)
        keys = set(walked)
    if keys is not None and not keys:
        return DuePage((), stopped_at)
    query = _write_page(shape, goes_on=place is not None, among_keys=keys is not None, size=size)
    day, key = place or (as_of, NOBODY)
    rows = query.ask(as_of, told.horizon, told.site, told.dealership, day, key, list(keys or ()))
    shown = tuple(DueRow(*row) for row in rows)
    if len(shown) <= size:
        return DuePage(shown, stopped_at)
    last = shown[size - 1]
    return DuePage(shown[:size], f"{getattr(last, find_sort(shape))}_{last.cover_id}")


_GIVEN = _Told(Given(0, DateField()), Given(1, DateField()), Given(2), Given(3))


@functools.lru_cache(maxsize=1024)
def _write_page(shape: _Shape, *, goes_on: bool, among_keys: bool, size: int) -> StandingQuery:
    """Return the query of a page; it is told the day, the horizon, site, dealership, place (day and key), and keys."""

    def build() -> "QuerySet[Any, Any]":
        found = _go_along(shape, goes_on, among_keys)
        now = Q(cover__vehicle__ownerships__until_day__isnull=True)
        owned = FilteredRelation("cover__vehicle__ownerships", condition=now)
        return found.annotate(owned=owned).values_list(*_COLUMNS)[: size + 1]

    return StandingQuery(build)


@dataclass(frozen=True, slots=True)
class _Walk:
    """Along what a search for very common words is walked: the list, or some covers of it, until a page is full."""

    shape: _Shape
    told: _Told
    covers: set[int] | None
    size: int


def _walk(walk: _Walk, place: tuple[date, int] | None, words: list[SearchWord]) -> tuple[list[int], str | None]:
    """Read on in the list's own order until a page is full of covers that very common words are about.

    Returns:
        Their keys, and the place from which to go on where the walk was stopped before the list's end.
    """
    told, among = walk.told, list(walk.covers or ())
    keys: list[int] = []
    walked = 0
    while walked < WALK_AT_MOST:
        query = _write_walk(walk.shape, WALK_STEP, goes_on=place is not None, among_keys=walk.covers is not None)
        day, key = place or (told.as_of, NOBODY)
        part = query.ask(told.as_of, told.horizon, told.site, told.dealership, day, key, among)
        about = find_those_about(words, (row[2:] for row in part), by_people=not walk.shape.for_dealership)
        for (key, day, *_texts), is_about in zip(part, about, strict=True):
            if is_about:
                keys.append(key)
                if len(keys) > walk.size:
                    return keys, f"{day}_{key}"
        if len(part) < WALK_STEP:
            return keys, None
        walked += len(part)
        place = part[-1][1], part[-1][0]
    return keys, f"{place[0]}_{place[1]}" if place else None


@functools.lru_cache(maxsize=1024)
def _write_walk(shape: _Shape, step: int, *, goes_on: bool, among_keys: bool) -> StandingQuery:
    """Return the query of a step of a walk; it is told what ``_write_page`` is told."""

    def build() -> "QuerySet[Any, Any]":
        return _go_along(shape, goes_on, among_keys).values_list("cover_id", find_sort(shape), *SEARCHED)[:step]

    return StandingQuery(build)


def _go_along(shape: _Shape, goes_on: bool, among_keys: bool) -> QuerySet[CoverState]:
    """Return the list from a place on and among some covers, each where it is wanted and told at the asking."""
    found = _list(shape, _GIVEN)
    if goes_on:
        sort, day, key = find_sort(shape), Given(4, DateField()), Given(5)
        found = found.filter(Q(**{f"{sort}__gt": day}) | Q(**{sort: day, "cover_id__gt": key}), **{f"{sort}__gte": day})
    return found.filter(Among("cover_id", GivenKeys(6))) if among_keys else found


def _read_place(text: str) -> tuple[date, int]:
    day, _, key = text.partition("_")
    try:
        place = date.fromisoformat(day), int(key)
    except ValueError as error:
        raise PlaceError(f"'{text}' is not a place in the list.") from error
    if not 0 <= place[1] < 2**63:
        raise PlaceError(f"'{text}' is not a place in the list.")
    return place


def count_by_urgency(user: User, as_of: date) -> dict[str, int]:
    """Return how many covers stand in each urgency, counted up to COUNT_UP_TO + 1."""
    told = _read_told(user, as_of, DueFilter())
    query = _write_counts(for_dealership=user.role == Role.DEALERSHIP)
    rows = query.ask(told.as_of, told.horizon, told.site, told.dealership)
    # Where there is no row to ask for them, there is nothing to count.
    return dict(zip(URGENCIES, rows[0] if rows else [0] * len(URGENCIES), strict=True))


@functools.lru_cache(maxsize=2)
def _write_counts(*, for_dealership: bool) -> StandingQuery:
    """Return one query of all counts; it is told what ``_GIVEN`` names."""

    def build() -> "QuerySet[Any, Any]":
        counted = []
        for urgency in URGENCIES:
            shape = _Shape(for_dealership, False, "", urgency, "", Order.PRESSING)
            found = _narrow(shape, _GIVEN).order_by(SORTED_BY[urgency])
            counted.append(CountOf(found.values("pk")[: COUNT_UP_TO + 1]))
        return CoverState.objects.order_by().values_list(*counted)[:1]

    return StandingQuery(build)


class CountOf(Subquery):
    """How many rows a query returns, its limit included."""

    template = "(SELECT COUNT(*) FROM (%(subquery)s) AS counted)"
    output_field = IntegerField()
