"""What is wrong with a document of terms, as values that name the field, so that a file and a form can both tell it.

A path such as ``touch_ups[0].family`` counts list entries from 0, in the order of the document.
"""

from dataclasses import dataclass

from treatments.rules.explanation import Explanation


@dataclass(frozen=True, slots=True)
class TermsProblem:
    """One thing wrong with a terms document: the field's path, the value given, and the way out.

    A parameter that is the name of another field stands as it is in a file; a form puts its label there.
    """

    field: str
    value: str | Explanation
    explanation: Explanation


class TermsError(ValueError):
    """A terms document that can't be used; ``problems`` lists everything wrong with it, not only the first."""

    def __init__(self, problems: list[TermsProblem]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(f"{p.field} = {p.value}: {p.explanation.code}" for p in problems))
