"""Queries that are asked again and again with other values, turned into SQL once for each process.

Django writes a query's SQL anew each time it is asked, which takes longer than its answer from the database. PostgreSQL
plans such a query once for each connection too; so it must be one whose plan does not rest on the values.
"""

import functools
from collections.abc import Callable, Sequence
from typing import Any, Generic, TypeVar

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.models import BigIntegerField, Field, Model, QuerySet, Value
from psycopg.types.numeric import Int8

from treatments.shared.among import adapt_keys
from treatments.shared.prepared_statements import Statement, fetch_rows

M = TypeVar("M", bound=Model)


# By the place of the column: what converts it, and the expression that it was asked by.
Converters = dict[int, tuple[list[Callable[[Any, Any, Any], Any]], Any]]
Written = tuple[str, tuple[Any, ...], Converters, Statement]


class Given(Value):
    """Stands in a standing query for a value that is told when it is asked."""

    def __init__(self, place: int, field: "Field[Any, Any] | None" = None) -> None:
        """Stand for the value at ``place`` among those told; ``field`` says of which type it is."""
        super().__init__(place, output_field=field or BigIntegerField())

    def as_sql(self, compiler: Any, connection: Any) -> Any:
        return "%s", [self]

    def adapt(self, value: Any, connection: Any) -> Any:
        """Return what the database is given for a value."""
        told = self.output_field.get_db_prep_value(value, connection)
        return _fix_type(told, connection) if type(told) is int else told


class GivenKeys(Given):
    """Stands for a list of keys; it is for ``Among``."""

    def adapt(self, value: Any, connection: Any) -> Any:
        keys = list(value)
        if connection.vendor == "postgresql" and all(type(key) is int for key in keys):
            # As the text of an array, of which PostgreSQL knows the type by the column; psycopg would look at each key.
            return "{" + ",".join(map(str, keys)) + "}"
        return adapt_keys(keys, connection)


_FIRST, _LAST = "\ue000", "\ue001"  # no text of a shop has these signs, which mean nothing


def given_part(place: int) -> str:
    """Stand in ``icontains``, ``startswith`` and the like for a text that is told at the asking."""
    return f"{_FIRST}{place}{_LAST}"


class _Pattern:
    """Stands for a text within the pattern that a database looks for."""

    def __init__(self, written: str) -> None:
        self._before, _, rest = written.partition(_FIRST)
        place, _, self._after = rest.partition(_LAST)
        self.value = int(place)

    def adapt(self, value: Any, connection: Any) -> str:
        return f"{self._before}{connection.ops.prep_for_like_query(value)}{self._after}"


class StandingQuery:
    """A query for tuples whose SQL is kept.

    For example ``StandingQuery(lambda: Zone.objects.filter(pk=Given(0)).values_list("code", "name")).ask(7)``.
    It asks for the rows that the query set asks for, in its order; what is told at the asking may change values only,
    never the shape of the query.
    """

    def __init__(self, build: "Callable[[], QuerySet[Any, Any]]", *, plans_anew: bool = False) -> None:
        """Keep how to build the query.

        Args:
            build: a query set of ``values_list`` with ``Given`` in place of what is told.
            plans_anew: whether the best plan rests on the values, as it does where a part of a text is looked for.
        """
        self._build, self._plans_anew = build, plans_anew
        self._written: dict[str, Written] = {}

    def ask(self, *values: Any) -> list[Sequence[Any]]:
        """Return the rows for these values, each with a column for each name of ``values_list``."""
        connection = connections[DEFAULT_DB_ALIAS]
        written = self._written.get(connection.vendor)
        if written is None:
            written = self._written[connection.vendor] = self._write()
        sql, params, converters, statement = written
        told = [
            param.adapt(values[param.value], connection) if isinstance(param, Given | _Pattern) else param
            for param in params
        ]
        may_prepare = not self._plans_anew and _may_prepare(connection)
        rows = fetch_rows(statement, told, connection) if may_prepare else None
        if rows is None:
            with connection.cursor() as cursor:
                cursor.execute(sql, told)
                rows = cursor.fetchall()
        return _convert(rows, converters, connection) if converters else rows

    def _write(self) -> Written:
        """Return the SQL, its parameters in order, and what turns columns into Python's types where that is needed."""
        compiler = self._build().query.get_compiler(DEFAULT_DB_ALIAS)
        sql, params = compiler.as_sql()
        converters = compiler.get_converters([column for column, _sql, _name in compiler.select])
        told = (_Pattern(param) if isinstance(param, str) and _FIRST in param else param for param in params)
        return sql, tuple(told), converters, Statement(sql)


class StandingRows(Generic[M]):
    """A standing query for whole rows of a model, with those rows that they name by some foreign keys."""

    def __init__(self, build: "Callable[[], QuerySet[M]]", *related: str, annotated: tuple[str, ...] = ()) -> None:
        """Keep how to build the query.

        Args:
            build: a plain query set with ``Given`` in place of what is told.
            related: the foreign keys whose rows are read too; others are read when they are asked for.
            annotated: the annotations of the query set, which the rows get as attributes.
        """
        self._build, self._related, self._annotated = build, related, annotated
        self._query = StandingQuery(self._name_columns)

    def ask(self, *values: Any) -> list[M]:
        """Return the rows for these values as instances."""
        parts = self._parts
        found = []
        for row in self._query.ask(*values):
            whole: Any = None
            for name, make, names, start in parts:
                theirs = row[start : start + len(names)]
                if whole is None:
                    whole = make(DEFAULT_DB_ALIAS, names, theirs)
                else:
                    # A row that is not there has nothing, not even a key.
                    is_there = any(value is not None for value in theirs)
                    put_related(whole, name, make(DEFAULT_DB_ALIAS, names, theirs) if is_there else None)
            for place, name in enumerate(reversed(self._annotated), 1):
                setattr(whole, name, row[-place])
            found.append(whole)
        return found

    @functools.cached_property
    def _parts(self) -> list[tuple[str, Callable[..., Any], list[str], int]]:
        """The model, then those of the foreign keys: name of the key, maker, columns, and place of the first one."""
        model: Any = self._build().model
        models = [("", model), *((name, model._meta.get_field(name).related_model) for name in self._related)]
        parts, start = [], 0
        for name, one in models:
            names = list_columns(one)
            parts.append((name, one.from_db, names, start))
            start += len(names)
        return parts

    def _name_columns(self) -> "QuerySet[Any, Any]":
        columns = [
            f"{name}__{column}" if name else column for name, _make, names, _at in self._parts for column in names
        ]
        return self._build().values_list(*columns, *self._annotated)


def list_columns(model: type[Model]) -> list[str]:
    """Return the columns of a model by the names under which a row has them, as ``Model.from_db`` takes them."""
    return [field.attname for field in model._meta.concrete_fields]


def put_related(row: Model, name: str, related: Model | None) -> None:
    """Give a row, as it was read, the row that its foreign key ``name`` names.

    An assignment would write the key anew and ask for the router, several microseconds for each of a page's hundreds.
    """
    row._state.fields_cache[name] = related


def _fix_type(number: int, connection: Any) -> Any:
    """Return a whole number as of one type whatever its size, so that the database prepares a query once."""
    return Int8(number) if connection.vendor == "postgresql" else number


def _may_prepare(connection: Any) -> bool:
    """Say whether queries may go to the database as prepared statements; then the connection is open."""
    if connection.vendor != "postgresql" or "prepare_threshold" not in connection.settings_dict["OPTIONS"]:
        return False
    # A log of queries wants them with their values, and who wraps their execution wants to see them.
    if connection.queries_logged or connection.execute_wrappers:
        return False
    if connection.needs_rollback:
        return False  # a cursor refuses to go on in a transaction of which a part failed
    # As Django itself does before it opens a cursor.
    connection.close_if_health_check_failed()
    connection.ensure_connection()
    return True


def _convert(rows: list[Sequence[Any]], converters: Converters, connection: Any) -> list[Sequence[Any]]:
    """Return rows with Python's types in the columns for which a database has none, as Django converts them."""
    found: list[Sequence[Any]] = []
    for row in rows:
        values = list(row)
        for place, (steps, column) in converters.items():
            for step in steps:
                values[place] = step(values[place], column, connection)
        found.append(tuple(values))
    return found
