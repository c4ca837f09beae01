"""What a dealership's month came to: how its covers stand on the last day, which visits were kept, and its claims.

A cover counts once in the month in which something on it could last be done, with its days of grace: as kept, done late
or missed. The share kept tells whether customers stay.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from claims.enums import DecisionKind
from scheduling.covers.rules.cover import NO_MORE_COVER, Assessment
from scheduling.covers.rules.dates import add_months
from scheduling.covers.rules.due import needs_doing
from scheduling.covers.rules.due_item import DueKind, DueStatus
from scheduling.covers.rules.ends import CoverStatus
from scheduling.covers.rules.reinspections import Reinspection
from scheduling.covers.rules.touch_ups import TouchUp
from treatments.rules.formats import Money

MONTHS_SHOWN = 12


class Kept(StrEnum):
    """What became of what was due on a cover by a month."""

    IN_TIME = "in_time"
    LATE = "late"
    MISSED = "missed"


class Pressing(StrEnum):
    """How what is to be done on a cover stands to a day: its window is open, or all its days are over."""

    DUE = "due"
    OVERDUE = "overdue"


def find_month(day: date) -> date:
    """Return the first day of a day's month."""
    return day.replace(day=1)


def list_months(month: date) -> list[date]:
    """Return the first days of the months that a statement shows, the oldest first, its own the last."""
    return [find_month(add_months(month, -back)) for back in range(MONTHS_SHOWN - 1, -1, -1)]


@dataclass(frozen=True, slots=True)
class CoverStanding:
    """How one cover stands on a day.

    Attributes:
        since: the first day of its state, None where nothing dates it.
        pressing: whether something is due or overdue, None for neither.
        due_kind, due_last_on, due_grace_until: of the most pressing thing that is due or overdue.
        kept: what became of what was due, by month.
    """

    status: CoverStatus
    since: date | None
    pressing: Pressing | None
    due_kind: DueKind | None
    due_last_on: date | None
    due_grace_until: date | None
    kept: Mapping[date, Kept]


def judge_cover(found: Assessment, day: date) -> CoverStanding:
    """Return how a cover stands on the day for which it was assessed."""
    duties: list[Reinspection | TouchUp] = [*found.reinspections, *found.touch_ups]
    wanted = [one for one in duties if needs_doing(one) and one.laid.opens_on <= day]
    if found.state.status in NO_MORE_COVER or not wanted:
        return CoverStanding(found.state.status, found.state.since, None, None, None, None, _judge_kept(duties, day))
    first = min(wanted, key=lambda one: (one.laid.grace_until, one.laid.last_on))
    return CoverStanding(
        found.state.status,
        found.state.since,
        Pressing.OVERDUE if day > first.laid.grace_until else Pressing.DUE,
        DueKind.REINSPECTION if isinstance(first, Reinspection) else DueKind.TOUCH_UP,
        first.laid.last_on,
        first.laid.grace_until,
        _judge_kept(duties, day),
    )


def _judge_kept(duties: Iterable[Reinspection | TouchUp], day: date) -> dict[date, Kept]:
    """Return what became of what was due, by the month in which it could last be done; the worst of each month."""
    order = list(Kept)
    worst: dict[date, Kept] = {}
    for duty in duties:
        if duty.laid.grace_until > day:
            continue
        if duty.status is DueStatus.DONE:
            came = Kept.IN_TIME
        elif duty.status is DueStatus.MISSED:
            came = Kept.MISSED if needs_doing(duty) else Kept.LATE
        else:
            continue
        month = find_month(duty.laid.grace_until)
        worst[month] = max(worst.get(month, came), came, key=order.index)
    return worst


@dataclass(frozen=True, slots=True)
class MonthOfVisits:
    """Of the covers on which something could last be done in a month, how many were kept, late and missed."""

    month: date
    in_time: int
    late: int
    missed: int

    @property
    def share_kept(self) -> Decimal | None:
        """The share that came in time or late, in per cent to one place; None where nothing was due."""
        return compute_share_kept([self])


def compute_share_kept(months: Iterable[MonthOfVisits]) -> Decimal | None:
    """Return the share kept over several months, in per cent to one place; None where nothing was due."""
    listed = list(months)
    came = sum(one.in_time + one.late for one in listed)
    everything = came + sum(one.missed for one in listed)
    return (Decimal(100 * came) / everything).quantize(Decimal("0.1")) if everything else None


def count_visits(standings: Iterable[CoverStanding], months: Sequence[date]) -> list[MonthOfVisits]:
    """Return for each month how many covers were kept, late and missed."""
    counted: Counter[tuple[date, Kept]] = Counter()
    for standing in standings:
        counted.update(standing.kept.items())
    return [MonthOfVisits(month, *(counted[month, came] for came in Kept)) for month in months]


@dataclass(frozen=True, slots=True)
class StatedCover:
    """One cover with its vehicle and how it stands."""

    number: str
    vin: str
    plate: str
    description: str
    sold_on: date
    registered_on: date
    standing: CoverStanding


@dataclass(frozen=True, slots=True)
class StatedClaim:
    """One claim with the decision that stands by the day of the statement.

    Attributes:
        decided: the kind of the decision, None while there is none.
        paid_in_month: what was paid under it in the month.
    """

    number: str
    vin: str
    description: str
    reported_on: date
    decided: DecisionKind | None
    decided_on: date | None
    amount: Money | None
    paid_in_month: Money | None


@dataclass(frozen=True, slots=True)
class Statement:
    """A month of one dealership.

    Attributes:
        as_of: the last day of the month, or today while it runs.
        months: the months of the charts, its own the last.
        registered_by_month: how many covers were registered in each of them.
        claims: those reported, decided or paid in the month.
        open_claims: how many were reported by the day and not decided.
        decided, paid: sums of the month, one for each currency.
        failed: numbers of covers that can't be computed and are in no figure but those of registrations.
    """

    dealership: str
    month: date
    as_of: date
    covers: tuple[StatedCover, ...]
    months: tuple[date, ...]
    registered_by_month: tuple[int, ...]
    visits: tuple[MonthOfVisits, ...]
    claims: tuple[StatedClaim, ...]
    claims_by_month: tuple[int, ...]
    open_claims: int
    decided: tuple[Money, ...]
    paid: tuple[Money, ...]
    failed: tuple[str, ...]

    def count(self, status: CoverStatus) -> int:
        """Return how many covers were in a state."""
        return sum(cover.standing.status is status for cover in self.covers)

    def list_pressing(self, pressing: Pressing) -> list[StatedCover]:
        """Return the covers on which something is due or overdue, the earliest last day first."""
        found = [cover for cover in self.covers if cover.standing.pressing is pressing]
        return sorted(found, key=lambda cover: (cover.standing.due_grace_until or date.max, cover.number))

    @property
    def registered(self) -> list[StatedCover]:
        """The covers registered in the month, in that order."""
        found = [cover for cover in self.covers if find_month(cover.registered_on) == self.month]
        return sorted(found, key=lambda cover: (cover.registered_on, cover.number))

    @property
    def lapsed(self) -> list[StatedCover]:
        """The covers that lapsed in the month."""
        return [
            cover
            for cover in self.covers
            if cover.standing.status is CoverStatus.LAPSED
            and cover.standing.since
            and find_month(cover.standing.since) == self.month
        ]

    @property
    def share_kept(self) -> Decimal | None:
        """The share of what was due in all the months that was done, in per cent."""
        return compute_share_kept(self.visits)


def add_up(amounts: Iterable[Money]) -> tuple[Money, ...]:
    """Return the sum in each currency, by the currency's code."""
    sums: dict[str, Decimal] = {}
    for one in amounts:
        sums[one.currency] = sums.get(one.currency, Decimal(0)) + one.amount
    return tuple(Money(amount, currency) for currency, amount in sorted(sums.items()))
