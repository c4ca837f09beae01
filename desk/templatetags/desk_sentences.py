"""Template filters that put sentences, amounts and counts of the rules for people: dates in words, zones by name."""

from collections.abc import Mapping
from decimal import Decimal

from django import template

from claims.rules.clauses import say_clause
from treatments.rules.units import tell_amount
from treatments.rules.wording import put_for_people, tell_count

register = template.Library()


@register.filter
def for_people(sentence: str, names: Mapping[str, str]) -> str:
    """Return a sentence of the rules with its dates in words and its zones by name."""
    return put_for_people(sentence, names)


@register.filter
def clause_words(clause: str) -> str:
    """Return a clause of the terms in words."""
    return say_clause(clause)


@register.filter
def with_unit(amount: Decimal, unit: str) -> str:
    """Return an amount with its unit, one or several."""
    return tell_amount(amount, unit)


@register.filter
def count_of(count: int, noun: str) -> str:
    """Return a number with its noun, one or several."""
    return tell_count(count, noun)
