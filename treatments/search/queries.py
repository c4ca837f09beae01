"""Looking vehicles up by what somebody typed: part of a VIN, plate, description, an owner's name or contact.

The one place that knows what a word of a search is compared with in the database; the apps above ask it too.
"""

from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, F, Func, OuterRef, Q, QuerySet, Subquery, TextField

from treatments.models import Customer, Ownership, Vehicle
from treatments.rules.search_words import LEAST_LETTERS, SEPARATORS, SearchWord, read_search_words, take_separators_out

# Beyond that many matches a word says too little to be looked up first.
MOST_LOOKED_UP = 1_500
MOST_OF_FEW_LETTERS = 200
# A name that more have is found by reading customers one after another, since the database expects many.
MOST_OWNERS = 500
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


def _match_vehicle(word: SearchWord) -> Q:
    """Return the condition under which a vehicle, with BARE_PLATE, has a word; see ``SearchWord``."""
    text = word.written
    if not word.is_long:
        wanted = Q(plate__istartswith=text)
    else:
        wanted = Q(vin__icontains=text) | Q(description__icontains=text)
        # A part of the plate as it is written is a part of the bare one too.
        wanted |= Q() if word.parts else Q(plate__icontains=text)
    for part in word.parts:
        wanted |= Q(bare_plate__icontains=part)
    return wanted


def _match_owner(word: SearchWord) -> Q:
    """Return the condition under which a customer, with BARE_NUMBERS, has a word; see ``SearchWord``."""
    text = word.written
    wanted = Q(name__icontains=text) | Q(contact__icontains=text) if word.is_long else Q(name__istartswith=text)
    return wanted | Q(bare_numbers__contains=word.number) if word.number else wanted


def list_vehicles_with(word: SearchWord) -> QuerySet[Vehicle]:
    """Return the vehicles that a word is about by themselves."""
    return Vehicle.objects.alias(**BARE_PLATE).filter(_match_vehicle(word)).order_by()


def list_owners_with(word: SearchWord) -> QuerySet[Customer]:
    """Return the customers whom a word is about."""
    return Customer.objects.alias(**BARE_NUMBERS).filter(_match_owner(word)).order_by()


def list_bearing_part(text: str) -> QuerySet[Vehicle]:
    """Return the vehicles whose plate has all of a text as one part, both without their gaps."""
    bare = take_separators_out("".join(text.split()))
    if len(bare) < LEAST_LETTERS:
        return Vehicle.objects.none()
    return Vehicle.objects.alias(**BARE_PLATE).filter(Q(bare_plate__icontains=bare)).order_by()


def list_with_plate_or_vin(found: QuerySet[Vehicle], text: str) -> QuerySet[Vehicle]:
    """Return those vehicles whose VIN or plate has a text as a part, the plate with its gaps or without."""
    wanted = Q(vin__icontains=text) | Q(plate__icontains=text)
    if bare := take_separators_out(text):
        wanted |= Q(bare_plate__icontains=bare)
    return found.alias(**BARE_PLATE).filter(wanted)


def list_bearing_plate(plate: str) -> QuerySet[Vehicle]:
    """Return the vehicles that bear a plate, however its gaps and letters are written."""
    bare = take_separators_out("".join(plate.split()))
    if not bare:
        return Vehicle.objects.none()
    # An index serves the first condition, the second leaves out longer plates.
    return Vehicle.objects.alias(**BARE_PLATE).filter(Q(bare_plate__icontains=bare) & Q(bare_plate__iexact=bare))


@dataclass(frozen=True, slots=True)
class WordFound:
    """What a word is about: keys of vehicles, by themselves or by an owner then or now, and keys of customers."""

    vehicles: set[int]
    owners: list[int]


def look_word_up(word: SearchWord, *, is_first_page: bool = False, by_people: bool = True) -> WordFound | None:
    """Return what a word is about, or None where that is too many to be of use.

    Vehicles and owners are looked up apart, each by their own indexes.

    Args:
        is_first_page: whether a page is all that is wanted, which of a common word of two letters is soon read.
        by_people: whether owners are looked up too.
    """
    most = min(MOST_LOOKED_UP, MOST_OF_FEW_LETTERS) if is_first_page and not word.is_long else MOST_LOOKED_UP
    vehicles = list_vehicles_with(word).values_list("pk", flat=True)[: most + 1]
    if len(vehicles) > most:
        return None
    most = min(most, MOST_OWNERS)
    owners = list(list_owners_with(word).values_list("pk", flat=True)[: most + 1]) if by_people else []
    if len(owners) > most:
        return None
    owned = Ownership.objects.filter(customer__in=owners).order_by().values_list("vehicle_id", flat=True)
    return WordFound({*vehicles, *owned}, owners)


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
            theirs = list_owners_with(word)
            owned = Ownership.objects.filter(Exists(theirs.filter(pk=OuterRef("customer_id"))), vehicle=OuterRef("pk"))
            found = found.alias(**BARE_PLATE).filter(_match_vehicle(word) | Exists(owned))
        else:
            found = found.filter(pk__in=looked_up.vehicles)
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
    found = Vehicle.objects.all() if among is None else among
    if keys is not None:
        found = found.filter(pk__in=keys)
    found = found.filter(vin__gt=after).order_by("vin")
    if first is not None:
        following = Vehicle.objects.filter(vin__gt=after).order_by("vin").values("vin")
        found = found.filter(vin__lt=Subquery(following[first : first + 1]))
    for word in words:
        theirs = list_owners_with(word).filter(ownerships__vehicle=OuterRef("pk"))
        # A value, not Exists, of which the database would make a list of all vehicles whose owners have the word.
        found = found.alias(**BARE_PLATE, owner_found=Subquery(theirs.values("pk")[:1]))
        found = found.filter(_match_vehicle(word) | Q(owner_found__isnull=False))
    return list(found[:size])
