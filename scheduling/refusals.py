"""Why something can't be done to terms, covers or visits, as code and parameters beside the text that a form shows."""

from django.core.exceptions import ValidationError

from treatments.rules.explanation import Explanation, Param, explain
from treatments.shared.rendering import render


class SchedulingError(ValidationError):
    """What can't be done, told in the language in use; ``explanation`` has the code and its parameters."""

    def __init__(self, explanation: Explanation, field: str = "") -> None:
        error = ValidationError(render(explanation), code=explanation.code)
        super().__init__({field: error} if field else error)
        self.explanation = explanation


def refuse(code: str, field: str = "", /, **params: Param) -> SchedulingError:
    """Return the refusal to be raised.

    Args:
        field: of the form that asked, '' where it is about none.
    """
    return SchedulingError(explain(code, **params), field)
