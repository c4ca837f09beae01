"""Which covers a word of a search in the due list is about: by vehicle, owner, telephone or number of the cover."""

import re
from typing import Any

from django.db.models import Q

from scheduling.models import Cover
from treatments.among import Among
from treatments.models import Customer, Ownership, Vehicle
from treatments.queries import look_keys_up

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


def _match_plate(word: str) -> Q:
    """Return the condition on a plate, with the gap that plates have between letters and digits or without it."""
    found = PLATE.fullmatch(word)
    parts = [part for part in found.groups() if part] if found else []
    wanted = Q(plate__icontains=word)
    for gap in (" ", "-") if parts else ():
        wanted |= Q(plate__icontains=gap.join(parts))
    return wanted


def look_word_up(word: str) -> set[int] | None:
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


def is_about(word: str, row: tuple[Any, ...]) -> bool:
    """Say whether a word is about a row of a walk along the list; the same rule as looking it up."""
    vin, plate, description, name, contact, number = (text.casefold() if text else "" for text in row)
    word = word.casefold()
    if len(word) >= LEAST_OF_NUMBER and number.startswith(word):
        return True
    if len(word) < LEAST_LETTERS:
        return plate.startswith(word) or name.startswith(word)
    return any(word in text for text in (vin, plate, plate.replace(" ", ""), description, name, contact))
