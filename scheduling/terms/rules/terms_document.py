"""Reads warranty terms from a document (TOML or JSON) and writes them back, with errors that name the field. Writes a
terms document as a TOML file that reads back to the same document.
"""

import functools
import json
import types
import typing
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any, get_args, get_origin, get_type_hints

from scheduling.terms.rules.terms import Terms, TermsError, TermsProblem
from scheduling.terms.rules.terms_contradictions import find_contradictions
from treatments.rules.explanation import explain


def write_toml(document: Mapping[str, Any]) -> str:
    """Return the document as TOML; plain fields first, as TOML wants them, then the tables."""
    return "\n".join(_write_table(document, "")).strip() + "\n"


def _write_table(table: Mapping[str, Any], path: str) -> list[str]:
    lines = [f"{name} = {_write_value(value)}" for name, value in table.items() if not _holds_tables(value)]
    for name, value in table.items():
        inner = f"{path}.{name}".lstrip(".")
        if isinstance(value, Mapping):
            lines += ["", f"[{inner}]", *_write_table(value, inner)]
        elif _holds_tables(value):
            for row in value:
                lines += ["", f"[[{inner}]]", *_write_table(row, inner)]
    return lines


def _holds_tables(value: Any) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list) and bool(value) and all(isinstance(item, Mapping) for item in value)
    )


def _write_value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        # JSON and TOML escape alike, but for DEL, which TOML wants escaped too.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return f"[{', '.join(_write_value(item) for item in value)}]"
    raise TypeError(f"A terms document holds no {type(value).__name__}: {value!r}")


def read_terms(document: Mapping[str, Any]) -> Terms:
    """Return the terms that the document states.

    Args:
        document: the parsed document; its keys are the fields of ``Terms``, nested ones are tables. Unlimited or
            unset is said by leaving a key out.

    Raises:
        TermsError: with every problem found.
    """
    terms = read_published_terms(document)
    problems = find_contradictions(terms)
    if problems:
        raise TermsError(problems)
    return terms


def read_published_terms(document: Mapping[str, Any]) -> Terms:
    """Return the terms that a published document states, as it stands.

    Published terms never change, so a contradiction that the program learned to see later must not stop the covers
    under them; ``read_terms`` is for documents that are yet to be published.

    Raises:
        TermsError: with every field that can't be read.
    """
    problems: list[TermsProblem] = []
    terms = _read_table(Terms, document, "", problems)
    if problems:
        raise TermsError(problems)
    assert isinstance(terms, Terms)
    return terms


def write_terms(terms: Terms) -> dict[str, Any]:
    """Return the terms as a document of plain values that ``read_terms`` reads back to equal terms."""
    return typing.cast(dict[str, Any], _write(terms))


def _write(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        written = {f.name: _write(getattr(value, f.name)) for f in fields(value)}
        return {name: item for name, item in written.items() if item is not None}
    if isinstance(value, tuple):
        return [_write(item) for item in value]
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, Decimal):
        return str(value)
    return value


@functools.cache
def list_hints(kind: Any) -> dict[str, Any]:
    """Return the types of a table's fields; Python reads them anew from their text at each call."""
    return get_type_hints(kind)


def _read_table(kind: Any, document: Any, path: str, problems: list[TermsProblem]) -> Any:
    if not isinstance(document, Mapping):
        problems.append(TermsProblem(path or "terms", repr(document), explain("terms.problem.no_table")))
        return None
    hints = list_hints(kind)
    known = {field.name: field for field in fields(kind)}
    for name in document:
        if name not in known:
            explanation = explain("terms.problem.no_such_field", allowed=tuple(known))
            problems.append(TermsProblem(f"{path}{name}", repr(document[name]), explanation))
    values: dict[str, Any] = {}
    before = len(problems)
    for name, field in known.items():
        if name in document:
            values[name] = _read_value(hints[name], document[name], f"{path}{name}", problems)
        elif name == "reinspection" and kind is Terms:
            values[name] = None  # no table means no reinspections
        elif field.default is MISSING and field.default_factory is MISSING:
            problems.append(
                TermsProblem(f"{path}{name}", explain("terms.value.missing"), explain("terms.problem.needed"))
            )
    return kind(**values) if len(problems) == before else None


def _read_value(hint: Any, value: Any, path: str, problems: list[TermsProblem]) -> Any:
    if get_origin(hint) is types.UnionType:
        (inner,) = (part for part in get_args(hint) if part is not type(None))
        return None if value is None else _read_value(inner, value, path, problems)
    if get_origin(hint) is tuple:
        if not isinstance(value, list | tuple):
            problems.append(TermsProblem(path, repr(value), explain("terms.problem.no_list")))
            return ()
        inner = get_args(hint)[0]
        return tuple(_read_value(inner, item, f"{path}[{number}]", problems) for number, item in enumerate(value))
    if is_dataclass(hint):
        return _read_table(typing.cast(type[Any], hint), value, f"{path}.", problems)
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        try:
            return hint(value)
        except ValueError:
            allowed = tuple(str(word) for word in hint)
            problems.append(TermsProblem(path, repr(value), explain("terms.problem.not_among", allowed=allowed)))
            return None
    return _read_scalar(hint, value, path, problems)


def _read_scalar(hint: Any, value: Any, path: str, problems: list[TermsProblem]) -> Any:
    if hint is bool:
        if isinstance(value, bool):
            return value
        problems.append(TermsProblem(path, repr(value), explain("terms.problem.no_yes_or_no")))
    elif hint is int:
        if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
            return value
        problems.append(TermsProblem(path, repr(value), explain("terms.problem.no_whole_number")))
    elif hint is Decimal:
        try:
            number = Decimal(str(value)) if not isinstance(value, bool) else Decimal("NaN")
        except InvalidOperation:
            number = Decimal("NaN")
        if number.is_finite() and number >= 0:
            return number
        problems.append(TermsProblem(path, repr(value), explain("terms.problem.no_number")))
    elif hint is str:
        if isinstance(value, str) and value.strip() and "\x00" not in value:  # PostgreSQL keeps no such character
            return value
        problems.append(TermsProblem(path, repr(value), explain("terms.problem.no_text")))
    else:  # pragma: no cover - a field of a type that this reader does not know is a mistake in terms.py
        raise TypeError(f"{path}: no reader for {hint}")
    return None


__all__ = [
    "TermsError",
    "TermsProblem",
    "find_contradictions",
    "read_published_terms",
    "read_terms",
    "write_terms",
]
