"""Terms as a file and as sentences: what is written reads back the same, and every field has its words."""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest
from django.utils.translation import override
from hypothesis import given
from hypothesis import strategies as st

from scheduling.terms.rules.terms import Terms, TouchUpTerms
from scheduling.terms.rules.terms_document import read_published_terms, read_terms, write_terms, write_toml
from scheduling.terms.rules.terms_guide import CHOICES, FIELDS, TABLES
from scheduling.terms.rules.terms_in_words import explain_terms
from tests.conftest import FIXTURES
from treatments.enums import ProductFamily, ZoneKind
from treatments.rules.explanation import Label, Param, Quantity, explain
from treatments.rules.formats import Money
from treatments.shared.rendering import render

pytestmark = pytest.mark.slow

SAMPLES = sorted((FIXTURES / "terms").glob("*.toml"))


def walk(kind: Any = Terms, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield the path and type of every plain field of the terms."""
    for field in fields(kind):
        hint, inner = get_type_hints(kind)[field.name], f"{path}.{field.name}".lstrip(".")
        table = next((part for part in (hint, *get_args(hint)) if is_dataclass(part)), None)
        if table:
            assert inner in TABLES
            yield from walk(table, inner)
        else:
            yield inner, hint


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_file_written_from_terms_reads_back_to_them(path: Path) -> None:
    terms = read_terms(tomllib.loads(path.read_text("utf-8")))
    text = write_toml(write_terms(terms))
    assert read_terms(tomllib.loads(text)) == terms
    assert write_toml(write_terms(read_terms(tomllib.loads(text)))) == text


texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), min_size=1).filter(str.strip)


@given(texts, st.lists(texts, max_size=3), st.lists(st.integers(1, 60), max_size=3), st.booleans())
def test_any_text_and_any_number_of_rows_survive_the_file(
    title: str, exclusions: list[str], intervals: list[int], reinspected: bool
) -> None:
    document = {
        "code": "any",
        "version": 1,
        "title": title,
        **({"reinspection": {}} if reinspected else {}),
        "touch_ups": [{"interval_months": months} for months in intervals],
        "claims": {"exclusions": exclusions, "pay_down": [{"from_month": m, "percent": "12.50"} for m in intervals]},
    }
    terms = read_published_terms(document)
    assert read_published_terms(tomllib.loads(write_toml(write_terms(terms)))) == terms


def test_the_writer_refuses_what_no_terms_hold() -> None:
    with pytest.raises(TypeError, match="holds no float"):
        write_toml({"a": 1.5})


def test_every_field_and_choice_has_its_words() -> None:
    found = dict(walk())
    assert set(found) == set(FIELDS)
    for path, hint in found.items():
        kind = next((part for part in (hint, *get_args(hint)) if isinstance(part, type)), None)
        sentences = [name for name in CHOICES if name.startswith(f"{path}.")]
        if sentences:
            assert isinstance(kind, type)
            assert issubclass(kind, StrEnum)
            assert sentences == [f"{path}.{word}" for word in kind]


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_field_is_told_in_a_sentence(path: Path) -> None:
    terms = read_terms(tomllib.loads(path.read_text("utf-8")))
    lines = [line for part in explain_terms(terms) for line in part.lines]
    assert all(line.label and line.means and render(line.explanation).endswith(".") for line in lines)
    odd = re.compile(r"\{|None|missed_|_open_")
    assert not [text for line in lines if odd.search(text := render(line.explanation))]
    told = {re.sub(r"\[\d+\]", "", line.path) for line in lines}
    missing = {p for p in FIELDS if p not in told and not any(p.startswith(f"{q}.") for q in told)}
    assert missing <= {"code", "version", "transfer.max_transfers", "transfer.notice_days"}


def read_values(terms: Terms) -> dict[str, tuple[str, object]]:
    """Return by the path of each line its code and the value that it tells."""
    lines = [line for part in explain_terms(terms) for line in part.lines]
    return {line.path: (line.explanation.code, line.explanation.params.get("value")) for line in lines}


def test_the_words_say_what_the_numbers_say() -> None:
    terms = read_terms(tomllib.loads((FIXTURES / "terms" / "ten_years_or_distance.toml").read_text("utf-8")))
    found = read_values(terms)
    assert found["length_months"] == ("terms.field.length_months", explain("terms.value.months", count=120))
    assert found["distance_limit_km"] == ("terms.field.distance_limit_km", Quantity(Decimal(240_000), "km"))
    assert found["distance_from"] == (f"terms.field.distance_from.{terms.distance_from}", None)
    percent = explain("terms.value.percent", percent=Decimal(50))
    assert found["reinspection.reduced_to_percent"] == ("terms.field.reinspection.reduced_to_percent", percent)
    assert found["claims.deductible"] == ("terms.field.claims.deductible", Money(Decimal("50.00"), "USD"))
    assert found["seasons"] == ("terms.field.seasons.without", None)
    rows = {line.path: line for part in explain_terms(terms) for line in part.lines if line.number}
    assert rows["touch_ups[0]"].explanation == explain("terms.touch_up", months=24)
    assert rows["touch_ups[0]"].number == 1
    nought = read_terms(write_terms(terms) | {"transfer": {"notice_days": 0}, "claims": {"notice_days": 0}})
    found = read_values(nought)
    assert found["transfer.notice_days"] == ("terms.field.transfer.notice_days", explain("terms.value.days", count=0))
    assert found["claims.waiting_days"] == ("terms.field.claims.waiting_days.without", None)
    assert found["claims.deductible"] == ("terms.field.claims.deductible.without", None)


@pytest.mark.parametrize(
    ("row", "code", "params"),
    [
        (TouchUpTerms(1), "terms.touch_up", {}),
        (
            TouchUpTerms(1, ProductFamily.CAVITY_WAX),
            "terms.touch_up.of_family",
            {"film": explain("terms.film.cavity_wax")},
        ),
        (TouchUpTerms(1, None, ZoneKind.SEAM), "terms.touch_up.on_kind", {"kind": Label("seam")}),
        (
            TouchUpTerms(1, ProductFamily.CAVITY_WAX, ZoneKind.SEAM),
            "terms.touch_up.of_family.on_kind",
            {"film": explain("terms.film.cavity_wax"), "kind": Label("seam")},
        ),
    ],
)
def test_a_touch_up_names_its_family_and_kind_of_zone(row: TouchUpTerms, code: str, params: dict[str, Param]) -> None:
    terms = Terms("any", 1, "Any", touch_ups=(row,))
    (line,) = next(part.lines for part in explain_terms(terms) if part.path == "touch_ups")
    assert line.explanation == explain(code, **params, months=1)


def test_a_distance_is_told_with_its_thousands_apart() -> None:
    line = explain("terms.field.distance_limit_km", value=Quantity(Decimal(240_000), "km"))
    with override("en"):
        assert "240,000 km" in render(line)
    with override("fr"):
        assert "240\u202f000 km" in render(line)
