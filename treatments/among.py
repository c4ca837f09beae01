"""A condition for long lists of keys: one parameter instead of thousands, which are slow to write into a query."""

import json
from collections.abc import Iterable
from typing import Any

from django.db.models import BooleanField, F, Func


class Among(Func):
    """True where a whole-number column is among ``keys``; use it in ``filter``."""

    output_field = BooleanField()

    def __init__(self, column: str, keys: Iterable[int], **extra: Any) -> None:
        super().__init__(F(column), **extra)
        self.keys = list(keys)

    def as_sql(self, compiler: Any, connection: Any, *args: Any, **extra: Any) -> Any:
        column, params = compiler.compile(self.source_expressions[0])
        return f"{column} IN (SELECT value FROM json_each(%s))", [*params, json.dumps(self.keys)]

    def as_postgresql(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        column, params = compiler.compile(self.source_expressions[0])
        return f"{column} = ANY(%s)", [*params, self.keys]
