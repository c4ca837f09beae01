"""Looking vehicles up by what somebody typed: part of a VIN, plate, description, an owner's name or contact.

The one place that knows what a word of a search is compared with in the database; the rooms above ask it too.
"""

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, F, Func, OuterRef, Q, QuerySet, Subquery, TextField

from treatments.models import Customer, Ownership, Vehicle
from treatments.rules.search_words import SEPARATORS, SearchWord, read_search_words, take_separators_out
from treatments.shared.among import Among
from treatments.shared.standing_query import Given, GivenKeys, StandingQuery, StandingRows, given_part

# Beyond that many matches a word says too little to be looked up first.
MOST_LOOKED_UP = 2_000
MOST_OF_FEW_LETTERS = 200
# So many vehicles are read through first for words that very many have; they nearly always fill a page.
READ_THROUGH_FIRST = 500


class Bare(Func):
    """Texts, one to a line, without what stands between the signs of a plate or a telephone number.

    An index of migration 0010 holds what this writes for PostgreSQL, letter by letter; a test compares.
    """

    output_field = TextField()
    arg_joiner = " || '\n' || "

    def as_postgresql(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        return self.as_sql(compiler, connection, template=f"translate(%(expressions)s, '{SEPARATORS}', '')", **extra)

    def as_sqlite(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        template = "%(expressions)s"
        for sign in SEPARATORS:
            template = f"replace({template}, '{sign}', '')"
        return self.as_sql(compiler, connection, template=template, **extra)


BARE_PLATE = {"bare_plate": Bare(F("plate"))}
BARE_NUMBERS = {"bare_numbers": Bare(F("contact"), F("phone"))}


@dataclass(frozen=True, slots=True)
class _Form:
    """What decides how the conditions for a word are written, whatever the word is."""

    is_long: bool
    parts: int
    has_number: bool

    @property
    def told(self) -> int:
        """How many texts the conditions are told: the word, its parts, its number."""
        return 1 + self.parts + self.has_number


def _find_form(word: SearchWord) -> _Form:
    return _Form(word.is_long, len(word.parts), bool(word.number))


def _list_told(word: SearchWord) -> list[str]:
    return [word.written, *word.parts, *([word.number] if word.number else [])]


def _match_vehicle(form: _Form, texts: Sequence[str]) -> Q:
    """Return the condition under which a vehicle, with BARE_PLATE, has a word; see ``SearchWord``."""
    word, parts = texts[0], texts[1 : 1 + form.parts]
    if not form.is_long:
        wanted = Q(plate__istartswith=word)
    else:
        wanted = Q(vin__icontains=word) | Q(description__icontains=word)
        # A part of the plate as it is written is a part of the bare one too.
        wanted |= Q() if parts else Q(plate__icontains=word)
    for part in parts:
        wanted |= Q(bare_plate__icontains=part)
    return wanted


def _match_owner(form: _Form, texts: Sequence[str]) -> Q:
    """Return the condition under which a customer, with BARE_NUMBERS, has a word; see ``SearchWord``."""
    word = texts[0]
    wanted = Q(name__icontains=word) | Q(contact__icontains=word) if form.is_long else Q(name__istartswith=word)
    return wanted | Q(bare_numbers__contains=texts[-1]) if form.has_number else wanted


def list_with_plate_or_vin(found: QuerySet[Vehicle], text: str) -> QuerySet[Vehicle]:
    """Return those vehicles whose VIN or plate has a text as a part, the plate with its gaps or without."""
    wanted = Q(vin__icontains=text) | Q(plate__icontains=text)
    if bare := take_separators_out(text):
        wanted |= Q(bare_plate__icontains=bare)
    return found.alias(**BARE_PLATE).filter(wanted)


@dataclass(frozen=True, slots=True)
class WordFound:
    """What a word is about: keys of vehicles, by themselves or by an owner then or now, and keys of customers."""

    vehicles: set[int]
    owners: list[int]


OWNED_BY = StandingQuery(
    lambda: Ownership.objects.filter(Among("customer_id", GivenKeys(0))).order_by().values_list("vehicle_id")
)


@functools.lru_cache(maxsize=64)
def _find_keys_of(form: _Form, most: int) -> tuple[StandingQuery, StandingQuery]:
    """Return the queries for the vehicles and the customers that have a word, some more than are of use."""
    texts = [given_part(place) for place in range(form.told)]

    def list_vehicles() -> QuerySet[Any, Any]:
        found = Vehicle.objects.alias(**BARE_PLATE).filter(_match_vehicle(form, texts))
        return found.order_by().values_list("pk")[: most + 1]

    def list_owners() -> QuerySet[Any, Any]:
        found = Customer.objects.alias(**BARE_NUMBERS).filter(_match_owner(form, texts))
        return found.order_by().values_list("pk")[: most + 1]

    return StandingQuery(list_vehicles, plans_anew=True), StandingQuery(list_owners, plans_anew=True)


def look_word_up(word: SearchWord, *, is_first_page: bool = False, by_people: bool = True) -> WordFound | None:
    """Return what a word is about, or None where that is too many to be of use.

    Vehicles and owners are looked up apart, each by their own indexes.

    Args:
        is_first_page: whether a page is all that is wanted, which of a common word of two letters is soon read.
        by_people: whether owners are looked up too.
    """
    most = min(MOST_LOOKED_UP, MOST_OF_FEW_LETTERS) if is_first_page and not word.is_long else MOST_LOOKED_UP
    of_vehicles, of_owners = _find_keys_of(_find_form(word), max(most, 0))
    told = _list_told(word)
    vehicles = of_vehicles.ask(*told)
    if len(vehicles) > most:
        return None
    owners = [key for (key,) in of_owners.ask(*told)] if by_people else []
    if len(owners) > most:
        return None
    owned = OWNED_BY.ask(owners) if owners else []
    return WordFound({key for (key,) in (*vehicles, *owned)}, owners)


def search_vehicles(text: str, among: QuerySet[Vehicle] | None = None) -> QuerySet[Vehicle]:
    """Return vehicles which, or an owner of which then or now, have every word; see ``SearchWord``.

    Of a word that very many have, the vehicles are compared one by one as they are read, which soon fills a page.

    Args:
        text: the words.
        among: vehicles to which the search is narrowed.
    """
    found = Vehicle.objects.all() if among is None else among
    for word in read_search_words(text):
        looked_up = look_word_up(word)
        if looked_up is None:
            form, told = _find_form(word), _list_told(word)
            theirs = Customer.objects.alias(**BARE_NUMBERS).filter(_match_owner(form, told))
            owned = Ownership.objects.filter(Exists(theirs.filter(pk=OuterRef("customer_id"))), vehicle=OuterRef("pk"))
            found = found.alias(**BARE_PLATE).filter(_match_vehicle(form, told) | Exists(owned))
        else:
            found = found.filter(Among("pk", looked_up.vehicles))
    return found


def list_found_vehicles(
    text: str, *, among: QuerySet[Vehicle] | None = None, after: str = "", size: int
) -> list[Vehicle]:
    """Return the first vehicles that ``search_vehicles`` finds, by VIN.

    Args:
        text: the words.
        among: vehicles to which the search is narrowed; all where left out.
        after: the VIN after which the list goes on.
        size: how many are wanted at most.
    """
    # The longest word is the likeliest to be rare; once one has narrowed the list, the others are only compared.
    words = sorted(read_search_words(text), key=lambda word: len(word.written), reverse=True)
    for word in words:
        # Of one letter there are always too many.
        looked_up = look_word_up(word, is_first_page=True) if len(word.written) > 1 else None
        if looked_up is not None:
            keys, others = looked_up.vehicles, [other for other in words if other != word]
            return _read_on(among, after, others, size, keys=keys) if keys else []
    if not words:
        return _read_on(among, after, words, size)
    # The whole query gathers everybody who has the word before it reads the first vehicle.
    shown = _read_on(among, after, words, size, first=READ_THROUGH_FIRST)
    if len(shown) == size:
        return shown
    return list(search_vehicles(text, among).filter(vin__gt=after).order_by("vin")[:size])


def _read_on(
    among: QuerySet[Vehicle] | None,
    after: str,
    words: list[SearchWord],
    size: int,
    *,
    keys: set[int] | None = None,
    first: int | None = None,
) -> list[Vehicle]:
    """Return vehicles after a VIN that have every word, each compared by itself, of some keys or of the first."""
    forms = tuple(_find_form(word) for word in words)
    told = [text for word in words for text in _list_told(word)]
    if among is None:
        query = _compare_all(forms, size, has_keys=keys is not None, first=first)
        return query.ask(after, list(keys or ()), *told)
    found = among if keys is None else among.filter(Among("pk", keys))
    return list(_compare(found, after, forms, told, first)[:size])


@functools.lru_cache(maxsize=64)
def _compare_all(forms: tuple[_Form, ...], size: int, *, has_keys: bool, first: int | None) -> StandingRows[Vehicle]:
    """Return the query of ``_read_on`` among all vehicles for words of these forms."""
    texts = [given_part(place) for place in range(2, 2 + sum(form.told for form in forms))]

    def build() -> QuerySet[Vehicle]:
        found = Vehicle.objects.filter(Among("pk", GivenKeys(1))) if has_keys else Vehicle.objects.all()
        return _compare(found, Given(0, TextField()), forms, texts, first)[:size]

    return StandingRows(build)


def _compare(
    found: QuerySet[Vehicle], after: str | Given, forms: Sequence[_Form], texts: Sequence[str], first: int | None
) -> QuerySet[Vehicle]:
    """Return those of a few vehicles, or of the first after a VIN, that have every word or whose owner has it."""
    found = found.filter(vin__gt=after).order_by("vin")
    if first is not None:
        following = Vehicle.objects.filter(vin__gt=after).order_by("vin").values("vin")
        found = found.filter(vin__lt=Subquery(following[first : first + 1]))
    start = 0
    for form in forms:
        told = texts[start : start + form.told]
        start += form.told
        theirs = Customer.objects.alias(**BARE_NUMBERS).filter(_match_owner(form, told))
        theirs = theirs.filter(ownerships__vehicle=OuterRef("pk")).order_by()
        # A value, not Exists, of which the database would make a list of all vehicles whose owners have the word.
        found = found.alias(**BARE_PLATE, owner_found=Subquery(theirs.values("pk")[:1]))
        found = found.filter(_match_vehicle(form, told) | Q(owner_found__isnull=False))
    return found
