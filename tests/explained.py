"""Reads codes and parameters of what the rules explain, for tests that ask what is said and not how it is worded."""

from collections.abc import Iterable, Mapping

from treatments.rules.explanation import Explanation, Param


def list_codes(explanations: Iterable[Explanation]) -> list[str]:
    """Return the codes in their order."""
    return [explanation.code for explanation in explanations]


def read_params(explanations: Iterable[Explanation], code: str) -> Mapping[str, Param]:
    """Return the parameters of the one explanation of a code."""
    (found,) = [explanation for explanation in explanations if explanation.code == code]
    return found.params
