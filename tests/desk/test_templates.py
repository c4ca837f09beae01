"""Texts of the Jinja2 templates, and the words of the rules in them, are in the language of the page."""

import re
from decimal import Decimal
from pathlib import Path

import pytest
from django.template import engines
from django.utils import translation
from jinja2 import nodes

DESK = Path(__file__).resolve().parents[2] / "desk"
TEMPLATES = {
    (f"{path.parts[-3]}/" if path.parent.name == "templates" else "") + path.name: path for path in DESK.rglob("*.html")
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
            told[language] = engines["jinja2"].get_template("due/found_words.html").render({})
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


# Said when nothing can be rendered, so in both languages as they stand.
NOT_TRANSLATED = ("500.html",)
_READ_ALOUD = re.compile(r'(?:aria-label|title|alt|placeholder|content)="([^"]*)"')
# A mark behind a word, or a colon or semicolon at the beginning of a line; a sign that stands alone is no punctuation.
_MARK = re.compile(r"\S[:;!?](?=\s|$)|^\s*[:;](?=\s|$)", re.MULTILINE)


def list_bare_marks(source: str) -> list[str]:
    """Return what stands before each : ; ! ? that a template writes itself, and not in a text with a translation."""
    source = re.sub(r"(?s)\{#.*?#\}|<(script|style)\b.*?</\1>", "", source)
    source = re.sub(r"(?s)\{%[-+]? *trans\b.*?endtrans *[-+]?%\}|\{\{.*?\}\}|&#?\w+;", "X", source)
    source = re.sub(r"(?s)\{%[-+]? *(?:elif|else|for)\b.*?%\}", " ", source)
    source = re.sub(r"(?s)\{%.*?%\}", "", source)
    text = re.sub(r"(?s)<[^>]*>", " ", re.sub(r"</[^>]*>", "", source))
    return [
        part[max(found.start() - 20, 0) : found.end()]
        for part in (text, *_READ_ALOUD.findall(source))
        for found in _MARK.finditer(part)
    ]


@pytest.mark.parametrize("name", sorted(TEMPLATES.keys() - set(NOT_TRANSLATED)))
def test_a_mark_that_french_sets_apart_stands_in_a_translated_text(name: str) -> None:
    assert list_bare_marks(TEMPLATES[name].read_text(encoding="utf-8")) == [], (
        "write {{ colon }} or put it into the text"
    )


@pytest.mark.parametrize(
    ("source", "is_bare"),
    [
        ('{{ _("Air") }}: {{ air }}', True),
        ('<b>{{ _("Air") }}</b>: {{ air }}', True),
        ('{{ _("Air") }}{% if air %}: {{ air }}{% endif %}', True),
        ('{{ _("Air") }}\n: {{ air }}', True),
        ('<p title="{{ name }}: {{ air }}">', True),
        ("<p>Really?</p>", True),
        ("<a>{{ one }}</a>; {{ two }}", True),
        ('{{ _("Air") }}{{ colon }} {{ air }}', False),
        ("{% trans %}Air: {{ air }}{% endtrans %}", False),
        ('{{ hour }}:00 <span class="tag">!</span> {% if a %}✓{% else %}?{% endif %}', False),
    ],
)
def test_a_bare_mark_is_found(source: str, is_bare: bool) -> None:
    assert bool(list_bare_marks(source)) == is_bare


def test_a_colon_is_set_as_the_language_does() -> None:
    assert [render("{{ name }}{{ colon }} x", code, name="y") for code in ("en", "fr")] == ["y: x", "y\u202f: x"]


def list_bare_currencies(source: str) -> list[int]:
    """Return the lines that put a currency on the page other than by the filter ``money``."""
    tree = engines["jinja2"].env.parse(source)  # type: ignore[attr-defined]
    written = {
        id(node)
        for filtered in tree.find_all(nodes.Filter)
        if filtered.name == "money"
        for argument in filtered.args
        for node in (argument, *argument.find_all(nodes.Node))
    }
    names = [(node, node.attr) for node in tree.find_all(nodes.Getattr)]
    names += [(node, node.name) for node in tree.find_all(nodes.Name)]
    return [node.lineno for node, name in names if "currency" in name and id(node) not in written]


@pytest.mark.parametrize("name", sorted(TEMPLATES))
def test_an_amount_of_money_is_written_by_the_filter(name: str) -> None:
    assert list_bare_currencies(TEMPLATES[name].read_text(encoding="utf-8")) == []


def test_a_bare_currency_is_found() -> None:
    assert list_bare_currencies("{{ one.amount|money(one.currency) }}\n{{ one.amount }} {{ one.currency }}") == [2]
    assert list_bare_currencies(
        "{% trans amount=a, currency=one.currency %}{{ amount }} {{ currency }}{% endtrans %}"
    ) == [1]
    assert render("{{ one|money('USD') }}", "fr", one=Decimal("1200.5")) == "1\u202f200,50\u00a0$US"
