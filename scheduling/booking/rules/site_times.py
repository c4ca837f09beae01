"""What a search for times is told: what the visit takes and serves, and each site with its bays and people."""

import zoneinfo
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from scheduling.booking.rules.opening import Span
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import BayKind, Skill
from treatments.enums import Training
from treatments.rules.explanation import Explanation, Label, explain

# A film may be renewed this long before its window opens where the vehicle is there anyway.
TOUCHED_UP_EARLY_DAYS = 30


@dataclass(frozen=True, slots=True)
class NeededTraining:
    """The certificates that spraying a vehicle needs because of its propulsion, and who holds them all.

    Attributes:
        good_until: each person who holds them, with the last day on which all are good.
    """

    trainings: tuple[Training, ...]
    good_until: tuple[tuple[int, date], ...] = ()

    def is_held_by(self, person: int | None, day: date) -> bool:
        """Whether a person may do the work on a day; None is a shop that books its bays alone."""
        return person is None or any(key == person and day <= last for key, last in self.good_until)

    def explain_who_may(self) -> Explanation:
        """Return what to say to whoever finds no time: it may be for want of somebody who is certified."""
        return explain("visit.who_may", trainings=self.labels)

    @property
    def labels(self) -> tuple[Label, ...]:
        """The trainings as parameters of an explanation."""
        return tuple(Label(training) for training in self.trainings)


@dataclass(frozen=True, slots=True)
class VisitWork:
    """What a visit takes. Sizes are the vehicle's; None where they are not on record.

    Attributes:
        work_minutes: washing, drying and the work itself, for which a person is needed.
        standing_minutes: afterwards, before the vehicle may leave.
        stands_in_bay: whether the bay stays taken meanwhile.
        vehicle_taken: when the vehicle is with the shop for something else.
        training: what who does it must be certified for besides; None where nothing is asked.
    """

    bay_kind: BayKind
    skill: Skill
    work_minutes: int
    standing_minutes: int = 0
    stands_in_bay: bool = False
    height_mm: int | None = None
    mass_kg: int | None = None
    vehicle_taken: tuple[Span, ...] = ()
    training: NeededTraining | None = None

    def can_be_done_by(self, person: "PersonTimes", day: date) -> bool:
        """Whether a person has the skill for the work, and the certificates for this vehicle on a day."""
        is_certified = self.training is None or self.training.is_held_by(person.key, day)
        return self.skill in person.skills and is_certified


@dataclass(frozen=True, slots=True)
class DueDates:
    """One thing that the visit is to serve."""

    key: str
    kind: DueKind
    opens_on: date
    target_on: date
    last_on: date
    grace_until: date

    @property
    def first_served_on(self) -> date:
        """The first day on which a visit does it: a reinspection in its window, a touch-up up to 30 days before."""
        early = timedelta(days=TOUCHED_UP_EARLY_DAYS) if self.kind is DueKind.TOUCH_UP else timedelta()
        return self.opens_on - early

    def is_served_on(self, day: date) -> bool:
        """Whether a visit on ``day`` does it."""
        return day >= self.first_served_on


@dataclass(frozen=True, slots=True)
class BayTimes:
    """A bay, its limits (None: not stated), and when it is taken or closed."""

    key: int
    name: str
    kind: BayKind
    most_height_mm: int | None = None
    most_mass_kg: int | None = None
    taken: tuple[Span, ...] = ()

    def fits(self, work: VisitWork) -> bool:
        """Whether the vehicle can be worked on here, as far as sizes and limits are known."""
        if work.bay_kind is BayKind.LIFT and self.kind is not BayKind.LIFT:
            return False
        return not _exceeds(work.height_mm, self.most_height_mm) and not _exceeds(work.mass_kg, self.most_mass_kg)


def _exceeds(size: int | None, most: int | None) -> bool:
    return size is not None and most is not None and size > most


@dataclass(frozen=True, slots=True)
class PersonTimes:
    """A person who may be booked, when that person works on each day, and when already taken or away."""

    key: int | None
    name: str
    skills: frozenset[Skill]
    worked: Mapping[date, tuple[Span, ...]]
    taken: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class SiteTimes:
    """A site with its bays and people. ``open_spans`` reach some days past the last day that is asked for."""

    key: int
    name: str
    zone: zoneinfo.ZoneInfo
    open_spans: Mapping[date, tuple[Span, ...]]
    bays: tuple[BayTimes, ...]
    people: tuple[PersonTimes, ...]
