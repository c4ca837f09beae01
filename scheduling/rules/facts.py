"""What was agreed about one cover and what a person changed since: the part of a cover that no treatment tells."""

from dataclasses import dataclass
from datetime import date

from treatments.rules.words import CorrosivityCategory


@dataclass(frozen=True, slots=True)
class Waiver:
    """A due item that a person let off, with the day and the reason."""

    due_key: str
    day: date
    reason: str
    record: str


@dataclass(frozen=True, slots=True)
class CoverFacts:
    """The cover as sold and as changed.

    Attributes:
        corrosivity: ISO 9223 category of the site, for days on which no owner's place is on record.
        places: from which day on an owner used the vehicle in which place, None where that is not on record.
        transfers_notified_on: the days on which the shop was told of a new owner.
        ended_on: the first day without cover, where a person ended it.
    """

    number: str
    sold_on: date
    registered_on: date
    corrosivity: CorrosivityCategory = CorrosivityCategory.C3
    places: tuple[tuple[date, CorrosivityCategory | None], ...] = ()
    waivers: tuple[Waiver, ...] = ()
    transfers_notified_on: tuple[date, ...] = ()
    ended_on: date | None = None
    end_reason: str = ""

    def find_place_of_use(self, day: date) -> CorrosivityCategory:
        """Return the category of the place of use on ``day``: the owner's of that day, else the site's."""
        places = [place for from_day, place in self.places if from_day <= day]
        return (places[-1] if places else None) or self.corrosivity

    def find_waiver(self, due_key: str, as_of: date) -> Waiver | None:
        """Return the earliest waiver of a due item that was given by ``as_of``, or None."""
        given = [w for w in self.waivers if w.due_key == due_key and w.day <= as_of]
        return min(given, key=lambda waiver: waiver.day, default=None)
