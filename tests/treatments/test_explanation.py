"""Explanations keep their parameters and types as JSON, and every code of every app is rendered in each language."""

import json
import re
from datetime import date
from decimal import Decimal
from string import Formatter

import pytest
from django.utils import translation

from treatments.rules.explanation import (
    Explanation,
    Label,
    OwnWords,
    Param,
    Plural,
    ProductName,
    Quantity,
    ZoneCode,
    from_json,
    render_in_english,
    to_json,
)
from treatments.rules.formats import Money
from treatments.shared.rendering import read_messages, render, render_all

DAY = date(2026, 3, 1)
WAX = Label("cavity_wax")
CODES = sorted(read_messages())
# A film is one in French, too.
ALIKE_IN_FRENCH = {"looks.film"}


def list_gaps(code: str) -> set[str]:
    message = read_messages()[code]
    texts = (message.one, message.many) if isinstance(message, Plural) else (message,)
    gaps = [{name for _, name, _, _ in Formatter().parse(text) if name} for text in texts]
    assert all(found == gaps[0] for found in gaps), "one and several have the same gaps"
    return gaps[0]


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("language", ["en", "fr"])
def test_every_code_is_rendered_with_all_its_parameters(code: str, language: str) -> None:
    message = read_messages()[code]
    counted = message.counted if isinstance(message, Plural) else ""
    for count in (1, 2):
        words = {name: f"<{name}>" for name in list_gaps(code)}
        params: dict[str, Param] = {name: count if name == counted else OwnWords(text) for name, text in words.items()}
        with translation.override(language):
            told = render(Explanation(code, params))
        shown = {str(count) if name == counted else text for name, text in words.items()}
        assert all(text in told for text in shown)
        assert not re.search(r"[{}]", told)
        english = render_in_english([Explanation(code, params)], read_messages())
        # Some only join their parameters, and may do it alike in both languages.
        has_words = re.search(r"[A-Za-z]", re.sub(r"\{\w+\}", "", str(message)))
        if language == "en" or (has_words and code not in ALIKE_IN_FRENCH):
            assert (told == english) is (language == "en"), "there is French for it"


@pytest.mark.parametrize(
    ("value", "english", "french"),
    [
        (DAY, "1 March 2026", "1er mars 2026"),
        (3, "3", "3"),
        (Decimal("12.5"), "12.5", "12,5"),
        (Decimal(100_000), "100,000", "100\u202f000"),
        (Quantity(Decimal("0.75"), "L"), "0.75 L", "0,75 L"),
        (Money(Decimal("1200.00"), "USD"), "$1,200.00", "1\u202f200,00\u00a0$US"),
        (ZoneCode("sill"), "Sill", "Sill"),
        (ZoneCode("unknown_zone"), "unknown_zone", "unknown_zone"),
        (ProductName("Fenwax; {n} Cavity"), "Fenwax; {n} Cavity", "Fenwax; {n} Cavity"),
        (OwnWords("cavity wax"), "cavity wax", "cavity wax"),
        ("C5", "C5", "C5"),
        (WAX, "cavity wax", "cire pour corps creux"),
        ((DAY, ZoneCode("sill")), "1 March 2026, Sill", "1er mars 2026, Sill"),
        ((OwnWords("a"), OwnWords("b, c")), "a, b, c", "a, b, c"),
        (None, "", ""),
    ],
)
def test_a_parameter_keeps_its_type_and_is_written_as_the_language_does(
    value: Param, english: str, french: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(read_messages(), "test.one_gap", "{value}")
    explanation = Explanation("test.one_gap", {"value": value})
    stored = json.loads(json.dumps(to_json(explanation)))
    assert from_json(stored) == explanation
    for language, told in (("en", english), ("fr", french)):
        with translation.override(language):
            assert render(explanation, {"sill": "Sill"}) == render(stored, {"sill": "Sill"}) == told


def test_what_is_no_parameter_is_refused() -> None:
    with pytest.raises(ValueError, match="no parameter"):
        from_json({"code": "odometer.none", "params": {"value": {"colour": "red"}}})


def test_the_count_decides_between_one_and_several() -> None:
    told = {}
    for days in (0, 1, 2):
        explanation = Explanation("due.opens", {"days": days, "raw_on": DAY})
        for language in ("en", "fr"):
            with translation.override(language):
                told[language, days] = render(explanation)
    assert told["en", 0] == "The window opens 0 days before 1 March 2026."
    assert told["en", 1] == "The window opens 1 day before 1 March 2026."
    assert told["fr", 0] == "La période s’ouvre 0\u00a0jour avant le 1er mars 2026."
    assert told["fr", 2] == "La période s’ouvre 2\u00a0jours avant le 1er mars 2026."


@pytest.mark.parametrize(
    "typed", ["There are no days of grace.", "a public holiday", "Recoated on {done_on}.", "2026-03-01"]
)
def test_what_a_person_typed_stays_even_where_it_looks_like_a_text_of_ours(typed: str) -> None:
    waived = Explanation("due.waived", {"waived_on": DAY, "reason": OwnWords(typed)})
    with translation.override("fr"):
        assert render(waived) == f"Dispensé le 1er mars 2026\u202f: {typed}."
        assert render_all([waived, Explanation("due.grace.none")]).endswith("Il n’y a pas de jours de grâce.")
