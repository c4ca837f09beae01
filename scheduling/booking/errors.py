"""What can stand in the way of a booking, said so that the person at the desk can go on at once."""

from collections.abc import Sequence

from django.core.exceptions import ValidationError

from scheduling.booking.rules.slots import Slot


class SlotTakenError(ValidationError):
    """Somebody was first, or something is in the way; ``alternatives`` are the next times that are free."""

    def __init__(self, sentence: str, alternatives: Sequence[Slot] = ()) -> None:
        super().__init__({"starts_at": sentence}, code="taken")
        self.sentence = sentence
        self.alternatives = tuple(alternatives)


class BookedAlreadyError(SlotTakenError):
    """The vehicle has its visit; another time would not help, so none is offered."""


class ChangedMeanwhileError(ValidationError):
    """The appointment is not any more as the person saw it."""
