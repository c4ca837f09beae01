"""Makes the environment of what a page repeats hundreds of times; such parts are written in Jinja2, which is faster.

Such a part stands under ``desk/jinja2/``; a page's own template puts it in by the tag ``{% part "desk/….html" %}``. It
has the filters of the other templates under the same names. A part is compiled once for each language, with its texts
in that language, so that a page that has fifty of them looks none up.
"""

import functools
import re
from collections.abc import Mapping
from typing import Any

from django.forms import BoundField
from django.template import defaultfilters, engines
from django.template.defaultfilters import linebreaks_filter
from django.urls import NoReverseMatch, reverse
from django.utils import formats, translation
from django.utils.safestring import SafeString, mark_safe
from jinja2 import Environment, Template

from desk.rendering.part_texts import TextWriter
from desk.rendering.telling import speak_in
from desk.shared.shown import write_shown_field
from desk.templatetags import desk_dates, desk_sentences, desk_words
from treatments.rules.speaking import ENGLISH

# What stands as it is in an address, and what any kind of argument may be that is no number.
_is_plain = re.compile(r"[A-Za-z0-9-]+").fullmatch


@functools.lru_cache(maxsize=4096)
def find_address(name: str, *args: str | int) -> str:
    """Return the address of a page of the desk, e.g. ``find_address("vehicle", vin)``."""
    if all((type(arg) is int and arg >= 0) or (type(arg) is str and _is_plain(arg)) for arg in args):
        form = _find_form(name, tuple(type(arg) for arg in args))
        if form is not None:
            return form % args
    return reverse(f"desk:{name}", args=args)


@functools.lru_cache(maxsize=256)
def _find_form(name: str, kinds: tuple[type, ...]) -> str | None:
    """Return the addresses of a page with ``%s`` for each argument, since Django looks long for each of them."""
    stand_ins = [987650 + place if kind is int else f"stand-in-{place}" for place, kind in enumerate(kinds)]
    try:
        form = reverse(f"desk:{name}", args=stand_ins).replace("%", "%%")
    except NoReverseMatch:
        return None
    for stand_in in stand_ins:
        form = form.replace(str(stand_in), "%s")
    return form if form.count("%s") == len(kinds) else None


def mark(field: BoundField, code: object, word: str) -> str:
    """Return the attribute ``word`` for the choice of a field that is its value, '' for the others."""
    value = field.value()
    return f" {word}" if code == ("" if value is None else value) else ""


def write_part(name: str, values: Mapping[str, Any]) -> SafeString:
    """Return a part with these values; it escapes its own texts."""
    with speak_in(translation.get_language()):
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
    environment.globals["shown_field"] = write_shown_field
    for library in (desk_dates, desk_sentences, desk_words):
        environment.filters.update(library.register.filters)
    environment.filters["date"] = functools.partial(desk_dates.write_date, language=language)
    # In one language these say one word in one way.
    for name in ("in_words", "told", "count_of"):
        environment.filters[name] = functools.lru_cache(maxsize=8192, typed=True)(environment.filters[name])
    # A number as the language of the page writes it; the other templates do so with every number.
    environment.filters["localised"] = formats.localize
    environment.filters["floatformat"] = defaultfilters.floatformat
    environment.filters["linebreaksbr"] = defaultfilters.linebreaksbr
    environment.filters["linebreaks"] = linebreaks_filter
    return environment
