"""Asks PostgreSQL for rows through psycopg's lower interface, as statements that it keeps prepared for a connection.

A cursor of psycopg takes longer to hand a short query over than the database to answer it (README, "Pages"). This is
for queries that only read; whatever is out of the ordinary is left to such a cursor.
"""

import itertools
import re
from collections.abc import Sequence
from typing import Any
from weakref import WeakKeyDictionary

import psycopg
from psycopg.abc import Buffer
from psycopg.adapt import PyFormat, Transformer
from psycopg.pq import ConnStatus, DiagnosticField, ExecStatus, TransactionStatus

_PLACE = re.compile("%(s|%)")


class Statement:
    """A query that only reads, as PostgreSQL is told of it."""

    def __init__(self, sql: str) -> None:
        """Take a query with ``%s`` in place of each value."""
        number = itertools.count(1)
        text = _PLACE.sub(lambda place: f"${next(number)}" if place[1] == "s" else "%", sql)
        self.sql = text.encode()
        self.formats = [PyFormat.AUTO] * (next(number) - 1)


class _Connection:
    """What is known of one connection: its statements by the types of their values, and how it turns values over."""

    def __init__(self, driver: "psycopg.Connection[Any]") -> None:
        self.transformer = Transformer(driver)
        self.names: dict[tuple[Statement, tuple[int, ...]], bytes] = {}


_CONNECTIONS: "WeakKeyDictionary[psycopg.Connection[Any], _Connection]" = WeakKeyDictionary()
_NUMBERS = itertools.count(1)


def fetch_rows(statement: Statement, values: Sequence[Any], connection: Any) -> list[Sequence[Any]] | None:
    """Return the rows of a statement for these values, as a cursor would give them.

    Args:
        values: as they go to psycopg.
        connection: Django's, to PostgreSQL and open.

    Returns:
        the rows; None where a cursor should be asked instead, which succeeds or says what is wrong.

    Raises:
        django.db.Error: the statement failed for a reason for which a cursor would fail too, or within a transaction,
            which is of no use any more.
    """
    driver = connection.connection
    status = driver.pgconn.transaction_status
    if status != TransactionStatus.INTRANS and not (status == TransactionStatus.IDLE and driver.autocommit):
        # Before the first query of a transaction the cursor begins it.
        return None
    with driver.lock:
        known = _CONNECTIONS.get(driver)
        if known is None:
            known = _CONNECTIONS[driver] = _Connection(driver)
        transformer = known.transformer
        try:
            told = transformer.dump_sequence(values, statement.formats)
            types = transformer.types or ()
            result = _execute(statement, told, types, known, driver.pgconn)
            if result.status == ExecStatus.TUPLES_OK:
                transformer.set_pgresult(result)
                rows: list[Sequence[Any]] = transformer.load_rows(0, result.ntuples, tuple)
                transformer.set_pgresult(None)  # or the rows stay in memory until the next query
                return rows
        except psycopg.Error:
            return None
    if driver.pgconn.status != ConnStatus.OK:
        return None  # a cursor says so in the way that Django knows
    is_out_of_date = result.error_field(DiagnosticField.SQLSTATE) in OUT_OF_DATE
    if is_out_of_date:
        known.names.pop((statement, types), None)
        if status == TransactionStatus.IDLE:
            return None
    with connection.wrap_database_errors:
        raise psycopg.errors.error_from_result(result, encoding="utf-8")


# A column got another type since the statement was prepared (feature_not_supported), or somebody let go of it, as a
# pooler does between two visitors (invalid_sql_statement_name): it is prepared anew the next time.
OUT_OF_DATE = (b"0A000", b"26000")


def _execute(
    statement: Statement, told: Sequence[Buffer | None], types: tuple[int, ...], known: _Connection, server: Any
) -> Any:
    name = known.names.get((statement, types))
    if name is None:
        name = b"standing_%d" % next(_NUMBERS)
        prepared = server.prepare(name, statement.sql, types)
        if prepared.status != ExecStatus.COMMAND_OK:
            return prepared
        known.names[statement, types] = name
    return server.exec_prepared(name, told, known.transformer.formats)
