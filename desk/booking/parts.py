"""Parts of the pages of booking: what the customer would like, and the fields for a time that the customer names.

As long as nobody has typed anything, such a part is the same for every vehicle, and is written once.
"""

import functools
from collections.abc import Mapping
from typing import Any

from django import forms
from django.http import HttpRequest, QueryDict
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.utils.translation import get_language

from desk.booking.forms import NamedTimeForm, PlacesOfSite, SiteChoices, WishForm
from scheduling.enums import VisitKind


def has_wishes(request: HttpRequest) -> bool:
    """Say whether the address of a page tells a wish that can be read."""
    return any(request.GET.get(name) for name in WishForm.base_fields)


def write_wishes(request: HttpRequest, form: WishForm) -> SafeString:
    """Return the part with the wishes that were told, and their errors."""
    values = {"form": form, "has_wishes": has_wishes(request), "place": request.GET.get("place", "")}
    return render_to_string("desk/booking_wishes.html", {**values, "path": request.path})


def write_no_wishes(request: HttpRequest, *, site_choices: SiteChoices, usual: VisitKind, is_move: bool) -> SafeString:
    """Return the part as it is before anybody told a wish."""
    return _write_no_wishes(site_choices, usual, is_move, request.GET.get("place", ""), get_language())


@functools.lru_cache(maxsize=256)
def _write_no_wishes(
    site_choices: SiteChoices, usual: VisitKind, is_move: bool, place: str, language: str | None
) -> SafeString:
    form = WishForm(QueryDict(), site_choices=site_choices, usual=usual, is_move=is_move)
    return render_to_string("desk/booking_wishes.html", {"form": form, "has_wishes": False, "place": place})


def write_fields(form: forms.Form) -> SafeString:
    """Return the fields of something that is done to a visit, as they were sent, with their errors."""
    return render_to_string("desk/visit_fields.html", {"form": form})


def write_untyped_fields(form: type[forms.Form], prefix: str | None, initial: Mapping[str, Any]) -> SafeString:
    """Return the fields of something that can be done to a visit, before anybody typed in them."""
    return _write_untyped_fields(form, prefix, tuple(sorted(initial.items())), get_language())


@functools.lru_cache(maxsize=256)
def _write_untyped_fields(
    form: type[forms.Form], prefix: str | None, initial: tuple[tuple[str, Any], ...], language: str | None
) -> SafeString:
    return write_fields(form(prefix=prefix, initial=dict(initial)))


def write_named_fields(form: NamedTimeForm) -> SafeString:
    """Return the fields of a time that the customer named, with their errors."""
    return _write_fields(form)


def write_blank_fields(form: type[NamedTimeForm], places: PlacesOfSite, initial: Mapping[str, Any]) -> SafeString:
    """Return the fields as they are before anybody named a time."""
    return _write_blank(form, places, tuple(sorted(initial.items())), get_language())


def _write_fields(form: Any) -> SafeString:
    return render_to_string("desk/booking_fields.html", {"form": form})


@functools.lru_cache(maxsize=256)
def _write_blank(
    form: type[NamedTimeForm], places: PlacesOfSite, initial: tuple[tuple[str, Any], ...], language: str | None
) -> SafeString:
    return _write_fields(form(places=places, initial=dict(initial)))
