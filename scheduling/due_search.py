"""Which covers a word of a search in the due list is about: by vehicle, owner, telephone or number of the cover."""

import functools
import re
from typing import Any

from django.db.models import CharField, Q, QuerySet

from scheduling.models import Cover
from treatments.among import Among
from treatments.models import Customer, Ownership, Vehicle
from treatments.queries import MOST_LOOKED_UP
from treatments.standing_query import Given, GivenKeys, StandingQuery, given_part

# A trigram index can't help with fewer letters.
LEAST_LETTERS = 3
VIN_LENGTH = 17
# Fewer signs of a cover number begin too many of them.
LEAST_OF_NUMBER = 6
PHONE = re.compile(r"[+\d][\d\s().-]{5,}")
PLATE = re.compile(r"([A-Za-z]+)(\d+)|(\d+)([A-Za-z]+)")


def split_words(text: str) -> list[str]:
    """Return what is searched for: a telephone number as one, else word by word."""
    text = text.strip()
    return [text] if PHONE.fullmatch(text) else text.split()


def _split_plate(word: str) -> list[str]:
    """Return the letters and the digits of what may be a plate, apart; nothing where it is not letters and digits."""
    found = PLATE.fullmatch(word)
    return [part for part in found.groups() if part] if found else []


@functools.cache
def _write_vehicles(*, is_long: bool, is_plate: bool) -> StandingQuery:
    """Return the query for vehicles; it is told the word, and a plate with a space and with a hyphen in its gap."""
    word, spaced, hyphenated = given_part(0), given_part(1), given_part(2)
    wanted = Q(plate__istartswith=word)
    if is_long:
        wanted = Q(vin__icontains=word) | Q(plate__icontains=word) | Q(description__icontains=word)
    if is_long and is_plate:
        wanted |= Q(plate__icontains=spaced) | Q(plate__icontains=hyphenated)
    return _list_keys(Vehicle.objects.filter(wanted))


@functools.cache
def _write_owners(*, is_long: bool) -> StandingQuery:
    """Return the query for owners; it is told the word."""
    word = given_part(0)
    wanted = Q(name__icontains=word) | Q(contact__icontains=word) if is_long else Q(name__istartswith=word)
    return _list_keys(Customer.objects.filter(wanted))


def _list_keys(found: "QuerySet[Any]") -> StandingQuery:
    return StandingQuery(lambda: found.order_by().values_list("pk")[: MOST_LOOKED_UP + 1], plans_anew=True)


OWNED = StandingQuery(
    lambda: Ownership.objects.filter(Among("customer_id", GivenKeys(0))).order_by().values_list("vehicle_id")
)
COVERS = StandingQuery(
    lambda: (
        Cover.objects.filter(Q(Among("vehicle_id", GivenKeys(0))) | Q(Among("holder_id", GivenKeys(1))))
        .order_by()
        .values_list("pk")
    )
)
OF_VIN = StandingQuery(lambda: Cover.objects.filter(vehicle__vin=Given(0, CharField())).order_by().values_list("pk"))
OF_NUMBER = StandingQuery(
    lambda: Cover.objects.filter(number__startswith=given_part(0)).order_by().values_list("pk"), plans_anew=True
)


def look_word_up(word: str) -> set[int] | None:
    """Return the keys of the covers that a word of the search is about, or None where that is too many.

    Any part of VIN, plate, description, owner's name or contact; of one or two letters, which any vehicle holds
    somewhere, only the beginning of plate or name; and a cover number from its beginning.
    """
    if len(word) == VIN_LENGTH and (whole := OF_VIN.ask(word.upper())):
        return {key for (key,) in whole}
    is_long, parts = len(word) >= LEAST_LETTERS, _split_plate(word)
    vehicles = _write_vehicles(is_long=is_long, is_plate=bool(parts)).ask(word, " ".join(parts), "-".join(parts))
    if len(vehicles) > MOST_LOOKED_UP:
        return None
    owners = [key for (key,) in _write_owners(is_long=is_long).ask(word)]
    if len(owners) > MOST_LOOKED_UP:
        return None
    owned = OWNED.ask(owners) if owners else []
    keys = {key for (key,) in (*vehicles, *owned)}
    covers = COVERS.ask(list(keys), owners) if keys or owners else []
    by_number = OF_NUMBER.ask(word.upper()) if len(word) >= LEAST_OF_NUMBER else []
    return {key for (key,) in (*covers, *by_number)}


def is_about(word: str, row: tuple[Any, ...]) -> bool:
    """Say whether a word is about a row of a walk along the list; the same rule as looking it up."""
    vin, plate, description, name, contact, number = (text.casefold() if text else "" for text in row)
    word = word.casefold()
    if len(word) >= LEAST_OF_NUMBER and number.startswith(word):
        return True
    if len(word) < LEAST_LETTERS:
        return plate.startswith(word) or name.startswith(word)
    return any(word in text for text in (vin, plate, plate.replace(" ", ""), description, name, contact))
