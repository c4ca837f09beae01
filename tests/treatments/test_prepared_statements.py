"""What PostgreSQL keeps prepared gives the rows that a cursor gives, within a transaction and without one."""

from collections.abc import Sequence
from contextlib import nullcontext, suppress
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import DataError, NotSupportedError, OperationalError, connection, transaction
from django.db.models import CharField, DateField, DecimalField, Func, Value
from django.db.transaction import TransactionManagementError

from treatments.models import Site, Vehicle
from treatments.shared import standing_query
from treatments.shared.among import Among
from treatments.shared.prepared_statements import Statement, fetch_rows
from treatments.shared.standing_query import Given, GivenKeys, StandingQuery

NOW = datetime(2026, 3, 1, 15, 30, 12, 345678, tzinfo=UTC)


@pytest.fixture
def straight(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Note of each query whether it was answered without a cursor."""
    noted: list[bool] = []

    def note(*args: Any) -> list[Sequence[Any]] | None:
        rows = fetch_rows(*args)
        noted.append(rows is not None)
        return rows

    monkeypatch.setattr(standing_query, "fetch_rows", note)
    return noted


def make_vehicles() -> list[Vehicle]:
    return [
        Vehicle.objects.create(vin="1XXC4FA17SM000008", created_at=NOW, plate="%s 100% o'é"),
        Vehicle.objects.create(vin="1XXC4FA17SM000009", created_at=NOW, model_year=2019),
    ]


@pytest.mark.full
@pytest.mark.django_db(transaction=True)
def test_rows_are_those_of_a_cursor_whatever_the_transaction(straight: list[bool]) -> None:
    vehicles = make_vehicles()
    text, kinds = Given(1, CharField()), Given(2, DecimalField(max_digits=9, decimal_places=2))

    def build() -> Any:
        return (
            Vehicle.objects.filter(Among("pk", GivenKeys(0)))
            .order_by("vin")
            .annotate(told=text, sum=kinds, day=Given(3, DateField()), part=Value("50 % of %s"))
            .values_list("pk", "plate", "model_year", "created_at", "told", "sum", "day", "part")
        )

    values = ([one.pk for one in vehicles], "it's %s\n", Decimal("12.50"), date(2026, 2, 28))
    wanted = [
        (one.pk, one.plate, one.model_year, NOW, "it's %s\n", Decimal("12.50"), date(2026, 2, 28), "50 % of %s")
        for one in vehicles
    ]
    query = StandingQuery(build)
    for _ in range(3):
        assert query.ask(*values) == wanted
    assert straight == [True] * 3
    straight.clear()
    with transaction.atomic():
        assert query.ask(*values) == wanted  # a cursor begins the transaction
        Vehicle.objects.filter(pk=vehicles[0].pk).update(plate="changed")
        assert [row[1] for row in query.ask(*values)] == ["changed", vehicles[1].plate]
        transaction.set_rollback(True)
    assert straight == [False, True] and query.ask(*values) == wanted
    # A value that is not there has a type of its own, and so a statement of its own.
    assert [row[4] for row in query.ask(values[0], None, *values[2:])] == [None, None]
    assert query.ask([], *values[1:]) == [] and query.ask(*values) == wanted
    assert straight == [False, *[True] * 5]


@pytest.mark.full
@pytest.mark.django_db(transaction=True)
def test_what_fails_says_why_and_what_can_be_mended_is(straight: list[bool]) -> None:
    vehicle = make_vehicles()[0]
    by_plate = StandingQuery(lambda: Vehicle.objects.filter(plate=Given(0, CharField())).values_list("pk"))
    assert by_plate.ask(vehicle.plate) == [(vehicle.pk,)]
    with pytest.raises(DataError):
        by_plate.ask("no \x00 in a text")
    assert by_plate.ask(vehicle.plate) == [(vehicle.pk,)]
    with transaction.atomic():
        assert Site.objects.count() == 0
        with pytest.raises(DataError):
            by_plate.ask("no \x00 in a text")

    def change_type(kind: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(f"ALTER TABLE treatments_vehicle ALTER COLUMN description TYPE {kind}")

    described = StandingQuery(lambda: Vehicle.objects.filter(pk=Given(0)).values_list("description"))
    assert described.ask(vehicle.pk) == [("",)]
    (before,) = _find_type("description")
    change_type("text")
    try:
        straight.clear()
        # The plan of before gives other types now: asked by a cursor once, and prepared anew.
        assert [described.ask(vehicle.pk) for _ in range(3)] == [[("",)]] * 3
        assert straight == [False, True, True]
        change_type(before)
        with transaction.atomic(), pytest.raises(NotSupportedError):
            Site.objects.count()
            described.ask(vehicle.pk)
        # Asked within a transaction again, it is prepared anew there.
        with transaction.atomic():
            Site.objects.count()
            assert described.ask(vehicle.pk) == [("",)]
        assert described.ask(vehicle.pk) == [("",)]
    finally:
        change_type(before)

    assert described.ask(vehicle.pk) == [("",)]
    with connection.cursor() as cursor:
        cursor.execute("DEALLOCATE ALL")  # as a pooler does between two visitors
    straight.clear()
    assert [described.ask(vehicle.pk) for _ in range(2)] == [[("",)]] * 2 and straight == [False, True]
    # A transaction of which a part failed is of no use, and says so.
    with transaction.atomic():
        with suppress(DataError), transaction.atomic():
            by_plate.ask("no \x00 in a text")
        Site.objects.count()
        connection.needs_rollback = True
        with pytest.raises(TransactionManagementError):
            described.ask(vehicle.pk)
        connection.needs_rollback = False
    # What takes too long is not asked for twice, and is Django's error.
    slow = StandingQuery(
        lambda: Vehicle.objects.filter(pk=Given(0)).values_list(
            Func(Value(0.5), function="pg_sleep", output_field=CharField())
        )
    )
    with connection.cursor() as cursor:
        cursor.execute("SET statement_timeout = 100")
    try:
        straight.clear()
        with pytest.raises(OperationalError):
            slow.ask(vehicle.pk)
        assert straight == []
    finally:
        with connection.cursor() as cursor:
            cursor.execute("RESET statement_timeout")


@pytest.mark.full
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("within", [False, True])
def test_a_connection_that_is_gone_is_an_error_of_djangos(within: bool) -> None:
    vehicle = make_vehicles()[0]
    query = StandingQuery(lambda: Vehicle.objects.filter(pk=Given(0)).values_list("vin"))
    assert query.ask(vehicle.pk) == [(vehicle.vin,)]
    other = connection.copy()
    with transaction.atomic() if within else nullcontext():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_backend_pid()")
            (own,) = cursor.fetchone()
        with other.cursor() as cursor:
            cursor.execute("SELECT pg_terminate_backend(%s)", [own])
        other.close()
        connection.health_check_done = True
        with pytest.raises(OperationalError):
            query.ask(vehicle.pk)
        connection.needs_rollback = within
    connection.close()
    assert query.ask(vehicle.pk) == [(vehicle.vin,)]


def _find_type(column: str) -> tuple[str]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT format_type(atttypid, atttypmod) FROM pg_attribute"
            " WHERE attrelid = 'treatments_vehicle'::regclass AND attname = %s",
            [column],
        )
        found: tuple[str] = cursor.fetchone()
        return found


@pytest.mark.full
@pytest.mark.django_db(transaction=True)
def test_a_new_connection_prepares_anew_and_settings_may_forbid_it(straight: list[bool]) -> None:
    vehicle = make_vehicles()[0]
    query = StandingQuery(lambda: Vehicle.objects.filter(pk=Given(0)).values_list("vin"))
    assert query.ask(vehicle.pk) == [(vehicle.vin,)]
    connection.close()
    assert query.ask(vehicle.pk) == [(vehicle.vin,)] and straight == [True, True]
    options = connection.settings_dict["OPTIONS"]
    threshold = options.pop("prepare_threshold")
    try:
        assert query.ask(vehicle.pk) == [(vehicle.vin,)] and straight == [True, True]
    finally:
        options["prepare_threshold"] = threshold
    # Whoever watches queries sees them all.
    seen = []
    with connection.execute_wrapper(lambda execute, sql, *rest: seen.append(sql) or execute(sql, *rest)):
        assert query.ask(vehicle.pk) == [(vehicle.vin,)]
    assert len(seen) == 1 and straight == [True, True]


def test_places_of_values_are_numbered() -> None:
    statement = Statement("SELECT '100%%', %s, %s WHERE a LIKE '%%s'")
    assert statement.sql == b"SELECT '100%', $1, $2 WHERE a LIKE '%s'" and len(statement.formats) == 2
