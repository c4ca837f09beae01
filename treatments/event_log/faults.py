"""What a verification of the event log finds."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LogFault:
    """A place at which the log, or what it tells of, is not as it was written.

    Attributes:
        position: the entry; 0 where no entry tells of it.
        sentence: what is wrong.
        row: the model's label and key of the row that is meant, '' where it is the log itself.
    """

    position: int
    sentence: str
    row: str = ""
