"""Makes the environment of what a page repeats hundreds of times; such parts are written in Jinja2, which is faster.

Such a part stands under ``desk/jinja2/``; a page's own template puts it in by the tag ``{% part "desk/….html" %}``. It
has the filters of the other templates under the same names. A part is compiled once for each language, with its texts
in that language, so that a page that has fifty of them looks none up.
"""

import functools
from collections.abc import Mapping
from typing import Any

from django.template import defaultfilters, engines
from django.urls import reverse
from django.utils import formats, translation
from django.utils.safestring import SafeString, mark_safe
from jinja2 import Environment, Template, nodes
from jinja2.visitor import NodeTransformer

from desk.moulds import mark
from desk.telling import speak_in
from desk.templatetags import desk_dates, desk_sentences, desk_words


@functools.lru_cache(maxsize=4096)
def find_address(name: str, *args: str | int) -> str:
    """Return the address of a page of the desk, e.g. ``find_address("vehicle", vin)``."""
    return reverse(f"desk:{name}", args=args)


@functools.lru_cache(maxsize=4096)
def _say(text: str, language: str | None) -> str:
    """Return a text in the language, which is that of the page."""
    return translation.gettext(text)


def write_part(name: str, values: Mapping[str, Any]) -> SafeString:
    """Return a part with these values; it escapes its own texts."""
    language = translation.get_language()
    with speak_in(language):
        return mark_safe(find_template(name, language).render(values))


def find_template(name: str, language: str | None) -> Template:
    """Return the template of a part with its texts in a language."""
    desk: DeskEnvironment = engines["jinja2"].env  # type: ignore[attr-defined]
    return desk.put_into(language).get_template(name)


class DeskEnvironment(Environment):
    """The environment of the parts; one that is put into a language compiles their texts in that language."""

    language: str | None = None

    def put_into(self, language: str | None) -> "DeskEnvironment":
        """Return the same environment for one language; itself where there is none."""
        if language is None:
            return self
        # Kept here and not in the module, since tests make the environment anew.
        spoken: dict[str, DeskEnvironment] = self.__dict__.setdefault("_spoken", {})
        if language not in spoken:
            made = self.overlay()
            made.language = language
            spoken[language] = made
        return spoken[language]

    def _parse(self, source: str, name: str | None, filename: str | None) -> nodes.Template:
        # Jinja2 has no public place between reading a template and writing its code.
        template = super()._parse(source, name, filename)
        return _TextsPutIn(self.language).visit(template) if self.language is not None else template


class _TextsPutIn(NodeTransformer):
    """Puts the text in a language in the place of each ``_("…")``; it means what Jinja2's own call would give."""

    def __init__(self, language: str) -> None:
        self._language = language

    def visit_Call(self, node: nodes.Call) -> nodes.Node:
        self.generic_visit(node)
        is_text = isinstance(node.node, nodes.Name) and node.node.name == "_"
        if not is_text or len(node.args) != 1 or not isinstance(node.args[0], nodes.Const) or node.dyn_kwargs:
            return node
        with translation.override(self._language):
            text = _say(node.args[0].value, self._language)
        if not node.kwargs:
            return nodes.TemplateData(text % {}, lineno=node.lineno)
        given = [nodes.Pair(nodes.Const(one.key), one.value, lineno=one.lineno) for one in node.kwargs]
        return nodes.Mod(
            nodes.TemplateData(text, lineno=node.lineno), nodes.Dict(given, lineno=node.lineno), lineno=node.lineno
        )


def make_environment(**options: Any) -> DeskEnvironment:
    """Return the environment that the settings name; ``options`` are Django's."""
    environment = DeskEnvironment(**options, trim_blocks=True, lstrip_blocks=True, extensions=["jinja2.ext.i18n"])
    environment.install_gettext_callables(  # type: ignore[attr-defined]
        lambda text: _say(text, translation.get_language()), translation.ngettext, newstyle=True
    )
    environment.globals["address"] = find_address
    environment.globals["mark"] = mark
    for library in (desk_dates, desk_sentences, desk_words):
        environment.filters.update(library.register.filters)
    # A number as the language of the page writes it; the other templates do so with every number.
    environment.filters["localised"] = formats.localize
    environment.filters["floatformat"] = defaultfilters.floatformat
    environment.filters["linebreaksbr"] = defaultfilters.linebreaksbr
    return environment
