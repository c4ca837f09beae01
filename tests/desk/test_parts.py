"""The parts of pages are compiled with their texts in the language of the page."""

import pytest
from django.template import engines
from django.utils import translation
from jinja2 import DictLoader, Template

from desk.parts import DeskEnvironment, make_environment, write_part
from desk.telling import find_language, speak_in, tell

TEXTS = {
    "plain": "{{ _('None.') }}|{{ _('None.')|upper }}|{% set told = _('None.') %}{{ told }}",
    "filled": "{{ _('found %(day)s', day=day) }}",
    "called": "{% set text = 'None.' %}{{ _(text) }}",
    "percent": "{{ _('100 %%') }}",
    "macro": "{% macro say() %}{{ _('None.') }}{% endmacro %}{{ say() }}",
}


@pytest.fixture
def desk() -> DeskEnvironment:
    return make_environment(loader=DictLoader(TEXTS), autoescape=True)


def write(template: Template, **values: object) -> str:
    return template.render(values)


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("name", TEXTS)
def test_a_part_put_into_a_language_says_what_it_says_when_it_is_told_as_it_is_written(
    desk: DeskEnvironment, name: str, language: str
) -> None:
    with translation.override(language):
        told = write(desk.get_template(name), day="<b>3 & 4</b>")
    # Whatever language is spoken meanwhile, the compiled text stays.
    with translation.override("fr" if language == "en" else "en"):
        compiled = write(desk.put_into(language).get_template(name), day="<b>3 & 4</b>")
    if name == "called":  # no text that is known when the part is compiled
        assert compiled != told
    else:
        assert compiled == told


def test_texts_of_both_languages_stand_apart_and_what_is_put_in_is_escaped(desk: DeskEnvironment) -> None:
    french = write(desk.put_into("fr").get_template("filled"), day="<b>")
    english = write(desk.put_into("en").get_template("filled"), day="<b>")
    assert english == "found &lt;b&gt;"
    assert french.endswith("&lt;b&gt;") and french != english
    assert desk.put_into("fr") is desk.put_into("fr") is not desk.put_into("en")
    assert desk.put_into(None) is desk


def test_a_part_is_written_in_the_language_of_the_page() -> None:
    assert isinstance(engines["jinja2"].env, DeskEnvironment)  # type: ignore[attr-defined]
    told = {}
    for language in ("en", "fr", "en"):
        with translation.override(language):
            told[language] = write_part("desk/due_found_words.html", {})
    assert told["en"] != told["fr"]


def test_words_are_told_in_the_language_of_the_part_and_then_of_the_page_again() -> None:
    with translation.override("en"):
        with speak_in("fr"):
            assert find_language() == "fr" and tell("holds") != "holds"
        assert find_language() == "en" and tell("holds") == "holds"


def test_zones_are_named_as_they_were_told_with_the_sentence() -> None:
    first, second = {"sill_left": "Left sill"}, {"sill_left": "Sill on the left"}
    with translation.override("en"):
        told = [tell("Touch-up of sill_left.", names) for names in (first, second, dict(first), first)]
    assert [text.removeprefix("Touch-up of ") for text in told] == [
        "Left sill.", "Sill on the left.", "Left sill.", "Left sill.",
    ]  # fmt: skip
