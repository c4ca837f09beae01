"""Terms as explanations for a reader who has not seen their fields: one line for each field, grouped as in a contract.

The words are those of terms_guide.py; nothing is left out, so that what is not promised is said too.
"""

from collections.abc import Callable, Mapping
from dataclasses import Field, dataclass, fields
from decimal import Decimal
from enum import StrEnum
from typing import Any

from scheduling.terms.rules.terms import PayDownStep, SeasonTerms, Terms, TermsTexts, TouchUpTerms
from scheduling.terms.rules.terms_guide import CHOICES, FIELDS, TABLES, FieldGuide
from treatments.rules.explanation import Explanation, Label, OwnWords, Param, Quantity, ZoneCode, explain
from treatments.rules.formats import Money

_LISTED: Mapping[str, Callable[[Any], Param]] = {
    "entry.required_zones": lambda codes: tuple(map(ZoneCode, codes)),
    "claims.excluded_zones": lambda codes: tuple(map(ZoneCode, codes)),
    "claims.damage_covered": lambda kinds: tuple(map(Label, kinds)),
    "claims.exclusions": lambda written: OwnWords("; ".join(written)),
}


@dataclass(frozen=True, slots=True)
class TermsLine:
    """One field in words: its path, its name, what these terms say about it, and what the field means.

    Attributes:
        number: that of a row of a list of tables, from 1; None for a single field.
    """

    path: str
    label: str
    explanation: Explanation
    means: str
    number: int | None = None


@dataclass(frozen=True, slots=True)
class TermsPart:
    """The lines of one part of the terms."""

    path: str
    title: str
    means: str
    lines: tuple[TermsLine, ...]


def explain_terms(terms: Terms) -> tuple[TermsPart, ...]:
    """Return the whole terms in words."""
    whole: list[TermsLine] = []
    parts: list[TermsPart] = []
    for field in fields(terms):
        value = getattr(terms, field.name)
        if field.name in TABLES:
            parts.append(_explain_part(field.name, value, terms))
        elif field.name not in ("code", "version"):  # the page's heading
            whole.append(_explain_line(field.name, field, value, terms))
    return (TermsPart("", TABLES[""].label, TABLES[""].means, tuple(whole)), *parts)


def _explain_part(path: str, value: Any, terms: Terms) -> TermsPart:
    guide = TABLES[path]
    if value is None or value == ():
        lines = [TermsLine(path, guide.label, explain(f"terms.field.{path}.without"), guide.means)]
    elif isinstance(value, tuple):
        lines = [
            TermsLine(f"{path}[{number}]", guide.row, _explain_row(row), guide.means, number + 1)
            for number, row in enumerate(value)
        ]
    else:
        lines = []
        for field in fields(value):
            if path == "transfer" and field.name != "allowed" and not value.allowed:
                continue  # they speak of owners that the cover doesn't follow
            inner = f"{path}.{field.name}"
            if inner in TABLES:
                lines += _explain_part(inner, getattr(value, field.name), terms).lines
            else:
                lines.append(_explain_line(inner, field, getattr(value, field.name), terms))
    return TermsPart(path, guide.label, guide.means, tuple(lines))


def _explain_line(path: str, field: "Field[Any]", value: Any, terms: Terms) -> TermsLine:
    guide = FIELDS[path]
    # A nought in a field that can be left out is a promise of its own: 0 days of notice are not "no notice period".
    nought = isinstance(value, int | Decimal) and value == 0 and (value is False or field.default is not None)
    if path == "distance_from" and terms.distance_limit_km is None:
        explanation = explain("terms.field.distance_from.without_limit")
    elif guide.without and (value is None or value == () or nought):
        explanation = explain(f"terms.field.{path}.without")
    elif f"{path}.{value}" in CHOICES:
        explanation = explain(f"terms.field.{path}.{value}")
    else:
        explanation = explain(f"terms.field.{path}", value=_type_value(path, value, guide, terms.currency))
    return TermsLine(path, guide.label, explanation, guide.means)


def _type_value(path: str, value: Any, guide: FieldGuide, currency: str) -> Param:
    """Return one value as a parameter, with its unit."""
    if path in _LISTED:
        return _LISTED[path](value)
    if isinstance(value, StrEnum):
        return str(value)
    if isinstance(value, str):
        return OwnWords(value)
    if guide.unit == "money":
        return Money(value, currency)
    if guide.unit == "km":
        return Quantity(_drop_noughts(Decimal(value)), guide.unit)
    if guide.unit == "%":
        return explain("terms.value.percent", percent=_drop_noughts(value))
    return explain(f"terms.value.{guide.unit.replace(' ', '_')}", count=value) if guide.unit else int(value)


def _drop_noughts(value: Decimal) -> Decimal:
    """Return a number without noughts that say nothing: 50.00 is 50."""
    whole = value.to_integral_value()
    return whole if value == whole else value.normalize()


def _explain_row(row: Any) -> Explanation:
    if isinstance(row, TouchUpTerms):
        params: dict[str, Param] = {"months": row.interval_months}
        code = "terms.touch_up"
        if row.family:
            code, params["film"] = f"{code}.of_family", explain(f"terms.film.{row.family}")
        if row.zone_kind:
            code, params["kind"] = f"{code}.on_kind", Label(row.zone_kind)
        return explain(code, **params)
    if isinstance(row, SeasonTerms):
        return explain(
            "terms.season",
            first_day=row.first_day,
            first_month=explain(f"calendar.month.{row.first_month}"),
            last_day=row.last_day,
            last_month=explain(f"calendar.month.{row.last_month}"),
        )
    if isinstance(row, TermsTexts):
        told = "; ".join((row.title, *row.exclusions))
        return explain("terms.texts", language=OwnWords(row.language), texts=OwnWords(told))
    assert isinstance(row, PayDownStep)
    return explain("terms.pay_down_step", month=row.from_month, percent=_drop_noughts(row.percent))
