"""What a season is planned from and what a plan is: visits to place, bays with their free minutes, days proposed."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from scheduling.rules.booking_words import BayKind


@dataclass(frozen=True, slots=True)
class SeasonVisit:
    """One vehicle's visit, which serves all that is due for it.

    Attributes:
        minutes: how long it takes a bay and a person.
        height_mm: of the vehicle, with ``mass_kg``; None where not on record.
        opens_on: no day before it counts.
        lapses_after: the last day of grace after which the cover stops, for good or until the visit; None where
            nothing stops, or has stopped already.
        risk_per_week: how much a week of waiting matters, a rank of the place of use; 0 or more.
        weekdays: ISO numbers of the days on which the customer would rather come; empty: any.
    """

    key: str
    site: int
    minutes: int
    bay_kind: BayKind
    opens_on: date
    last_on: date
    lapses_after: date | None = None
    risk_per_week: int = 1
    weekdays: frozenset[int] = frozenset()
    height_mm: int | None = None
    mass_kg: int | None = None


@dataclass(frozen=True, slots=True)
class SeasonBay:
    """A bay and its free minutes on each day of the season; what is booked is not free."""

    key: int
    name: str
    kind: BayKind
    minutes: Mapping[date, int]
    most_height_mm: int | None = None
    most_mass_kg: int | None = None

    def fits(self, visit: SeasonVisit) -> bool:
        """Whether the vehicle can be worked on here, as far as sizes and limits are known."""
        if visit.bay_kind is BayKind.LIFT and self.kind is not BayKind.LIFT:
            return False
        too_high = self.most_height_mm is not None and (visit.height_mm or 0) > self.most_height_mm
        too_heavy = self.most_mass_kg is not None and (visit.mass_kg or 0) > self.most_mass_kg
        return not too_high and not too_heavy


@dataclass(frozen=True, slots=True)
class SeasonSite:
    """A site, its bays, and the free minutes of all its people together on each day."""

    key: int
    bays: tuple[SeasonBay, ...]
    people_minutes: Mapping[date, int]

    def list_days(self) -> list[date]:
        return sorted({day for bay in self.bays for day, minutes in bay.minutes.items() if minutes > 0})


@dataclass(frozen=True, slots=True)
class Season:
    """All that is to be planned from ``first`` to ``last``, both included. Sites don't share anything."""

    first: date
    last: date
    sites: tuple[SeasonSite, ...]
    visits: tuple[SeasonVisit, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """A day and a bay."""

    day: date
    bay: int


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a plan proposes for one visit; ``place`` is None where no day of the season has room for it."""

    key: str
    place: Place | None
    lapses: bool
    why: str


@dataclass(frozen=True, slots=True)
class Totals:
    """What a plan comes to; less is better, and an earlier figure outweighs all later ones.

    Attributes:
        lapses: covers that stop because their visit is too late or has no place.
        risk: weeks waited since the windows opened, each weighed by its place of use.
        unmet: wishes for a weekday that are not met.
        load: the sum over sites and days of the square of the quarters of an hour that are used.
        unplaced: visits without a day; counted, not weighed by itself.
    """

    lapses: int
    risk: int
    unmet: int
    load: int
    unplaced: int = 0

    @property
    def order(self) -> tuple[int, int, int, int]:
        return self.lapses, self.risk, self.unmet, self.load


@dataclass(frozen=True, slots=True)
class SeasonPlan:
    """One proposal for each visit, in the order of the season's visits, and what the plan comes to."""

    proposals: tuple[Proposal, ...]
    totals: Totals
