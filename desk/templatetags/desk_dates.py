"""The filter ``date`` as French writes a day: the month cut as the language cuts it, and the first of a month as 1er.

It stands in for Django's own in every template (``builtins`` in the settings), which would write 13 Aoû 2023.
"""

import functools
from datetime import date as Day
from datetime import datetime, tzinfo
from typing import Any

from django import template
from django.template import defaultfilters
from django.utils import timezone
from django.utils.translation import get_language

from treatments.rules.site_days import find_day

register = template.Library()


@register.filter(expects_localtime=True, is_safe=False)
def date(value: Any, form: str | None = None) -> Any:
    """Return a day or a moment in Django's format characters; in English exactly as Django does."""
    return write_date(value, form, language=get_language() or "")


def write_date(value: Any, form: str | None = None, *, language: str) -> Any:
    """Return a day or a moment as the filter ``date`` does, in a language, which must be the one in use."""
    # A list writes the same few days hundreds of times.
    if type(value) is Day and form:
        return _write_day(value, form, language)
    # Two moments are equal that are the same in two zones; so a moment is kept as its clock shows it, with the zone.
    if type(value) is datetime and form:
        return _write_moment(value.replace(tzinfo=None), value.fold, value.tzinfo, form, language)
    return _write(value, form, language)


@functools.lru_cache(maxsize=8192)
def _write_day(day: Day, form: str, language: str) -> Any:
    return _write(day, form, language)


@functools.lru_cache(maxsize=8192)
def _write_moment(clock: datetime, fold: int, zone: tzinfo | None, form: str, language: str) -> Any:
    return _write(clock.replace(fold=fold, tzinfo=zone), form, language)


def _write(value: Any, form: str | None, language: str) -> Any:
    if form and language.startswith("fr"):
        form = form.replace("M", "N")
        if isinstance(value, Day) and value.day == 1:
            form = form.replace("j", r"j\e\r")
    return defaultfilters.date(value, form)


@register.filter(expects_localtime=True, is_safe=False)
def near_date(value: Any, form: str) -> Any:
    """Return a day or a moment as ``date`` does, with the year after its month where it is not this year."""
    return date(value, name_near_form(value, form, find_day(timezone.now(), timezone.get_current_timezone()).year))


def name_near_form(value: Any, form: str, this_year: int) -> str:
    """Return the format characters for a day or a moment, with the year after its month where it is not this year."""
    if isinstance(value, Day) and value.year != this_year:
        return form.replace("F", "F Y").replace("M", "M Y")
    return form
