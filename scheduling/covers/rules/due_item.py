"""What a due item is: one thing that must happen to a covered vehicle, its dates, and what became of it."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from scheduling.covers.rules.dates import DutyDates
from scheduling.covers.rules.facts import Waiver
from treatments.rules.explanation import Explanation, OwnWords, explain


class DueKind(StrEnum):
    REINSPECTION = "reinspection"
    TOUCH_UP = "touch_up"


class DueStatus(StrEnum):
    """What became of a due item. A missed one may still be cured by a later visit."""

    OPEN = "open"
    BOOKED = "booked"
    DONE = "done"
    MISSED = "missed"
    WAIVED = "waived"


@dataclass(frozen=True, slots=True)
class DueItem:
    """One thing that must happen.

    Attributes:
        reasons: why the target day is what it is, then what became of it.
        done_on: the visit that did it or, for a missed one, that cured it.
        waiver_key: what a waiver calls it, by its raw day; the key may name another item once records change.
    """

    key: str
    kind: DueKind
    zones: tuple[str, ...]
    dates: DutyDates
    status: DueStatus
    reasons: tuple[Explanation, ...]
    done_on: date | None = None
    records: tuple[str, ...] = ()
    waiver_key: str = ""

    @property
    def needs_doing(self) -> bool:
        """Whether somebody must still come: it is open, or was missed and not cured."""
        return self.status in (DueStatus.OPEN, DueStatus.BOOKED) or (
            self.status is DueStatus.MISSED and self.done_on is None
        )


def explain_waiver(waiver: Waiver) -> Explanation:
    """Return that a due item was waived, with the words of the person who did."""
    return explain("due.waived", waived_on=waiver.day, reason=OwnWords(waiver.reason))
