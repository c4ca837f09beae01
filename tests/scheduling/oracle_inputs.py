"""What the oracle is told: terms, cover, records, site and the question, as plain values of its own.

The names are those of fixtures/terms/MEANING.md; nothing of the rules under test is imported.
"""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal


@dataclass(frozen=True)
class Reinspection:
    first_after_months: int
    interval_months: int
    anchor: str
    window_before_days: int
    window_after_days: int
    grace_days: int
    missed_means: str
    reduced_to_percent: Decimal | None = None


@dataclass(frozen=True)
class TouchUp:
    interval_months: int
    family: str | None = None
    zone_kind: str | None = None


@dataclass(frozen=True)
class Severe:
    from_category: str
    reinspection_interval_months: int | None = None
    touch_up_interval_months: int | None = None


@dataclass(frozen=True)
class Season:
    first: tuple[int, int]
    last: tuple[int, int]


@dataclass(frozen=True)
class Promise:
    """What the terms say, as far as dates and states depend on it."""

    reinspection: Reinspection | None = None
    touch_ups: tuple[TouchUp, ...] = ()
    severe: Severe | None = None
    seasons: tuple[Season, ...] = ()
    roll: str = "next_open_day"
    length_months: int | None = None
    distance_limit_km: Decimal | None = None
    distance_from: str = "odometer"
    registration_deadline_days: int | None = None
    required_zones: tuple[str, ...] = ()
    excluded_zones: tuple[str, ...] = ()
    waiting_days: int = 0
    transfer_allowed: bool = True
    max_transfers: int | None = None
    notice_days: int | None = None


@dataclass(frozen=True)
class Deal:
    """What was agreed and changed about one cover. A waiver is the name of the duty and its day.

    ``category`` is the site's.
    """

    registered_on: date
    category: str = "C3"
    waivers: tuple[tuple[str, date], ...] = ()
    told_on: tuple[date, ...] = ()
    ended_on: date | None = None


@dataclass(frozen=True)
class ZoneWork:
    """A zone in a visit's record; no family means that nothing was applied."""

    zone: str
    kind: str
    family: str | None


@dataclass(frozen=True)
class Work:
    record: str
    day: date
    kind: str
    zones: tuple[ZoneWork, ...] = ()
    amends: str | None = None
    written_at: datetime | None = None


@dataclass(frozen=True)
class LookedAt:
    """A zone in an inspection's record: whether it says what film and what rust was seen, or why nothing was."""

    zone: str
    film: bool = True
    rust: bool = True
    why_not: bool = False


@dataclass(frozen=True)
class Look:
    """An inspection; where no zones are given, film and rust of every zone there is were seen."""

    day: date
    kind: str
    written_at: datetime | None = None
    zones: tuple[LookedAt, ...] | None = None
    record: str = ""
    amends: str | None = None


@dataclass(frozen=True)
class Odometer:
    day: date
    kilometres: Decimal
    written_at: datetime | None = None


@dataclass(frozen=True)
class Owner:
    from_day: date
    told_on: date | None = None
    written_at: datetime | None = None


@dataclass(frozen=True)
class Stay:
    """A booked visit that was finished: the day on which it began and the day on which its work ended."""

    first: date
    last: date
    written_at: datetime | None = None


@dataclass(frozen=True)
class Fact:
    """A standing fact of the vehicle: the zones that it takes out of the work, from its day until it was withdrawn."""

    day: date
    zones: tuple[str, ...] = ()
    is_propulsion: bool = False
    written_at: datetime | None = None
    withdrawn_on: date | None = None
    withdrawal_written_at: datetime | None = None


@dataclass(frozen=True)
class Place:
    """A place of use; no category says that it is not known. Places come in the order in which they were written."""

    category: str | None
    from_day: date
    known_on: date
    written_at: datetime | None = None


@dataclass(frozen=True)
class Site:
    open_weekdays: frozenset[int] = frozenset({1, 2, 3, 4, 5, 6, 7})
    closed_days: frozenset[date] = frozenset()

    def is_open(self, day: date) -> bool:
        return day.isoweekday() in self.open_weekdays and day not in self.closed_days


@dataclass(frozen=True)
class Case:
    """Everything that one question needs: the terms, the cover, the records, the site and the day asked about."""

    promise: Promise
    deal: Deal
    asked_on: date
    works: tuple[Work, ...] = ()
    looks: tuple[Look, ...] = ()
    odometer: tuple[Odometer, ...] = ()
    owners: tuple[Owner, ...] = ()
    stays: tuple[Stay, ...] = ()
    facts: tuple[Fact, ...] = ()
    places: tuple[Place, ...] = ()
    site: Site = Site()
    known_at: datetime | None = None
