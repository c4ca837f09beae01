"""Joins what several covers of one person call for into one message, and says which of these go out today.

Three limits hold messages back: so many a week for one person, the portion of a day for what was missed before the
owner's release, and a day with far more messages than usual. What is held back is found again by the next run.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Generic, Protocol, TypeVar

from notifications.enums import MessageKind

# The most pressing first; a message of several covers is of the kind that comes first here.
BY_PRESSURE = (
    MessageKind.COVER_LAPSED,
    MessageKind.VISIT_MISSED,
    MessageKind.IN_GRACE,
    MessageKind.TO_COMPLETE,
    MessageKind.FILM_OVERDUE,
    MessageKind.VISIT_DUE,
    MessageKind.FILM_DUE,
    MessageKind.COVER_IN_FORCE,
)
# A day with more messages than both stops and asks.
FEW_IN_ANY_CASE, TIMES_THE_USUAL = 50, 5


class Joinable(Protocol):
    """What one cover calls for.

    Attributes:
        first_day: the day of the oldest step in it; None where nothing of it is to be told yet, only soon.
    """

    @property
    def kind(self) -> MessageKind: ...

    @property
    def first_day(self) -> date | None: ...


T = TypeVar("T", bound=Joinable)


@dataclass(frozen=True, slots=True)
class Joined(Generic[T]):
    """One message: its parts, the most pressing first, and whether all of it fell due before the release."""

    parts: tuple[T, ...]
    is_backlog: bool = False

    @property
    def kind(self) -> MessageKind:
        return self.parts[0].kind


def join(parts: Sequence[T], released_on: date | None) -> Joined[T] | None:
    """Return the message of one person, None where nothing is to be told yet.

    Args:
        parts: what each cover of the person calls for.
        released_on: the day of the owner's release, None where a person chose the covers.
    """
    days = [part.first_day for part in parts if part.first_day is not None]
    if not days:
        return None
    ordered = sorted(parts, key=lambda part: (part.first_day is None, BY_PRESSURE.index(part.kind)))
    return Joined(tuple(ordered), released_on is not None and all(day <= released_on for day in days))


@dataclass(frozen=True, slots=True)
class Portion:
    """What an owner released.

    Attributes:
        most_of_backlog: how many messages of what was missed before may still go today.
        most_in_all: how many others may still go today before the run stops and asks.
    """

    most_of_backlog: int
    most_in_all: int


def find_most_in_all(usual_per_day: int) -> int:
    """Return how many messages a day may have, what was missed before the release left out."""
    return max(FEW_IN_ANY_CASE, TIMES_THE_USUAL * usual_per_day)


@dataclass(frozen=True, slots=True)
class Chosen(Generic[T]):
    """Which messages go out today.

    Attributes:
        waiting: those that the portion leaves for another day.
        is_wave: whether there are so many that none goes out before somebody has looked.
    """

    going: tuple[Joined[T], ...] = ()
    waiting: tuple[Joined[T], ...] = ()
    is_wave: bool = False


def choose_portion(joined: Sequence[Joined[T]], portion: Portion) -> Chosen[T]:
    """Return which messages go out today under what the owner released."""
    current = [one for one in joined if not one.is_backlog]
    if len(current) > portion.most_in_all:
        return Chosen(waiting=tuple(joined), is_wave=True)
    backlog = sorted((one for one in joined if one.is_backlog), key=lambda one: BY_PRESSURE.index(one.kind))
    most = max(0, portion.most_of_backlog)
    return Chosen((*current, *backlog[:most]), tuple(backlog[most:]))
