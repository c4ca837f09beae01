"""Writes a terms document as a TOML file that reads back to the same document.

Only what such a document holds is written: text, whole numbers, yes and no, lists of text, tables and lists of tables.
"""

import json
from collections.abc import Mapping
from typing import Any


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
