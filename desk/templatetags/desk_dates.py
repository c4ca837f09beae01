"""The filter ``date`` as French writes a day: the month cut as the language cuts it, and the first of a month as 1er.

It stands in for Django's own in every template (``builtins`` in the settings), which would write 13 Aoû 2023.
"""

from datetime import date as Day
from typing import Any

from django import template
from django.template import defaultfilters
from django.utils.translation import get_language

register = template.Library()


@register.filter(expects_localtime=True, is_safe=False)
def date(value: Any, form: str | None = None) -> Any:
    """Return a day or a moment in Django's format characters; in English exactly as Django does."""
    if form and (get_language() or "").startswith("fr"):
        form = form.replace("M", "N")
        if isinstance(value, Day) and value.day == 1:
            form = form.replace("j", r"j\e\r")
    return defaultfilters.date(value, form)
