"""What a person is told about a VIN or serial as written: one text for the import, the walk-in and every form."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from treatments.vehicles.rules.vin import Correction, VinMark, check_vin, clean_vin

# More can't be compared with a vehicle by somebody who stands in front of it.
MOST_TOLD = 3

# Returns those of some numbers that are on record.
FindOnRecord = Callable[[Sequence[str]], Collection[str]]


@dataclass(frozen=True, slots=True)
class VinAdvice:
    """Whether a number is taken, what is wrong or doubtful with it, and which corrections would pass.

    Attributes:
        vin: as it is kept, in capitals without spaces.
        acceptable: False where it can't be right; then ``codes`` says of which kinds the problems are.
        doubts: what speaks against a number that is taken.
        corrections: those that are on record first, then the likeliest.
        on_record: those of the corrections that are vehicles on record.
    """

    vin: str
    acceptable: bool
    codes: frozenset[str]
    problems: tuple[str, ...]
    doubts: tuple[str, ...]
    corrections: tuple[Correction, ...]
    on_record: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """All of it as one text; '' where nothing speaks against the number."""
        said = [*self.problems, *self.doubts]
        if not said:
            return ""
        said += [f"{one.vin} would pass: {one.sentence}." for one in self.corrections[:MOST_TOLD]]
        more = len(self.corrections) - MOST_TOLD
        if more > 0:
            said.append(f"{more} more would pass.")
        said += [f"On record is {vin}." for vin in self.on_record]
        if self.problems:
            said.append("Compare with the vehicle or its papers.")
        return " ".join(said)


def advise_on_vin(
    text: str, *, marked_as: VinMark = VinMark.STANDARD, find_on_record: FindOnRecord | None = None
) -> VinAdvice:
    """Return what is to be told about a number.

    Args:
        text: the number as written.
        marked_as: what sort of number it is said to be.
        find_on_record: looks corrections up; without it none is said to be on record.
    """
    report = check_vin(text, marked_as=marked_as)
    known: frozenset[str] = frozenset()
    if report.corrections and find_on_record is not None:
        known = frozenset(find_on_record([correction.vin for correction in report.corrections]))
    corrections = sorted(report.corrections, key=lambda correction: correction.vin not in known)
    return VinAdvice(
        vin=clean_vin(text),
        acceptable=report.acceptable,
        codes=frozenset(problem.code for problem in report.problems),
        problems=tuple(problem.sentence for problem in report.problems),
        doubts=report.warnings,
        corrections=tuple(corrections),
        on_record=tuple(correction.vin for correction in corrections if correction.vin in known),
    )
