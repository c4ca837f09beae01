"""The fields of a visit by the lift: when, the odometer, what was measured.

Before anybody typed they look the same for all that start with the same values, and are written once for them.
"""

import functools
from collections.abc import Hashable
from datetime import date
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import get_language

from desk.lift.record_forms import VisitForm
from desk.rendering.parts import write_part

Values = tuple[tuple[str, Hashable], ...]


def write_visit(template: str, visit: VisitForm, **shown: Hashable) -> SafeString:
    """Return the fields of a visit.

    Args:
        template: the part that writes them, to which the form is ``visit``.
        shown: what else stands there.
    """
    if visit.is_bound:
        return write_part(template, {"visit": visit, **shown})
    return _write_untyped(
        template, type(visit), visit.today, tuple(visit.initial.items()), tuple(shown.items()), get_language()
    )


@functools.lru_cache(maxsize=256)
def _write_untyped(
    template: str,
    form: type[VisitForm],
    today: date,
    initial: Values,
    shown: Values,
    language: str | None,  # that in which they are written
) -> SafeString:
    values: dict[str, Any] = {"visit": form(initial=dict(initial), today=today), **dict(shown)}
    return write_part(template, values)
