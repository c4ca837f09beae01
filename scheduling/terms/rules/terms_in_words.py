"""Terms as sentences for a reader who has not seen their fields: one line for each field, grouped as in a contract.

The words are those of terms_guide.py; nothing is left out, so that what is not promised is said too.
"""

import calendar
from collections.abc import Mapping
from dataclasses import Field, dataclass, fields
from decimal import Decimal
from enum import StrEnum
from typing import Any

from scheduling.terms.rules.terms import PayDownStep, SeasonTerms, Terms, TouchUpTerms
from scheduling.terms.rules.terms_guide import CHOICES, FIELDS, TABLES, FieldGuide
from treatments.enums import say
from treatments.rules.money import Money


@dataclass(frozen=True, slots=True)
class TermsLine:
    """One field in words: its path, its name, what these terms say about it, and what the field means."""

    path: str
    label: str
    sentence: str
    means: str


@dataclass(frozen=True, slots=True)
class TermsPart:
    """The lines of one part of the terms."""

    path: str
    title: str
    means: str
    lines: tuple[TermsLine, ...]


def tell_terms(terms: Terms, zone_names: Mapping[str, str] | None = None) -> tuple[TermsPart, ...]:
    """Return the whole terms in words.

    Args:
        terms: the terms to tell.
        zone_names: the shop's name of each zone code; a code without one is shown as it is.
    """
    names = zone_names or {}
    whole: list[TermsLine] = []
    parts: list[TermsPart] = []
    for field in fields(terms):
        value = getattr(terms, field.name)
        if field.name in TABLES:
            parts.append(_tell_part(field.name, value, terms, names))
        elif field.name not in ("code", "version"):  # the page's heading
            whole.append(_tell_line(field.name, field, value, terms, names))
    return (TermsPart("", TABLES[""].label, TABLES[""].means, tuple(whole)), *parts)


def _tell_part(path: str, value: Any, terms: Terms, names: Mapping[str, str]) -> TermsPart:
    guide = TABLES[path]
    if value is None or value == ():
        lines = [TermsLine(path, guide.label, guide.without, guide.means)]
    elif isinstance(value, tuple):
        lines = [
            TermsLine(f"{path}[{number}]", f"{guide.row} {number + 1}", _tell_row(row), guide.means)
            for number, row in enumerate(value)
        ]
    else:
        lines = []
        for field in fields(value):
            if path == "transfer" and field.name != "allowed" and not value.allowed:
                continue  # they speak of owners that the cover doesn't follow
            inner = f"{path}.{field.name}"
            if inner in TABLES:
                lines += _tell_part(inner, getattr(value, field.name), terms, names).lines
            else:
                lines.append(_tell_line(inner, field, getattr(value, field.name), terms, names))
    return TermsPart(path, guide.label, guide.means, tuple(lines))


def _tell_line(path: str, field: "Field[Any]", value: Any, terms: Terms, names: Mapping[str, str]) -> TermsLine:
    guide = FIELDS[path]
    # A nought in a field that can be left out is a promise of its own: 0 days of notice are not "no notice period".
    nought = isinstance(value, int | Decimal) and value == 0 and (value is False or field.default is not None)
    if path == "distance_from" and terms.distance_limit_km is None:
        sentence = "No distance is counted."
    elif guide.without and (value is None or value == () or nought):
        sentence = guide.without
    else:
        sentence = guide.says.format(_tell_value(path, value, guide, terms.currency, names))
    return TermsLine(path, guide.label, sentence, guide.means)


def _tell_value(path: str, value: Any, guide: FieldGuide, currency: str, names: Mapping[str, str]) -> str:
    """Return one value as a person reads it, with its unit."""
    if isinstance(value, tuple):
        between = "; " if path == "claims.exclusions" else ", "
        return between.join(names.get(item, say(item) if isinstance(item, StrEnum) else item) for item in value)
    if isinstance(value, StrEnum):
        return CHOICES.get(f"{path}.{value}", say(value))
    if isinstance(value, Decimal) and guide.unit == "money":
        return str(Money(value, currency))
    if isinstance(value, Decimal):
        value = _tell_number(value)
    if guide.unit in ("months", "days", "times"):
        return f"{value} {guide.unit[:-1] if value == 1 else guide.unit}"
    return f"{value} {guide.unit}".rstrip()


def _tell_number(value: Decimal) -> str:
    """Return a number without noughts that say nothing, with thousands marked: 40000.00 is 40,000."""
    whole = value.to_integral_value()
    return f"{whole:,f}" if value == whole else f"{value.normalize():,f}"


def _tell_row(row: Any) -> str:
    if isinstance(row, TouchUpTerms):
        film = say(row.family).capitalize() if row.family else "Any film"
        where = f"on zones of the kind “{say(row.zone_kind)}”" if row.zone_kind else "on any zone"
        months = "month" if row.interval_months == 1 else f"{row.interval_months} months"
        return f"{film} {where} is renewed every {months}."
    if isinstance(row, SeasonTerms):
        first = f"{row.first_day} {calendar.month_name[row.first_month]}"
        return f"Work is preferred from {first} to {row.last_day} {calendar.month_name[row.last_month]}."
    assert isinstance(row, PayDownStep)
    return f"From month {row.from_month} of the cover on, {_tell_number(row.percent)} % of the allowed cost is paid."
