"""A condition for long lists of keys: one parameter instead of thousands, which are slow to write into a query."""

import json
from collections.abc import Iterable
from typing import Any

from django.db.models import BooleanField, Expression, F, Func


def adapt_keys(keys: Any, connection: Any) -> Any:
    """Return what a database is given for a list of keys; what stands for keys told later goes through as it is."""
    if isinstance(keys, Expression):
        return keys
    return keys if connection.vendor == "postgresql" else json.dumps(keys)


class Among(Func):
    """True where a column of whole numbers or texts is among ``keys``; use it in ``filter``."""

    output_field = BooleanField()

    def __init__(self, column: str, keys: "Iterable[int] | Iterable[str] | Expression", **extra: Any) -> None:
        super().__init__(F(column), **extra)
        self.keys = keys if isinstance(keys, Expression) else list(keys)

    def as_sql(self, compiler: Any, connection: Any, *args: Any, **extra: Any) -> Any:
        column, params = compiler.compile(self.source_expressions[0])
        return f"{column} IN (SELECT value FROM json_each(%s))", [*params, adapt_keys(self.keys, connection)]

    def as_postgresql(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        column, params = compiler.compile(self.source_expressions[0])
        return f"{column} = ANY(%s)", [*params, adapt_keys(self.keys, connection)]
