"""The form of a draft as a part of its page; for a text of terms without faults it is written once."""

import functools
import json
from collections.abc import Mapping
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import get_language

from desk.rendering.parts import write_part
from desk.terms.form import TermsForm, build_form
from treatments.rules.zone_catalogue import ZoneDescription


def write_groups(form: TermsForm) -> SafeString:
    """Return the groups of fields with what was typed and its faults."""
    return write_part("desk/terms_groups.html", {"form": form})


def write_groups_of(document: Mapping[str, Any], zones: tuple[ZoneDescription, ...]) -> SafeString:
    """Return the groups of fields with what a document says."""
    return _write_groups_of(json.dumps(document), zones, get_language())


# A part is some 50 kB long.
@functools.lru_cache(maxsize=64)
def _write_groups_of(text: str, zones: tuple[ZoneDescription, ...], language: str | None) -> SafeString:
    return write_groups(build_form(json.loads(text), (), zones))
