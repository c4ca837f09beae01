"""Renders explanations in the language in use: texts by gettext, dates, numbers and money by Babel.

Call it where a person reads: in pages, mails, documents and the API. Rules and stored rows keep code and params.
"""

from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Any, TypeAlias

from django.utils.translation import get_language, gettext, ngettext

from treatments.rules.explanation import (
    Explanation,
    Label,
    Message,
    Param,
    Quantity,
    ZoneCode,
    from_json,
    write,
)
from treatments.rules.formats import ENGLISH, Money, format_day, format_money, format_month, format_number
from treatments.rules.units import format_plain_number
from treatments.shared.labels import collect_texts, label, translate_catalogue

Explained: TypeAlias = Explanation | Mapping[str, Any]
"""An explanation, or its JSON as it is stored."""


@cache
def read_messages() -> dict[str, Message]:
    """Return the English text of every code of every app."""
    return collect_texts("explanations", "MESSAGES")


def find_language() -> str:
    """Return the language in use without its region, as Babel's formats take it."""
    return (get_language() or ENGLISH).partition("-")[0]


def render(explanation: Explained, zone_names: Mapping[str, str] | None = None) -> str:
    """Return an explanation as text in the language in use.

    Args:
        zone_names: the shop's name of each zone code; a code without one stays.
    """
    return render_param(explanation if isinstance(explanation, Explanation) else from_json(explanation), zone_names)


def render_param(value: Param, zone_names: Mapping[str, str] | None = None) -> str:
    """Return a parameter by itself as text in the language in use, as where a table has a column for it."""
    language = find_language()

    def format_value(single: Any) -> str:
        match single:
            case date():
                return format_day(single, language)
            case int() | Decimal():
                return format_number(single, language)
            case Quantity():
                return f"{format_number(single.amount, language)} {single.unit}"
            case Money():
                return format_money(single.amount, single.currency, language)
            case Label():
                return label(single.word)
            case ZoneCode():
                return translate_catalogue((zone_names or {}).get(single.code, single.code))
        return str(single)

    return write(value, _find_text, format_value)


def render_day(day: date | None) -> str:
    """Return a day as the language in use writes it, or a dash where there is none."""
    return format_day(day, find_language()) if day else "–"


def render_month(day: date) -> str:
    """Return the month of a day with its year, as the language in use writes it."""
    return format_month(day, find_language())


def render_number(number: Decimal | int) -> str:
    """Return a number as the language in use writes it, without digits that say nothing."""
    plain = format_plain_number(Decimal(number))
    return plain if find_language() == ENGLISH else format_number(Decimal(plain.replace(",", "")), find_language())


def render_money(amount: Decimal, currency: str) -> str:
    """Return an amount of money as the language in use writes it."""
    return format_money(amount, currency, find_language())


def render_verification_code(code: str) -> str:
    """Return what stands on paper beside a checkpoint of the event log."""
    return gettext(
        "Verification code %(code)s. With it we can show that our records were not changed after this was written."
    ) % {"code": code}


def render_all(explanations: Iterable[Explained], zone_names: Mapping[str, str] | None = None) -> str:
    """Return several explanations, one sentence after the other."""
    return " ".join(render(explanation, zone_names) for explanation in explanations)


def _find_text(explanation: Explanation) -> str:
    message = read_messages()[explanation.code]
    if isinstance(message, str):
        return gettext(message)
    count = explanation.params[message.counted]
    return ngettext(message.one, message.many, count)  # type: ignore[arg-type]
