"""What can stand in the way of a booking, said so that the person at the desk can go on at once."""

from collections.abc import Sequence

from scheduling.booking.rules.slots import Slot
from scheduling.refusals import SchedulingError
from treatments.rules.explanation import Explanation


class SlotTakenError(SchedulingError):
    """Somebody was first, or something is in the way; ``alternatives`` are the next times that are free."""

    def __init__(self, explanation: Explanation, alternatives: Sequence[Slot] = ()) -> None:
        super().__init__(explanation, "starts_at")
        self.alternatives = tuple(alternatives)


class BookedAlreadyError(SlotTakenError):
    """The vehicle has its visit; another time would not help, so none is offered."""


class ChangedMeanwhileError(SchedulingError):
    """The appointment is not any more as the person saw it."""
