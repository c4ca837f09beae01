"""What was agreed about one cover and what a person changed since: the part of a cover that no treatment tells."""

from dataclasses import dataclass
from datetime import date

from treatments.enums import CorrosivityCategory
from treatments.records.rules.history import PlaceRecord


@dataclass(frozen=True, slots=True)
class Waiver:
    """A due item that a person let off, with the day and the reason.

    Attributes:
        due_key: names the duty by its raw day as that was on ``day``, e.g. ``reinspection:2026-03-14`` or
            ``touch_up:cavity_wax:2026-03-14:2028-03-14``.
    """

    due_key: str
    day: date
    reason: str
    record: str

    @property
    def raw_day(self) -> date:
        """The raw day that the duty had when it was let off."""
        return date.fromisoformat(self.due_key.rpartition(":")[2])


@dataclass(frozen=True, slots=True)
class CoverFacts:
    """The cover as sold and as changed.

    Attributes:
        corrosivity: ISO 9223 category of the site, for days on which no place of use is known.
        places: where the vehicle is used from which day on, as written down, the first one first.
        transfers_notified_on: the days on which the shop was told of a new owner.
        ended_on: the first day without cover, where a person ended it.
    """

    number: str
    sold_on: date
    registered_on: date
    corrosivity: CorrosivityCategory = CorrosivityCategory.C3
    places: tuple[PlaceRecord, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    transfers_notified_on: tuple[date, ...] = ()
    ended_on: date | None = None
    end_reason: str = ""

    def find_place_of_use(self, day: date) -> CorrosivityCategory:
        """Return the category of the place of use on ``day``; the site's where none is known."""
        counting = [place for place in self.places if place.counts_from <= day]
        # Of those that begin on one day the one written down last, which corrects the others.
        latest = max(enumerate(counting), key=lambda place: (place[1].from_day, place[0]), default=None)
        return (latest[1].corrosivity if latest else None) or self.corrosivity

    def list_waivers(self, kind: str, as_of: date) -> list[Waiver]:
        """Return the waivers of one kind of duty that were given by ``as_of``, the first one given first."""
        given = [waiver for waiver in self.waivers if waiver.due_key.startswith(f"{kind}:") and waiver.day <= as_of]
        return sorted(given, key=lambda waiver: waiver.day)
