"""The due list: which covers need somebody to come, most pressing or most at risk first, one page at a time.

It reads the index that recompute keeps. Every order and filter that it offers is served by an index of the database.
"""

import re
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from django.db.models import IntegerField, OuterRef, Q, QuerySet, Subquery

from scheduling.models import Cover, CoverState, DueItem
from scheduling.rules.dates import DutyDates
from treatments.among import Among
from treatments.models import Customer, Ownership, Site, User, Vehicle
from treatments.models.people import Role
from treatments.queries import look_keys_up

# How far a search for words that very many have is walked before the page is shown with what was found.
WALK_STEP, WALK_AT_MOST = 500, 20_000
MOST_WORDS = 6
# A trigram index can't help with fewer letters.
LEAST_LETTERS = 3
VIN_LENGTH = 17
# Fewer signs of a cover number begin too many of them.
LEAST_OF_NUMBER = 6
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
    "overdue": "past the last day of grace",
    "in_grace": "in the days of grace",
    "in_window": "in its window",
    "coming": "window not open yet",
}

# Whether a visit is booked that serves what is due.
BOOKED_OR_NOT = {"not_booked": "not booked yet", "booked": "booked"}


def find_urgency(item: DueItem | DutyDates, as_of: date) -> str:
    """Return how urgent an item is on a day; one of URGENCIES."""
    return _name_urgency(item.opens_on, item.last_on, item.grace_until, as_of)


def find_cover_urgency(state: CoverState, as_of: date) -> str:
    """Return how urgent a cover of the list is on a day, by its most pressing item; one of URGENCIES."""
    assert state.due_opens_on and state.due_last_on and state.due_grace_until
    return _name_urgency(state.due_opens_on, state.due_last_on, state.due_grace_until, as_of)


def _name_urgency(opens_on: date, last_on: date, grace_until: date, as_of: date) -> str:
    if as_of > grace_until:
        return "overdue"
    if as_of > last_on:
        return "in_grace"
    return "in_window" if as_of >= opens_on else "coming"


def _filter_urgency(urgency: str, as_of: date) -> Q:
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


def find_sort(wanted: DueFilter) -> str:
    """Return the column by which a list is sorted."""
    return "risk_on" if wanted.order is Order.RISK else SORTED_BY[wanted.urgency]


def list_due_covers(user: User, as_of: date, wanted: DueFilter) -> QuerySet[CoverState]:
    """Return the covers for which somebody must come and that a person may see, sorted, whatever the text."""
    sort = find_sort(wanted)
    found = _narrow(user, as_of, wanted).filter(**{f"{sort}__isnull": False})
    return found.order_by(sort, "cover_id")


def _narrow(user: User, as_of: date, wanted: DueFilter) -> QuerySet[CoverState]:
    horizon = as_of + timedelta(days=wanted.days_ahead)
    found = CoverState.objects.filter(due_opens_on__lte=horizon)
    if user.role == Role.DEALERSHIP:
        found = found.filter(dealership=user.dealership_id)
    if wanted.site:
        found = found.filter(site__in=list(Site.objects.filter(code=wanted.site)))
    if wanted.kind:
        found = found.filter(**{f"{wanted.kind}_opens_on__lte": horizon})
    if wanted.urgency:
        found = found.filter(_filter_urgency(wanted.urgency, as_of))
    if wanted.booked:
        found = found.filter(booked_on__isnull=wanted.booked == "not_booked")
    return found


@dataclass(frozen=True, slots=True)
class DuePage:
    """One page of the due list; ``after`` is the place from which the next page goes on, None at the list's end."""

    states: list[CoverState]
    after: str | None


class PlaceError(ValueError):
    """A place in the list that can't be read."""


def read_due_page(user: User, as_of: date, wanted: DueFilter, *, after: str = "", size: int = 25) -> DuePage:
    """Return one page, by the place of the last row of the page before, so that a later page costs no more.

    Raises:
        PlaceError: where ``after`` is not a place that a page gave.
    """
    sort = find_sort(wanted)
    found = list_due_covers(user, as_of, wanted)
    if after:
        found = _go_on_after(found, sort, after)
    common_words = []
    looked_up = False
    # The longest word is the likeliest to be rare; once one has narrowed the list, the others are only compared.
    for word in sorted(split_words(wanted.text)[:MOST_WORDS], key=len, reverse=True):
        covers = None if looked_up else _look_word_up(word)
        if covers is None:
            common_words.append(word)
        else:
            looked_up = True
            found = found.filter(Among("cover_id", covers))
    keys, place = None, None
    if common_words:
        keys, place = _walk(found, sort, common_words, size)
        found = found.filter(Among("cover_id", keys))
    states = list(found.select_related("cover__vehicle", "site")[: size + 1])
    if len(states) <= size:
        return DuePage(states, place)
    last = states[size - 1]
    return DuePage(states[:size], f"{getattr(last, sort)}_{last.cover_id}")


def _walk(found: QuerySet[CoverState], sort: str, words: list[str], size: int) -> tuple[list[int], str | None]:
    """Read on in the list's own order until a page is full of covers that very common words are about.

    Returns:
        Their keys, and the place from which to go on where the walk was stopped before the list's end.
    """
    owners = Ownership.objects.filter(vehicle=OuterRef("cover__vehicle_id"), until_day__isnull=True)
    rows = found.annotate(
        owner_name=Subquery(owners.values("customer__name")[:1]),
        owner_contact=Subquery(owners.values("customer__contact")[:1]),
    ).values_list(
        "cover_id",
        sort,
        "cover__vehicle__vin",
        "cover__vehicle__plate",
        "cover__vehicle__description",
        "owner_name",
        "owner_contact",
        "cover__number",
    )
    keys: list[int] = []
    walked, place = 0, None
    while walked < WALK_AT_MOST:
        here = _go_on_after(rows, sort, place) if place else rows
        part = list(here[:WALK_STEP])
        for key, day, *texts in part:
            if all(_is_about(word, tuple(texts)) for word in words):
                keys.append(key)
                if len(keys) > size:
                    return keys, f"{day}_{key}"
        if len(part) < WALK_STEP:
            return keys, None
        walked += len(part)
        place = f"{part[-1][1]}_{part[-1][0]}"
    return keys, place


def _go_on_after(found: "QuerySet[Any, Any]", sort: str, place: str) -> "QuerySet[Any, Any]":
    day, key = _read_place(place)
    return found.filter(Q(**{f"{sort}__gt": day}) | Q(**{sort: day, "cover_id__gt": key}), **{f"{sort}__gte": day})


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
    counted = {}
    for urgency in URGENCIES:
        found = _narrow(user, as_of, DueFilter(urgency=urgency)).order_by(SORTED_BY[urgency])
        counted[urgency] = CountOf(found.values("pk")[: COUNT_UP_TO + 1])
    # All counts in one query; where there is no row to ask for them, there is nothing to count.
    rows: list[Any] = list(CoverState.objects.order_by().values(**counted)[:1])
    return rows[0] if rows else dict.fromkeys(URGENCIES, 0)


class CountOf(Subquery):
    """How many rows a query returns, its limit included."""

    template = "(SELECT COUNT(*) FROM (%(subquery)s) AS counted)"
    output_field = IntegerField()


PHONE = re.compile(r"[+\d][\d\s().-]{5,}")
PLATE = re.compile(r"([A-Za-z]+)(\d+)|(\d+)([A-Za-z]+)")


def split_words(text: str) -> list[str]:
    """Return what is searched for: a telephone number as one, else word by word."""
    text = text.strip()
    return [text] if PHONE.fullmatch(text) else text.split()


def _match_plate(word: str) -> Q:
    """Return the condition on a plate, with the gap that plates have between letters and digits or without it."""
    found = PLATE.fullmatch(word)
    parts = [part for part in found.groups() if part] if found else []
    wanted = Q(plate__icontains=word)
    for gap in (" ", "-") if parts else ():
        wanted |= Q(plate__icontains=gap.join(parts))
    return wanted


def _look_word_up(word: str) -> set[int] | None:
    """Return the keys of the covers that a word of the search is about, or None where that is too many.

    Any part of VIN, plate, description, owner's name or contact; of one or two letters, which any vehicle holds
    somewhere, only the beginning of plate or name; and a cover number from its beginning.
    """
    if len(word) == VIN_LENGTH:
        whole = set(Cover.objects.filter(vehicle__vin=word.upper()).values_list("pk", flat=True))
        if whole:
            return whole
    if len(word) >= LEAST_LETTERS:
        by_vehicle = Q(vin__icontains=word) | _match_plate(word) | Q(description__icontains=word)
        by_owner = Q(name__icontains=word) | Q(contact__icontains=word)
    else:
        by_vehicle, by_owner = Q(plate__istartswith=word), Q(name__istartswith=word)
    vehicles = look_keys_up(Vehicle.objects.filter(by_vehicle))
    owners = look_keys_up(Customer.objects.filter(by_owner)) if vehicles is not None else None
    if vehicles is None or owners is None:
        return None
    owned = Ownership.objects.filter(Among("customer_id", owners)).values_list("vehicle_id", flat=True)
    by_number = Cover.objects.none()
    if len(word) >= LEAST_OF_NUMBER:
        by_number = Cover.objects.filter(number__startswith=word.upper())
    covers = Cover.objects.filter(Q(Among("vehicle_id", {*vehicles, *owned})) | Q(Among("holder_id", owners)))
    return {*covers.values_list("pk", flat=True), *by_number.values_list("pk", flat=True)}


def _is_about(word: str, row: tuple[Any, ...]) -> bool:
    """Say whether a word is about a row of ``_walk``; the same rule as looking it up."""
    vin, plate, description, name, contact, number = (text.casefold() if text else "" for text in row)
    word = word.casefold()
    if len(word) >= LEAST_OF_NUMBER and number.startswith(word):
        return True
    if len(word) < LEAST_LETTERS:
        return plate.startswith(word) or name.startswith(word)
    return any(word in text for text in (vin, plate, plate.replace(" ", ""), description, name, contact))
