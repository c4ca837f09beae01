"""Makes the environment of what a page repeats hundreds of times; such parts are written in Jinja2, which is faster.

Such a part stands under ``desk/jinja2/``; a page's own template puts it in by the tag ``{% part "desk/….html" %}``. It
has the filters of the other templates under the same names.
"""

import functools
from collections.abc import Mapping
from typing import Any

from django.template import defaultfilters, engines
from django.urls import reverse
from django.utils import formats, translation
from django.utils.safestring import SafeString, mark_safe
from jinja2 import Environment, Template

from desk.moulds import mark
from desk.part_texts import TextWriter
from desk.templatetags import desk_dates, desk_sentences, desk_words
from treatments.rules.speaking import ENGLISH


@functools.lru_cache(maxsize=4096)
def find_address(name: str, *args: str | int) -> str:
    """Return the address of a page of the desk, e.g. ``find_address("vehicle", vin)``."""
    return reverse(f"desk:{name}", args=args)


def write_part(name: str, values: Mapping[str, Any]) -> SafeString:
    """Return a part with these values; it escapes its own texts."""
    return mark_safe(engines["jinja2"].get_template(name).render(dict(values)))


class PartsEnvironment(Environment):
    """Gives out each part in the language of the page, from an environment made for that language."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self._options = options
        self._by_language: dict[str, Environment] = {}

    def get_template(self, name: Any, *args: Any, **options: Any) -> Template:
        language = translation.get_language() or ENGLISH
        spoken = self._by_language.get(language)
        if spoken is None:
            # The languages of the settings are the only ones that a page can have.
            spoken = self._by_language[language] = _make_spoken_environment(language, self._options)
        return spoken.get_template(name, *args, **options)


def make_environment(**options: Any) -> Environment:
    """Return the environment that the settings name; ``options`` are Django's."""
    return PartsEnvironment(**options)


def _make_spoken_environment(language: str, options: Mapping[str, Any]) -> Environment:
    """Return the environment of the parts in a language."""
    environment = Environment(**options, trim_blocks=True, lstrip_blocks=True, extensions=["jinja2.ext.i18n"])
    environment.extend(language=language)
    environment.code_generator_class = TextWriter
    environment.install_gettext_callables(  # type: ignore[attr-defined]
        translation.gettext, translation.ngettext, newstyle=True
    )
    environment.globals["address"] = find_address
    environment.globals["mark"] = mark
    for library in (desk_dates, desk_sentences, desk_words):
        environment.filters.update(library.register.filters)
    # A number as the language of the page writes it; the other templates do so with every number.
    environment.filters["localised"] = formats.localize
    environment.filters["floatformat"] = defaultfilters.floatformat
    return environment
