"""Template filters that render explanations, amounts and money in the language of the page."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import template

from claims.rules.claim import explain_clause
from treatments.shared.amounts import render_amount
from treatments.shared.rendering import render, render_all, render_money, render_param

register = template.Library()


@register.filter
def rendered(explained: Any, zone_names: Mapping[str, str] | None = None) -> str:
    """Return an explanation or several, their JSON, or one parameter, in the language of the page.

    Args:
        zone_names: the shop's name of each zone code, where zones may stand in it.
    """
    if isinstance(explained, list | tuple):
        return render_all(explained, zone_names)
    return render(explained, zone_names) if isinstance(explained, Mapping) else render_param(explained, zone_names)


@register.filter
def clause_words(clause: str) -> str:
    """Return a clause of the terms in words."""
    return render(explain_clause(clause))


@register.filter
def with_unit(amount: Decimal, unit: str) -> str:
    """Return an amount with its unit, one or several."""
    return render_amount(amount, unit)


@register.filter
def money(amount: Decimal, currency: str) -> str:
    """Return an amount of money in the language of the page."""
    return render_money(amount, currency)
