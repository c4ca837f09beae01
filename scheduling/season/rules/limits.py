"""How many quarters of an hour sets of visits can have on a day, whoever goes where: the limits that a flow can hold.

Visits that fit only in some bays can't have more than those bays are free, visits that need one of some skills no more
than the people who have one of them work. Limits that overlap without one lying in the other can't all be held by a
flow; some of them are left out then, which makes a bound lower but never wrong.
"""

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from scheduling.season.rules.room import Room
from scheduling.season.rules.season import SeasonVisit

# The bays in which a visit fits, and its skill.
Kind = tuple[tuple[int, ...], str]


@dataclass(frozen=True, slots=True)
class Limit:
    """At most so many quarters on each day for all visits of some kinds together.

    Attributes:
        within: the number of the next wider limit; None for the one that holds all kinds.
    """

    kinds: frozenset[Kind]
    quarters: tuple[int, ...]
    within: int | None


def tell_kind(room: Room, visit: SeasonVisit) -> Kind:
    return tuple(room.list_bays(visit)), visit.skill.value


def find_limits(room: Room, visits: Iterable[SeasonVisit], days: Sequence[date]) -> list[Limit]:
    """Return limits for the kinds of some visits, the widest first; each lies in a wider one or apart from it."""
    skills = {visit.skill.value: visit.skill for visit in visits}
    kinds = sorted({tell_kind(room, visit) for visit in visits})
    found: dict[frozenset[Kind], tuple[int, ...]] = {}

    def add(members: Iterable[Kind], quarters: Iterable[int]) -> None:
        theirs = frozenset(members)
        if theirs:
            found[theirs] = tuple(map(min, found[theirs], quarters)) if theirs in found else tuple(quarters)

    lists = {frozenset(bays) for bays, _ in kinds}
    everywhere = frozenset().union(*lists)
    for bays in {everywhere, *lists, *(one | other for one, other in itertools.combinations(lists, 2))}:
        add(
            (kind for kind in kinds if bays.issuperset(kind[0])),
            (sum(room.count_free(bay, day) for bay in sorted(bays)) for day in days),
        )
    for some in {frozenset(skills), *(frozenset({skill}) for skill in skills)}:
        able = frozenset(skills[skill] for skill in some)
        add((kind for kind in kinds if kind[1] in some), (room.count_free_people(day, able) for day in days))
    order = sorted(found, key=lambda members: (-len(members), sorted(members)))
    kept: list[frozenset[Kind]] = []
    limits: list[Limit] = []
    for members in order:
        if all(members <= wider or not members & wider for wider in kept):
            # The wider ones come first, so the last that holds it is the next wider one.
            within = max((number for number, wider in enumerate(kept) if members <= wider), default=None)
            kept.append(members)
            limits.append(Limit(members, found[members], within))
    return limits
