"""The due list: which covers need somebody to come, most pressing or most at risk first, one page at a time. Which
covers a word of a search in the due list is about: by vehicle, owner, telephone or number of the cover.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from django.db.models import FilteredRelation, IntegerField, OuterRef, Q, QuerySet, Subquery
from django.utils.functional import Promise
from django.utils.translation import gettext, gettext_lazy, pgettext_lazy

from scheduling.covers.queries import list_covers_for
from scheduling.covers.rules.dates import DutyDates
from scheduling.models import Cover, CoverState, DueItem
from scheduling.visibility import NOBODY, limit_to_own
from treatments.models import User
from treatments.reference.queries import list_sites
from treatments.rules.search_words import SearchWord, read_search_words
from treatments.search import queries as vehicle_search

VIN_LENGTH = 17
# Fewer signs of a cover number begin too many of them.
LEAST_OF_NUMBER = 6


def look_word_up(word: SearchWord, *, by_people: bool) -> set[int] | None:
    """Return the keys of the covers that a word of the search is about, or None where that is too many.

    By vehicle and by an owner then or now, as vehicles are searched, by who holds the cover, and by its number from
    the beginning.

    Args:
        by_people: whether names and telephones of customers are for who asks to search.
    """
    written = word.written.upper()
    keys = Cover.objects.order_by().values_list("pk", flat=True)
    if len(written) == VIN_LENGTH and (whole := keys.filter(vehicle__vin=written)):
        return set(whole)
    found = vehicle_search.look_word_up(word, by_people=by_people)
    if found is None:
        return None
    covers = keys.filter(Q(vehicle__in=found.vehicles) | Q(holder__in=found.owners))
    by_number = keys.filter(number__startswith=written) if len(written) >= LEAST_OF_NUMBER else keys.none()
    return {*covers, *by_number}


def find_by_whole_plate(text: str) -> list[int]:
    """Return the keys of the covers whose vehicle's plate has all that was typed as one part, gaps left out.

    Nothing where these are too many to be of use.
    """
    most = vehicle_search.MOST_LOOKED_UP
    keys = list(
        Cover.objects.filter(vehicle__in=vehicle_search.list_bearing_part(text))
        .order_by()
        .values_list("pk", flat=True)[: most + 1]
    )
    return keys if len(keys) <= most else []


def _keep_those_about(
    found: QuerySet[CoverState], words: Iterable[SearchWord], *, by_people: bool
) -> QuerySet[CoverState]:
    """Return those covers of a list that every word is about, compared one by one as they are read."""
    vehicle = OuterRef("cover__vehicle_id")
    for word in words:
        # Values, not Exists, of which the database would make a list of all that have the word.
        about = {"vehicle_found": Subquery(vehicle_search.list_vehicles_with(word).filter(pk=vehicle).values("pk"))}
        if by_people:
            people = vehicle_search.list_owners_with(word)
            about["owner_found"] = Subquery(people.filter(ownerships__vehicle=vehicle).values("pk")[:1])
            about["holder_found"] = Subquery(people.filter(pk=OuterRef("cover__holder_id")).values("pk"))
        wanted = Q()
        for name in about:
            wanted |= Q(**{f"{name}__isnull": False})
        if len(word.written) >= LEAST_OF_NUMBER:
            wanted |= Q(cover__number__startswith=word.written.upper())
        found = found.alias(**about).filter(wanted)
    return found


# So far a search for words that very many have reads on before the page is shown with what was found.
READ_ON_AT_MOST = 500
# No key is greater.
LAST_KEY = 2**63 - 1
MOST_WORDS = 6
# Counts stop here: "more than 1,000" is as good an answer, and a full count of a million rows is not quick.
COUNT_UP_TO = 1_000


class Order(StrEnum):
    PRESSING = "pressing"
    RISK = "risk"


# So far ahead the due list looks, and whatever asks what is due soon.
DAYS_AHEAD = 60


@dataclass(frozen=True, slots=True)
class DueFilter:
    """What the due list is narrowed to; every field may be left out."""

    text: str = ""
    site: str = ""
    kind: str = ""
    urgency: str = ""
    order: Order = Order.PRESSING
    booked: str = ""


# How a day stands to the dates of the most pressing due item of a cover; the order is that of the list.
URGENCIES: dict[str, str | Promise] = {
    "overdue": gettext_lazy("overdue"),
    "in_grace": gettext_lazy("in grace"),
    "in_window": gettext_lazy("in its window"),
    "coming": gettext_lazy("window not open yet"),
}

# Whether a visit is booked that serves what is due.
BOOKED_OR_NOT: dict[str, str | Promise] = {
    "not_booked": gettext_lazy("not booked yet"),
    "booked": pgettext_lazy("cover", "booked"),
}


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


def find_sort(wanted: DueFilter) -> str:
    """Return the column by which a list is sorted."""
    return "risk_on" if wanted.order is Order.RISK else SORTED_BY[wanted.urgency]


def list_due_covers(user: User, as_of: date, wanted: DueFilter) -> QuerySet[CoverState]:
    """Return the covers for which somebody must come and that a person may see, sorted, whatever the text."""
    found = _narrow(user, as_of, wanted).filter(**{f"{find_sort(wanted)}__isnull": False})
    return found.order_by(find_sort(wanted), "cover_id")


def _narrow(user: User, as_of: date, wanted: DueFilter) -> QuerySet[CoverState]:
    horizon = as_of + timedelta(days=DAYS_AHEAD)
    found = limit_to_own(user, CoverState.objects.filter(due_opens_on__lte=horizon))
    if wanted.site:
        # By its key, which the indexes have.
        found = found.filter(site=next((site.pk for site in list_sites() if site.code == wanted.site), NOBODY))
    if wanted.kind:
        found = found.filter(**{f"{wanted.kind}_opens_on__lte": horizon})
    if wanted.urgency:
        found = found.filter(_filter_urgency(wanted.urgency, as_of))
    if wanted.booked:
        found = found.filter(booked_on__isnull=wanted.booked == "not_booked")
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
    place = _read_place(after) if after else None
    by_people = not user.is_dealership
    words = read_search_words(wanted.text)[:MOST_WORDS]
    common_words = []
    covers: Collection[int] | None = None
    # The longest word is the likeliest to be rare; once one has narrowed the list, the others are only compared.
    for word in sorted(words, key=lambda word: len(word.written), reverse=True):
        looked_up = look_word_up(word, by_people=by_people) if covers is None else None
        if looked_up is None:
            common_words.append(word)
        else:
            covers = looked_up
    if len(words) > 1 and covers is None:
        # Words of which each is common are most often a plate with its gap.
        covers = find_by_whole_plate(wanted.text) or None
        common_words = [] if covers else common_words
    sort = find_sort(wanted)
    found = _go_on(list_due_covers(user, as_of, wanted), sort, place)
    stopped_at = None
    if covers is not None:
        found = found.filter(cover__in=covers)
    elif common_words and (stop := found.values_list(sort, flat=True)[READ_ON_AT_MOST : READ_ON_AT_MOST + 1]):
        found = found.filter(**{f"{sort}__lte": stop[0]})
        stopped_at = f"{stop[0]}_{LAST_KEY}"
    found = _keep_those_about(found, common_words, by_people=by_people)
    if covers is not None:
        # Many covers may be sorted for a page; what is shown is read of those on it alone.
        found = CoverState.objects.filter(pk__in=found.values("pk")[: size + 1]).order_by(sort, "cover_id")
    now = Q(cover__vehicle__ownerships__until_day__isnull=True)
    owned = FilteredRelation("cover__vehicle__ownerships", condition=now)
    rows = found.annotate(owned=owned).values_list(*_COLUMNS)[: size + 1]
    shown = tuple(DueRow(*row) for row in rows)
    if len(shown) <= size:
        return DuePage(shown, stopped_at)
    last = shown[size - 1]
    return DuePage(shown[:size], f"{getattr(last, sort)}_{last.cover_id}")


def _go_on(listed: QuerySet[CoverState], sort: str, place: tuple[date, int] | None) -> QuerySet[CoverState]:
    """Return the list from a place on."""
    if place is None:
        return listed
    day, key = place
    after = Q(**{f"{sort}__gt": day}) | Q(**{sort: day, "cover_id__gt": key})
    return listed.filter(after, **{f"{sort}__gte": day})


def _read_place(text: str) -> tuple[date, int]:
    day, _, key = text.partition("_")
    try:
        place = date.fromisoformat(day), int(key)
    except ValueError as error:
        raise PlaceError(gettext("'%(place)s' is not a place in the list.") % {"place": text}) from error
    if not 0 <= place[1] <= LAST_KEY:
        raise PlaceError(gettext("'%(place)s' is not a place in the list.") % {"place": text})
    return place


def count_by_urgency(user: User, as_of: date) -> dict[str, int]:
    """Return how many covers stand in each urgency, counted up to COUNT_UP_TO + 1."""
    counted = []
    for urgency in URGENCIES:
        found = _narrow(user, as_of, DueFilter(urgency=urgency)).order_by(SORTED_BY[urgency])
        counted.append(CountOf(found.values("pk")[: COUNT_UP_TO + 1]))
    rows = CoverState.objects.order_by().values_list(*counted)[:1]
    # Where there is no row to ask for them, there is nothing to count.
    return dict(zip(URGENCIES, rows[0] if rows else [0] * len(URGENCIES), strict=True))


class CountOf(Subquery):
    """How many rows a query returns, its limit included."""

    template = "(SELECT COUNT(*) FROM (%(subquery)s) AS counted)"
    output_field = IntegerField()


def list_due_items(user: User, as_of: date) -> QuerySet[DueItem]:
    """Return the due items that a person may see, by their last day of grace."""
    return (
        DueItem.objects.filter(cover__in=list_covers_for(user), opens_on__lte=as_of + timedelta(days=DAYS_AHEAD))
        .select_related("cover__vehicle", "cover__site", "cover__holder", "cover__last_state")
        .order_by("grace_until", "target_on", "id")
    )


def find_horizon(today: date) -> date:
    """Return the last day that the list looks ahead to."""
    return today + timedelta(days=DAYS_AHEAD)


def list_near_items(covers: Iterable[int], opens_by: date) -> QuerySet[DueItem]:
    """Return what is due on covers and opens up to a day, the most pressing first."""
    found = DueItem.objects.filter(cover__in=covers, opens_on__lte=opens_by)
    return found.order_by("grace_until", "target_on", "id")
