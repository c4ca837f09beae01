"""Why something can't be done, as code and parameters beside the text that a form shows. Each app has its own kind."""

from collections.abc import Mapping

from django.core.exceptions import ValidationError

from treatments.rules.explanation import Explanation
from treatments.shared.rendering import render


class RefusedError(ValidationError):
    """What can't be done, told in the language in use; ``explanation`` has the code and its parameters."""

    def __init__(self, explanation: Explanation, field: str = "", zone_names: Mapping[str, str] | None = None) -> None:
        error = ValidationError(render(explanation, zone_names), code=explanation.code)
        super().__init__({field: error} if field else error)
        self.explanation = explanation
