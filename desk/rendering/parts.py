"""The environment of the desk's Jinja2 templates: Django's translations, and the filters of its other templates."""

from collections.abc import Mapping
from typing import Any

from django.forms import BoundField
from django.template import defaultfilters, engines
from django.templatetags.static import static
from django.urls import reverse
from django.utils import formats, translation
from django.utils.safestring import SafeString, mark_safe
from django_htmx.jinja import htmx_script
from jinja2 import Environment

from desk.shared.shown import write_shown_field
from desk.templatetags import desk_dates, desk_sentences, desk_words


def find_address(name: str, *args: str | int) -> str:
    """Return the address of a page of the desk, e.g. ``find_address("vehicle", vin)``."""
    return reverse(f"desk:{name}", args=args)


def mark(field: BoundField, code: object, word: str) -> str:
    """Return the attribute ``word`` for the choice of a field that is its value, '' for the others."""
    value = field.value()
    return f" {word}" if code == ("" if value is None else value) else ""


def write_part(name: str, values: Mapping[str, Any]) -> SafeString:
    """Return a template with these values; it escapes its own texts."""
    return mark_safe(engines["jinja2"].get_template(name).render(dict(values)))


def make_environment(**options: Any) -> Environment:
    """Return the environment that the settings name; ``options`` are Django's."""
    environment = Environment(**options, trim_blocks=True, lstrip_blocks=True, extensions=["jinja2.ext.i18n"])
    environment.install_gettext_callables(  # type: ignore[attr-defined]
        translation.gettext, translation.ngettext, newstyle=True
    )
    environment.globals["address"] = find_address
    environment.globals["mark"] = mark
    environment.globals["static"] = static
    environment.globals["htmx_script"] = htmx_script
    environment.globals["shown_field"] = write_shown_field
    for library in (desk_dates, desk_sentences, desk_words):
        environment.filters.update(library.register.filters)
    # A number as the language of the page writes it; the other templates do so with every number.
    environment.filters["localised"] = formats.localize
    environment.filters["floatformat"] = defaultfilters.floatformat
    environment.filters["linebreaksbr"] = defaultfilters.linebreaksbr
    environment.filters["linebreaks"] = defaultfilters.linebreaks_filter
    return environment
