"""The fields of a new claim; before anybody typed, they are written once for the zones that they offer."""

import functools
from datetime import date

from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.utils.translation import get_language

from desk.claims.forms import FileClaimForm

# Code and name of each, in their order.
ZoneNames = tuple[tuple[str, str], ...]


def write_fields(form: FileClaimForm) -> SafeString:
    """Return the fields with what was typed and its errors."""
    return render_to_string("desk/claim_new_fields.html", {"form": form})


def write_blank_fields(zones: ZoneNames, reported_on: date) -> SafeString:
    """Return the fields of a claim that was reported on a day, with nothing else told."""
    return _write_blank_fields(zones, reported_on, get_language())


# For each body style and language, and not for many days back.
@functools.lru_cache(maxsize=64)
def _write_blank_fields(zones: ZoneNames, reported_on: date, language: str | None) -> SafeString:
    return write_fields(FileClaimForm(zones=zones, initial={"reported_on": reported_on}))
