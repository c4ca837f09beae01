"""Texts of parts are in the language of the page, whoever opened the part first, and escape what they are given."""

from pathlib import Path

import pytest
from django.template import engines
from django.utils import translation
from jinja2 import DictLoader, Environment

from desk.rendering.parts import make_environment

PARTS = sorted((Path(__file__).resolve().parents[2] / "desk" / "jinja2" / "desk").glob("*.html"))


def write(text: str, language: str = "en", environment: Environment | None = None, **values: object) -> str:
    one = environment or make_environment(loader=DictLoader({"part": text}), autoescape=True)
    with translation.override(language):
        return one.get_template("part").render(**values)


def test_a_part_is_written_in_the_language_of_each_page() -> None:
    one = make_environment(loader=DictLoader({"part": '{{ _("Show") }}'}), autoescape=True)
    said = [write("", language, one) for language in ("fr", "en", "fr")]
    assert said == ["Afficher", "Show", "Afficher"]


def test_the_value_in_a_gap_is_escaped_and_the_text_is_not() -> None:
    text = '{{ _("<b>from</b> %(day)s", day=day) }}|{% set told = _("<b>from</b> %(day)s", day=day) %}{{ told }}'
    assert write(text, day="<i>") == "<b>from</b> &lt;i&gt;|<b>from</b> &lt;i&gt;"


def test_a_text_within_an_expression_is_said_too() -> None:
    text = '{{ _("Show") if asked else _("from %(day)s", day=day|upper) }}'
    assert write(text, "fr", asked=True) == "Afficher"
    assert write(text, "fr", asked=False, day="a") == "à partir du A"


def test_a_per_cent_sign_is_written_twice_in_a_text() -> None:
    assert write('{{ _("%(n)s %% of all", n=5) }}') == "5 % of all"
    assert write('{{ _("%%") }}') == "%"


def test_a_gap_without_a_value_is_an_error_when_it_is_written() -> None:
    with pytest.raises(KeyError):
        write('{{ _("from %(day)s") }}')
    assert write('{% if asked %}{{ _("from %(day)s") }}{% endif %}', asked=False) == ""


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name)
def test_no_part_of_the_desk_asks_for_a_text_when_it_is_written(part: Path, language: str) -> None:
    with translation.override(language):
        name = f"desk/{part.name}"
        spoken = engines["jinja2"].get_template(name).template.environment  # type: ignore[attr-defined]
        compiled = spoken.compile(part.read_text(encoding="utf-8"), name=name, raw=True)
    assert "resolve('_')" not in compiled
