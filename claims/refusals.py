"""Why something can't be done to a claim, as code and parameters beside the text that a form shows."""

from django.core.exceptions import ValidationError

from treatments.reference.queries import map_zone_names
from treatments.rules.explanation import Explanation, Param, ZoneCode, explain
from treatments.shared.rendering import render


class ClaimError(ValidationError):
    """What can't be done to a claim, told in the language in use; ``explanation`` has the code and its parameters."""

    def __init__(self, explanation: Explanation, field: str = "") -> None:
        names_zones = any(isinstance(one, tuple | ZoneCode) for one in explanation.params.values())
        text = render(explanation, map_zone_names() if names_zones else None)
        error = ValidationError(text, code=explanation.code)
        super().__init__({field: error} if field else error)
        self.explanation = explanation


def refuse(code: str, field: str = "", **params: Param) -> ClaimError:
    """Return the refusal to be raised.

    Args:
        field: of the form that asked, '' where it is about none.
    """
    return ClaimError(explain(code, **params), field)
