"""Explanations as data: what a rule has to say, as a code with typed parameters, without a word of any language.

The English text of a code stands in its app's ``explanations.py``; ``treatments/shared/rendering.py`` puts it into the
reader's language. What a person typed is a parameter like any other, and nobody translates it.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple, TypeAlias

from treatments.enums import label_in_english
from treatments.rules.formats import Money


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit, such as 5 litre or 12000 km."""

    amount: Decimal
    unit: str


@dataclass(frozen=True, slots=True)
class ZoneCode:
    code: str


@dataclass(frozen=True, slots=True)
class ProductName:
    name: str


@dataclass(frozen=True, slots=True)
class Label:
    """A word of a closed list, such as a product family; it is written by its label."""

    word: str


@dataclass(frozen=True, slots=True)
class OwnWords:
    """What a person typed. It stands as it was typed in every language."""

    text: str


Single: TypeAlias = (
    "date | int | Decimal | Quantity | Money | ZoneCode | Label | ProductName | OwnWords | str | Explanation"
)
Param: TypeAlias = "Single | tuple[Single, ...] | None"
"""A string is a code of ours or of a standard and is written as it is; None stands where there is nothing to say."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """What a rule has to say.

    Attributes:
        code: never changes its meaning once stored; its text may change.
        params: by the names of the gaps in the text; nobody may change them afterwards.
    """

    code: str
    params: Mapping[str, Param] = field(default_factory=dict, hash=False)


def explain(code: str, /, **params: Param) -> Explanation:
    """Return an explanation with its parameters by name."""
    return Explanation(code, params)


class Plural(NamedTuple):
    """The English for one and for several; ``counted`` names the parameter that decides."""

    one: str
    many: str
    counted: str


Message: TypeAlias = "str | Plural"


def gettext_noop(text: str) -> str:
    """Mark a text for ``tests.french.catalogues``; as Django's own, which the rules may not import."""
    return text


def ngettext_noop(one: str, many: str, counted: str) -> Plural:
    """Mark a text for one and for several."""
    return Plural(one, many, counted)


def write(value: Param, find_text: Callable[[Explanation], str], format_value: Callable[[Any], str]) -> str:
    """Return a parameter as text: an explanation with those inside it, several values parted by commas.

    Args:
        find_text: the text of a code in a language, with its gaps.
        format_value: a single parameter in that language; a product's name and a person's words need none.
    """
    match value:
        case None:
            return ""
        case Explanation():
            written = {name: write(inner, find_text, format_value) for name, inner in value.params.items()}
            return find_text(value).format(**written)
        case tuple():
            return ", ".join(write(one, find_text, format_value) for one in value)
        case ProductName():
            return value.name
        case OwnWords():
            return value.text
    return format_value(value)


def render_in_english(explanations: Iterable[Explanation], messages: Mapping[str, Message]) -> str:
    """Return English with ISO dates, for the import of a log at the shell. Render what another person reads."""

    def find_text(explanation: Explanation) -> str:
        message = messages[explanation.code]
        if isinstance(message, str):
            return message
        return message.one if explanation.params[message.counted] == 1 else message.many

    return " ".join(write(explanation, find_text, _format_plainly) for explanation in explanations)


def _format_plainly(value: object) -> str:
    match value:
        case Quantity():
            return f"{value.amount} {value.unit}"
        case ZoneCode():
            return value.code
        case Label():
            return label_in_english(value.word)
    return str(value)


def to_json(explanation: Explanation) -> dict[str, Any]:
    """Return an explanation as it is stored and sent: code and params, each with its type."""
    return {
        "code": explanation.code,
        "params": {name: _param_to_json(value) for name, value in explanation.params.items()},
    }


def _param_to_json(value: Param) -> Any:
    match value:
        case Explanation():
            return to_json(value)
        case tuple():
            return [_param_to_json(one) for one in value]
        case date():
            return {"date": value.isoformat()}
        case Decimal():
            return {"number": str(value)}
        case Quantity():
            return {"number": str(value.amount), "unit": value.unit}
        case Money():
            return {"amount": str(value.amount), "currency": value.currency}
        case ZoneCode():
            return {"zone": value.code}
        case Label():
            return {"label": str(value.word)}
        case ProductName():
            return {"product": value.name}
        case OwnWords():
            return {"words": value.text}
    return value


def from_json(document: Mapping[str, Any]) -> Explanation:
    """Return the explanation that ``to_json`` wrote.

    Raises:
        ValueError: for what it never writes.
    """
    return Explanation(document["code"], {name: _param_from_json(value) for name, value in document["params"].items()})


def _param_from_json(value: Any) -> Any:
    match value:
        case list():
            return tuple(_param_from_json(one) for one in value)
        case {"code": _, "params": _}:
            return from_json(value)
        case {"date": day}:
            return date.fromisoformat(day)
        case {"number": number, "unit": unit}:
            return Quantity(Decimal(number), unit)
        case {"number": number}:
            return Decimal(number)
        case {"amount": amount, "currency": currency}:
            return Money(Decimal(amount), currency)
        case {"zone": code}:
            return ZoneCode(code)
        case {"label": word}:
            return Label(word)
        case {"product": name}:
            return ProductName(name)
        case {"words": text}:
            return OwnWords(text)
        case int() | str() | None:
            return value
    raise ValueError(f"{value!r} is no parameter of an explanation.")
