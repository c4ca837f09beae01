"""Which covers a word of a search in the due list is about: by vehicle, owner, telephone or number of the cover."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import Q

from scheduling.models import Cover
from treatments.models import Ownership
from treatments.rules.search_words import SearchWord
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


# What a walk along the list reads of each cover to compare it.
SEARCHED = (
    "cover__number", "cover__vehicle_id", "cover__vehicle__vin", "cover__vehicle__plate",
    "cover__vehicle__description", "cover__holder__name", "cover__holder__contact", "cover__holder__phone",
)  # fmt: skip


def find_those_about(words: Sequence[SearchWord], rows: Iterable[Sequence[Any]], *, by_people: bool) -> list[bool]:
    """Say of each row of a walk along the list whether every word is about its cover; as looking the words up does.

    Args:
        words: the words.
        rows: what SEARCHED names.
        by_people: as for ``look_word_up``.
    """
    listed = list(rows)
    people: dict[int, list[tuple[str, str, str]]] = {vehicle: [] for _number, vehicle, *_rest in listed}
    owned = Ownership.objects.filter(vehicle__in=people if by_people else ()).order_by()
    for vehicle, *owner in owned.values_list("vehicle_id", "customer__name", "customer__contact", "customer__phone"):
        people[vehicle].append((owner[0], owner[1], owner[2]))
    found = []
    for number, vehicle, vin, plate, description, *holder in listed:
        theirs = [*people[vehicle], *([(holder[0], holder[1], holder[2])] if holder[0] and by_people else [])]
        found.append(
            all(
                word.is_about_vehicle(vin, plate, description)
                or any(word.is_about_owner(*person) for person in theirs)
                or (len(word.written) >= LEAST_OF_NUMBER and number.startswith(word.written.upper()))
                for word in words
            )
        )
    return found
