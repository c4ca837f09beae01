"""A query whose SQL is kept gives what Django's own gives, for any value, in Python's types, on either database."""

import uuid
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db.models import CharField, Count, DateTimeField, F, Value
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.shop_records import ShopForTests
from tests.treatments.test_records import entry, treat
from treatments.enums import Propulsion
from treatments.models import OdometerReading, Treatment, TreatmentLine, Vehicle
from treatments.services import add_vehicle
from treatments.shared.among import Among
from treatments.shared.standing_query import Given, GivenKeys, StandingQuery, StandingRows
from treatments.vehicles.rules.vin import VinMark

NOW = datetime(2026, 3, 1, 15, 30, 12, 345678, tzinfo=UTC)
COLUMNS = (
    "pk", "done_on", "recorded_at", "air_temperature_c", "surface_clean", "amends_id", "kind", "lines__quantity_ml",
)  # fmt: skip


@pytest.fixture
def vehicles(shop: ShopForTests) -> list[Vehicle]:
    vehicle, other = (
        add_vehicle(
            vin=vin, owner=None, owned_from=date(2025, 1, 1), now=NOW, actor=None, plate=plate,
            propulsion=Propulsion.COMBUSTION, vin_mark=VinMark.NON_ROAD_SERIAL,
        )
        for vin, plate in (("1XXC4FA17SM000008", ""), ("1XXC4FA17SM000009", "it's %s"))
    )  # fmt: skip
    for one in (vehicle, other):
        treat(shop, one, entry(shop))
        for step, amount in enumerate(("10.5", "20000", "0.1")):
            OdometerReading.objects.create(
                vehicle=one, day=date(2025, 1, 1) + timedelta(days=step), amount=Decimal(amount), unit="km",
                kilometres=Decimal(amount), recorded_at=NOW + timedelta(microseconds=step),
            )  # fmt: skip
    return [vehicle, other]


@pytest.mark.django_db
def test_the_rows_are_those_of_the_query_set_for_each_value(vehicles: list[Vehicle]) -> None:
    treatments = StandingQuery(lambda: Treatment.objects.filter(vehicle=Given(0)).values_list(*COLUMNS))
    for one in (*vehicles, *vehicles):
        wanted = list(Treatment.objects.filter(vehicle=one).values_list(*COLUMNS))
        found = [tuple(row) for row in treatments.ask(one.pk)]
        assert found == wanted != [] and [list(map(type, row)) for row in found] == [
            list(map(type, row)) for row in wanted
        ]
    assert treatments.ask(-1) == []
    lines = StandingQuery(
        lambda: (
            TreatmentLine.objects.filter(Among("treatment__vehicle_id", GivenKeys(0)))
            .order_by("pk")
            .values_list("zone__aliases", "product__volume_solids_percent")
        )  # JSON and a decimal
    )
    keys = [one.pk for one in vehicles]
    for some in ([], keys[:1], keys):
        wanted = list(
            TreatmentLine.objects.filter(treatment__vehicle__in=some)
            .order_by("pk")
            .values_list("zone__aliases", "product__volume_solids_percent")
        )
        assert [tuple(row) for row in lines.ask(some)] == wanted and len(wanted) == len(some)


@pytest.mark.django_db
def test_rows_of_a_model_and_of_two_queries_together(  # type: ignore[no-untyped-def]
    vehicles: list[Vehicle], django_assert_num_queries
) -> None:
    of_vin = StandingRows(lambda: Vehicle.objects.filter(plate=Given(0, CharField())))
    # A value is told apart from the SQL, whatever is in it.
    for text, known in (("it's %s", 1), ("' OR 1=1 --", 0), ("%s", 0), ("", 1)):
        assert [one.pk for one in of_vin.ask(text)] == [one.pk for one in Vehicle.objects.filter(plate=text)]
        assert len(of_vin.ask(text)) == known, text
    (found,) = of_vin.ask("it's %s")
    assert found == vehicles[1] and found.created_at == NOW and not found._state.adding
    found.description = "kept"
    found.save()
    assert Vehicle.objects.get(pk=found.pk).description == "kept"

    named = StandingRows(
        lambda: Treatment.objects.filter(vehicle=Given(0)).annotate(number=Count("lines")),
        "site",
        "amends",
        annotated=("number",),
    )
    with django_assert_num_queries(1):
        (one,) = named.ask(vehicles[0].pk)
        assert one.site.name and one.amends is None and one.number == 1  # type: ignore[attr-defined]

    def build():  # type: ignore[no-untyped-def]
        since = Given(1, DateTimeField())
        readings = OdometerReading.objects.filter(vehicle=Given(0), recorded_at__gte=since).order_by()
        treatments = Treatment.objects.filter(vehicle=Given(0)).order_by()
        return readings.values_list("day", "kilometres", "recorded_at", Value(1)).union(
            treatments.values_list("done_on", F("air_temperature_c"), "recorded_at", Value(2)), all=True
        ).order_by("recorded_at", "day")  # fmt: skip

    both = StandingQuery(build)
    for one in vehicles:
        rows = [tuple(row) for row in both.ask(one.pk, NOW + timedelta(microseconds=1))]
        readings = [row for row in rows if row[3] == 1]
        assert [row[1] for row in readings] == [Decimal(20000), Decimal("0.1")] and len(rows) == 3
        assert all(row[2].tzinfo is not None and type(row[0]) is date for row in rows)


@pytest.mark.django_db
@settings(max_examples=30, deadline=None)
@given(kilometres=st.decimals(0, 999999, places=1), day=st.dates(date(1990, 1, 1), date(2090, 1, 1)))
def test_decimals_and_days_come_back_as_they_went_in(kilometres: Decimal, day: date) -> None:
    # A vehicle for each example: the database lets nobody delete a reading.
    one = Vehicle.objects.create(vin=uuid.uuid4().hex[:17].upper(), created_at=NOW)
    OdometerReading.objects.create(
        vehicle=one, day=day, amount=kilometres, unit="km", kilometres=kilometres, recorded_at=NOW
    )
    assert [tuple(row) for row in READINGS.ask(one.pk)] == list(
        OdometerReading.objects.filter(vehicle=one).values_list("day", "amount", "kilometres", "recorded_at")
    )


READINGS = StandingQuery(
    lambda: OdometerReading.objects.filter(vehicle=Given(0)).values_list("day", "amount", "kilometres", "recorded_at")
)


@pytest.mark.django_db
def test_the_query_is_built_once(vehicles: list[Vehicle], django_assert_num_queries) -> None:  # type: ignore[no-untyped-def]
    built = []

    def build():  # type: ignore[no-untyped-def]
        built.append(1)
        return Vehicle.objects.filter(pk=Given(0)).annotate(n=Count("treatments")).values_list("vin", "n")

    query = StandingQuery(build)
    with django_assert_num_queries(2):
        assert [query.ask(one.pk) for one in vehicles] == [[(one.vin, 1)] for one in vehicles]
    assert len(built) == 1
