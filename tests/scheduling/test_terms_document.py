"""Terms documents: the samples read back, and every mistake is named with its field, value and way out."""

import copy
import tomllib
from typing import Any

import pytest

from scheduling.terms.rules.terms_document import TermsError, read_terms, write_terms
from tests.conftest import FIXTURES
from treatments.shared.rendering import render

SAMPLES = sorted((FIXTURES / "terms").glob("*.toml"))


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_samples_read_and_write_back(path: Any) -> None:
    terms = read_terms(tomllib.loads(path.read_text("utf-8")))
    assert read_terms(write_terms(terms)) == terms


def change(document: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    changed = copy.deepcopy(document)
    *tables, name = path.split(".")
    table = changed
    for step in tables:
        table = table.setdefault(step, {})
    table[name] = value
    return changed


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        ("reinspection.window_before_days", 400, "reinspection.window_before_days"),
        ("reinspection.interval_months", 0, "reinspection.interval_months"),
        ("reinspection.missed_means", "explodes", "reinspection.missed_means"),
        ("reinspection.missed_means", "reduces", "reinspection.reduced_to_percent"),
        ("reinspection.grace_days", -1, "reinspection.grace_days"),
        ("length_months", "ten", "length_months"),
        ("length_months", True, "length_months"),
        ("currency", "dollars", "currency"),
        ("claims.limit_per_claim", "9000", "claims.limit_per_claim"),
        ("claims.deductible", "NaN", "claims.deductible"),
        ("claims.damage_covered", ["dents"], "claims.damage_covered[0]"),
        ("severe_exposure.reinspection_interval_months", 24, "severe_exposure.reinspection_interval_months"),
        ("seasons", [{"first_month": 2, "first_day": 29, "last_month": 3, "last_day": 1}], "seasons[0].first_day"),
        ("touch_ups", [{"interval_months": 12}, {"interval_months": 24}], "touch_ups[1]"),
        ("reinspektion", {}, "reinspektion"),
    ],
)
def test_a_mistake_names_its_field(path: str, value: Any, field: str) -> None:
    document = tomllib.loads((FIXTURES / "terms" / "lifetime_yearly.toml").read_text("utf-8"))
    read_terms(document)
    with pytest.raises(TermsError) as caught:
        read_terms(change(document, path, value))
    assert field in [problem.field for problem in caught.value.problems]
    assert all(render(problem.explanation) for problem in caught.value.problems)


def test_all_mistakes_are_told_at_once() -> None:
    with pytest.raises(TermsError) as caught:
        read_terms({"code": "", "version": "1", "currency": 5})
    assert [problem.field for problem in caught.value.problems] == ["code", "version", "title", "currency"]


def test_what_a_document_leaves_out_stays_what_it_was() -> None:
    """Published documents rest on it: a default that moves would move their dates."""
    assert write_terms(read_terms({"code": "t", "version": 1, "title": "T", "reinspection": {}})) == {
        "code": "t",
        "version": 1,
        "title": "T",
        "currency": "USD",
        "distance_from": "odometer",
        "roll": "next_open_day",
        "entry": {"required_zones": [], "intake_inspection_required": True},
        "reinspection": {
            "first_after_months": 12,
            "interval_months": 12,
            "anchor": "anniversary",
            "window_before_days": 60,
            "window_after_days": 0,
            "grace_days": 30,
            "missed_means": "suspends",
        },
        "touch_ups": [],
        "seasons": [],
        "transfer": {"allowed": True},
        "claims": {
            "damage_covered": ["perforation_from_within"],
            "exclusions": [],
            "excluded_zones": [],
            "waiting_days": 0,
            "deductible": "0",
            "pay_down": [],
        },
        "texts": [],
    }
