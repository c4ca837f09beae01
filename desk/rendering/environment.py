"""The environment of the desk's Jinja2 templates: Django's translations, and filters."""

from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

from django.forms import BoundField
from django.template import defaultfilters
from django.templatetags.static import static
from django.urls import reverse
from django.utils import formats, timezone, translation
from django.utils.translation import pgettext_lazy
from django_htmx.jinja import htmx_script
from jinja2 import ChainableUndefined, ChoiceLoader, Environment, FileSystemLoader, PrefixLoader

from desk.shared.shown import write_shown_field
from desk.templatetags import desk_dates, desk_sentences, desk_words

# What stands between a label and its value. A gettext text, since French puts a narrow space before it.
COLON = pgettext_lazy("punctuation", ":")
SEMICOLON = pgettext_lazy("punctuation", ";")


# A template stands beside its views: "vehicle/plan.html" is desk/vehicle/templates/plan.html.
FEATURES = {folder.parent.name: FileSystemLoader(folder) for folder in Path(__file__).parents[1].glob("*/templates")}


class Missing(ChainableUndefined):
    """What a page was not given: empty, as in Django's templates, and so is what it would return if it is called."""

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        return self


def find_address(name: str, *args: str | int) -> str:
    """Return the address of a page of the desk, e.g. ``find_address("vehicle", vin)``."""
    return reverse(f"desk:{name}", args=args)


def mark(field: BoundField, code: object, word: str) -> str:
    """Return the attribute ``word`` for the choice of a field that is its value, '' for the others."""
    value = field.value()
    return f" {word}" if code == ("" if value is None else value) else ""


def to_local_time(value: Any, clock: tzinfo | None = None) -> Any:
    """Return a moment on a clock, that of the page where none is given; anything else as it is."""
    return timezone.localtime(value, clock) if isinstance(value, datetime) else value


def make_environment(**options: Any) -> Environment:
    """Return the environment that the settings name; ``options`` are Django's."""
    loader = ChoiceLoader([PrefixLoader(FEATURES), options["loader"]])
    environment = Environment(
        **options | {"undefined": Missing, "loader": loader},
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    environment.install_gettext_callables(  # type: ignore[attr-defined]
        translation.gettext, translation.ngettext, newstyle=True
    )
    environment.globals |= {"colon": COLON, "semicolon": SEMICOLON}
    environment.globals["address"] = find_address
    environment.globals["mark"] = mark
    environment.globals["url"] = reverse
    environment.globals["static"] = static
    environment.globals["htmx_script"] = htmx_script
    environment.globals["shown_field"] = write_shown_field
    for library in (desk_dates, desk_sentences, desk_words):
        environment.filters.update(library.register.filters)
    # A number as the language of the page writes it.
    environment.filters["localised"] = formats.localize
    environment.filters["localtime"] = to_local_time
    for name in ("capfirst", "floatformat", "linebreaksbr"):
        environment.filters[name] = getattr(defaultfilters, name)
    environment.filters["linebreaks"] = defaultfilters.linebreaks_filter
    return environment
