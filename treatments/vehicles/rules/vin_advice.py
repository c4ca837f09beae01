"""What a person is told about a VIN or serial as written: the same in the import, the walk-in and every form."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from treatments.rules.explanation import Explanation, explain
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
        acceptable: False where it can't be right; then ``codes`` are those of the problems.
        doubts: what speaks against a number that is taken.
        corrections: those that are on record first, then the likeliest.
        on_record: those of the corrections that are vehicles on record.
    """

    vin: str
    acceptable: bool
    codes: frozenset[str]
    problems: tuple[Explanation, ...]
    doubts: tuple[Explanation, ...]
    corrections: tuple[Correction, ...]
    on_record: tuple[str, ...]

    @property
    def explanations(self) -> tuple[Explanation, ...]:
        """All that is to be told; nothing where nothing speaks against the number."""
        told = [*self.problems, *self.doubts]
        if not told:
            return ()
        told += [explain("vin.would_pass", vin=one.vin, changes=one.changes) for one in self.corrections[:MOST_TOLD]]
        more = len(self.corrections) - MOST_TOLD
        if more > 0:
            told.append(explain("vin.more_would_pass", count=more))
        told += [explain("vin.on_record", vin=vin) for vin in self.on_record]
        if self.problems:
            told.append(explain("vin.compare"))
        return tuple(told)


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
        problems=report.problems,
        doubts=report.warnings,
        corrections=tuple(corrections),
        on_record=tuple(correction.vin for correction in corrections if correction.vin in known),
    )
