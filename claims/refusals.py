"""Why something can't be done to a claim, as code and parameters beside the text that a form shows."""

from treatments.reference.queries import map_zone_names
from treatments.rules.explanation import Explanation, Param, ZoneCode, explain
from treatments.shared.refusals import RefusedError


class ClaimError(RefusedError):
    """What can't be done to a claim."""

    def __init__(self, explanation: Explanation, field: str = "") -> None:
        names_zones = any(isinstance(one, tuple | ZoneCode) for one in explanation.params.values())
        super().__init__(explanation, field, map_zone_names() if names_zones else None)


def refuse(code: str, field: str = "", **params: Param) -> ClaimError:
    """Return the refusal to be raised.

    Args:
        field: of the form that asked, '' where it is about none.
    """
    return ClaimError(explain(code, **params), field)
