"""Texts of the Jinja2 templates, and the words of the rules in them, are in the language of the page."""

import re
from pathlib import Path

import pytest
from django.template import engines
from django.utils import translation
from jinja2 import nodes

from desk.rendering.telling import tell

DESK = Path(__file__).resolve().parents[2] / "desk"
TEMPLATES = {
    path.relative_to(folder).as_posix(): path for folder in DESK.rglob("jinja2") for path in folder.rglob("*.html")
}
IMPORTED = sorted(
    {
        name
        for path in TEMPLATES.values()
        for name in re.findall(r'{% (?:import|from) "([^"]+)"', path.read_text(encoding="utf-8"))
    }
)


def render(text: str, language: str = "en", **values: object) -> str:
    with translation.override(language):
        return engines["jinja2"].from_string(text).render(values)


def test_a_template_is_rendered_in_the_language_of_the_page() -> None:
    told = {}
    for language in ("en", "fr", "en"):
        with translation.override(language):
            told[language] = engines["jinja2"].get_template("desk/due_found_words.html").render({})
    assert told["en"] != told["fr"]


def test_the_value_in_a_gap_is_escaped_and_the_text_is_not() -> None:
    assert render('{{ _("<b>from</b> %(day)s", day=day) }}', day="<i>") == "<b>from</b> &lt;i&gt;"


@pytest.mark.parametrize("name", IMPORTED)
def test_an_imported_template_has_texts_in_its_macros_only(name: str) -> None:
    # Jinja2 keeps an imported template; what it says outside a macro would stay in the first language.
    tree = engines["jinja2"].env.parse(TEMPLATES[name].read_text(encoding="utf-8"))  # type: ignore[attr-defined]
    outside = [node for node in tree.body if not isinstance(node, nodes.Macro)]
    calls = [call.node for node in outside for call in node.find_all(nodes.Call)]
    assert not [call for call in calls if isinstance(call, nodes.Name) and call.name in ("_", "gettext", "ngettext")]


def test_zones_are_named_as_they_were_told_with_the_sentence() -> None:
    first, second = {"sill_left": "Left sill"}, {"sill_left": "Sill on the left"}
    with translation.override("en"):
        told = [tell("Touch-up of sill_left.", names) for names in (first, second, dict(first), first)]
    assert [text.removeprefix("Touch-up of ") for text in told] == [
        "Left sill.", "Sill on the left.", "Left sill.", "Left sill.",
    ]  # fmt: skip
