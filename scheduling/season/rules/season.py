"""What a season is planned from and what a plan is: visits to place, bays and people with what is taken, days proposed.

Quarters of an hour are counted from midnight by the clock at the site; ``hours`` says how a set of them is written.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from scheduling.booking.rules.opening import NeededTraining
from scheduling.enums import BayKind, Skill
from scheduling.season.rules.hours import NOON, count_quarters, format_clock_time
from treatments.rules.explanation import Explanation


@dataclass(frozen=True, slots=True)
class Place:
    """A day, a bay, a person (None where the bays alone decide) and the quarter of the day at which a visit begins."""

    day: date
    bay: int
    person: int | None
    quarter: int

    @property
    def time(self) -> str:
        return format_clock_time(self.quarter)


@dataclass(frozen=True, slots=True)
class SeasonVisit:
    """One vehicle's visit, which serves all that is due for it.

    Attributes:
        minutes: how long it takes a bay and a person.
        height_mm: of the vehicle, with ``mass_kg``; None where not on record.
        opens_on: no day before it counts.
        last_on: the last day of the window; waiting beyond it weighs double.
        lapses_after: the last day of grace after which the cover stops, for good or until the visit; None where
            nothing stops, or has stopped already.
        risk_per_week: how much a week of waiting matters, a rank of the place of use; 0 or more.
        weekdays: ISO numbers of the days on which the customer would rather come; empty: any.
        part_of_day: "morning", "afternoon", or "" for either; a visit belongs to the part in which it begins.
        avoid: days on which the customer can't come, first and last included; no visit is placed there.
        training: the certificates that whoever does it must hold on its day besides; None where none is asked for.
        standing_minutes: for which the bay stays taken after the work, to the end of the day at most.
        promised: what the customer was told already; it stays, whatever else changes.
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
    skill: Skill = Skill.SPRAYING
    training: NeededTraining | None = None
    part_of_day: str = ""
    avoid: tuple[tuple[date, date], ...] = ()
    standing_minutes: int = 0
    promised: Place | None = None

    @property
    def quarters(self) -> int:
        return count_quarters(self.minutes)

    @property
    def standing_quarters(self) -> int:
        return count_quarters(self.standing_minutes) if self.standing_minutes else 0

    def may_come_on(self, day: date) -> bool:
        """Whether a visit on the day counts, and the customer has not ruled the day out."""
        return day >= self.opens_on and not any(first <= day <= last for first, last in self.avoid)

    def may_be_done_by(self, person: "SeasonPerson", day: date) -> bool:
        """Whether a person has the skill for the work, and the certificates for this vehicle on a day."""
        return may_do(person, day, self.skill, self.training)

    def is_in_part(self, quarter: int) -> bool:
        """Whether a start is in the part of the day that the customer asked for."""
        return not self.part_of_day or (quarter < NOON) == (self.part_of_day == "morning")


@dataclass(frozen=True, slots=True)
class SeasonBay:
    """A bay, its limits (None: not stated), and the quarters of each day in which it is taken or closed."""

    key: int
    name: str
    kind: BayKind
    taken: Mapping[date, int]
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
class SeasonPerson:
    """A person, the quarters of each day that they work, and those in which they are taken or away.

    A person without a key stands for a shop that has written nobody's hours down: never taken, the bays alone decide.
    """

    key: int | None
    skills: frozenset[Skill]
    worked: Mapping[date, int]
    taken: Mapping[date, int]


def may_do(person: SeasonPerson, day: date, skill: Skill, training: NeededTraining | None) -> bool:
    """Whether a person has a skill, and holds the certificates on a day, as booking asks too."""
    return skill in person.skills and (training is None or training.is_held_by(person.key, day))


@dataclass(frozen=True, slots=True)
class SeasonSite:
    """A site with its bays and people. A day has room where a bay and a person with the skill are free together."""

    key: int
    bays: tuple[SeasonBay, ...]
    people: tuple[SeasonPerson, ...]

    def list_days(self) -> list[date]:
        """Return the days on which anybody works."""
        return sorted({day for person in self.people for day, quarters in person.worked.items() if quarters})


@dataclass(frozen=True, slots=True)
class Season:
    """All that is to be planned from ``first`` to ``last``, both included. Sites don't share anything."""

    first: date
    last: date
    sites: tuple[SeasonSite, ...]
    visits: tuple[SeasonVisit, ...]


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a plan proposes for one visit; ``place`` is None where no day of the season has room for it."""

    key: str
    place: Place | None
    lapses: bool
    why: tuple[Explanation, ...]


@dataclass(frozen=True, slots=True)
class Totals:
    """What a plan comes to; less is better, and an earlier figure outweighs all later ones.

    Attributes:
        lapses: covers that stop because their visit is too late or has no place.
        risk: weeks waited since the windows opened, each weighed by its place of use, double after the window.
        unmet: wishes for a weekday or a part of the day that are not met.
        load: the sum over sites and days of the square of the quarters of an hour that are worked.
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
