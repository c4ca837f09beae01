"""Which covers a word of a search in the due list is about: by vehicle, owner, telephone or number of the cover."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import CharField, Q

from scheduling.models import Cover
from treatments.models import Ownership
from treatments.rules.search_words import SearchWord
from treatments.search import queries as vehicle_search
from treatments.shared.among import Among
from treatments.shared.standing_query import Given, GivenKeys, StandingQuery, given_part

VIN_LENGTH = 17
# Fewer signs of a cover number begin too many of them.
LEAST_OF_NUMBER = 6

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


def look_word_up(word: SearchWord, *, by_people: bool) -> set[int] | None:
    """Return the keys of the covers that a word of the search is about, or None where that is too many.

    By vehicle and by an owner then or now, as vehicles are searched, by who holds the cover, and by its number from
    the beginning.

    Args:
        by_people: whether names and telephones of customers are for who asks to search.
    """
    written = word.written.upper()
    if len(written) == VIN_LENGTH and (whole := OF_VIN.ask(written)):
        return {key for (key,) in whole}
    found = vehicle_search.look_word_up(word, by_people=by_people)
    if found is None:
        return None
    covers = COVERS.ask(list(found.vehicles), found.owners) if found.vehicles or found.owners else []
    by_number = OF_NUMBER.ask(written) if len(written) >= LEAST_OF_NUMBER else []
    return {key for (key,) in (*covers, *by_number)}


OWNERS = StandingQuery(
    lambda: (
        Ownership.objects.filter(Among("vehicle_id", GivenKeys(0)))
        .order_by()
        .values_list("vehicle_id", "customer__name", "customer__contact", "customer__phone")
    )
)
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
    for vehicle, *owner in OWNERS.ask(list(people)) if people and by_people else []:
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
