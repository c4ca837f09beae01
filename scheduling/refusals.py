"""Why something can't be done to terms, covers or visits, as code and parameters beside the text that a form shows."""

from treatments.rules.explanation import Param, explain
from treatments.shared.refusals import RefusedError


class SchedulingError(RefusedError):
    """What can't be done to terms, covers or visits."""


def refuse(code: str, field: str = "", /, **params: Param) -> SchedulingError:
    """Return the refusal to be raised.

    Args:
        field: of the form that asked, '' where it is about none.
    """
    return SchedulingError(explain(code, **params), field)
