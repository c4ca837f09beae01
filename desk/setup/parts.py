"""Parts of the set-up page as they are before anybody typed: each is written once for what it offers."""

import functools
from collections.abc import Sequence
from datetime import time

from django import forms
from django.template.loader import render_to_string
from django.utils.html import format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import get_language

from desk.setup.forms import AbsenceForm, BayForm, Choice, CloseBayForm, WeekHoursForm

# ISO weekday, from, to.
HoursOfDay = tuple[int, time, time]


def write_week(form: WeekHoursForm) -> SafeString:
    """Return the fields of a week's hours."""
    return render_to_string("desk/set_up_hours.html", {"form": form})


def write_known_week(hours: Sequence[HoursOfDay], prefix: str) -> SafeString:
    """Return the fields of a week's hours as they are on record."""
    return _write_known_week(tuple(hours), prefix, get_language())


def write_fields(form: forms.BaseForm) -> SafeString:
    """Return the fields of a small form."""
    written = (render_to_string("desk/booking_field.html", {"field": field}) for field in form)
    return format_html_join("", "{}", ((field,) for field in written))


def write_new_bay(prefix: str) -> SafeString:
    """Return the fields of a bay that is added."""
    return _write_new_bay(prefix, get_language())


def write_new_closure(bays: Sequence[Choice], prefix: str) -> SafeString:
    """Return the fields of a closure of one of these bays."""
    return _write_new_closure(tuple(bays), prefix, get_language())


def write_new_absence(people: Sequence[Choice], prefix: str) -> SafeString:
    """Return the fields of an absence of one of these people."""
    return _write_new_absence(tuple(people), prefix, get_language())


@functools.lru_cache(maxsize=256)
def _write_known_week(hours: tuple[HoursOfDay, ...], prefix: str, language: str | None) -> SafeString:
    return write_week(WeekHoursForm(hours=hours, prefix=prefix))


@functools.lru_cache(maxsize=16)
def _write_new_bay(prefix: str, language: str | None) -> SafeString:
    return write_fields(BayForm(prefix=prefix))


@functools.lru_cache(maxsize=256)
def _write_new_closure(bays: tuple[Choice, ...], prefix: str, language: str | None) -> SafeString:
    return write_fields(CloseBayForm(bays=bays, prefix=prefix))


@functools.lru_cache(maxsize=256)
def _write_new_absence(people: tuple[Choice, ...], prefix: str, language: str | None) -> SafeString:
    return write_fields(AbsenceForm(people=people, prefix=prefix))
