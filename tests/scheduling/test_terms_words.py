"""Terms as a file and as sentences: what is written reads back the same, and every field has its words."""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_document import read_published_terms, read_terms, write_terms
from scheduling.terms.rules.terms_guide import CHOICES, FIELDS, TABLES
from scheduling.terms.rules.terms_in_words import tell_terms
from scheduling.terms.rules.terms_toml import write_toml
from tests.conftest import FIXTURES

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
    lines = [line for part in tell_terms(terms) for line in part.lines]
    assert all(line.label and line.means and line.sentence.endswith(".") for line in lines)
    odd = re.compile(r"\{|None|missed_|_open_")
    assert not [line.sentence for line in lines if odd.search(line.sentence)]
    told = {re.sub(r"\[\d+\]", "", line.path) for line in lines}
    missing = {p for p in FIELDS if p not in told and not any(p.startswith(f"{q}.") for q in told)}
    assert missing <= {"code", "version", "transfer.max_transfers", "transfer.notice_days"}


def test_the_words_say_what_the_numbers_say() -> None:
    terms = read_terms(tomllib.loads((FIXTURES / "terms" / "ten_years_or_distance.toml").read_text("utf-8")))
    told = {line.path: line.sentence for part in tell_terms(terms) for line in part.lines}
    assert told["length_months"] == "The cover runs 120 months from the first treatment."
    assert told["distance_limit_km"] == "The cover expires when the vehicle reaches 240,000 km."
    assert told["reinspection.reduced_to_percent"] == "After a missed one 50 % of an allowed cost is paid."
    assert told["claims.deductible"] == "The customer pays 50.00 USD of each claim."
    assert told["touch_ups[0]"] == "Any film on any zone is renewed every 24 months."
    assert told["seasons"] == "No part of the year is preferred."
    nought = read_terms(write_terms(terms) | {"transfer": {"notice_days": 0}, "claims": {"notice_days": 0}})
    told = {line.path: line.sentence for part in tell_terms(nought) for line in part.lines}
    assert told["transfer.notice_days"] == "The shop must be told of a new owner within 0 days, or the cover ends."
    assert told["claims.waiting_days"] == "There is no waiting period."
    assert told["claims.deductible"] == "The customer pays nothing of a claim."
