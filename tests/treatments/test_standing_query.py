"""Standing queries give Python's types on either database, where several are combined to one too."""

from datetime import UTC, date, datetime

import pytest
from django.db.models import DateTimeField, Value

from treatments.models import OdometerReading, Vehicle
from treatments.standing_query import Given, StandingQuery

NOW = datetime(2026, 5, 20, 15, 0, 30, 250, tzinfo=UTC)
BOTH = StandingQuery(
    lambda: (
        Vehicle.objects.filter(pk=Given(0))
        .order_by()
        .values_list(Value("vehicle"), "pk", "in_service_on", "created_at")
        .union(
            OdometerReading.objects.filter(vehicle=Given(0), kilometres__gt=Given(1))
            .order_by()
            .values_list(Value("reading"), "pk", "day", Value(None, output_field=DateTimeField())),
            all=True,
        )
    )
)


@pytest.mark.django_db
def test_a_combined_query_gives_days_and_moments_of_each_part() -> None:
    made = [
        Vehicle.objects.create(vin=f"VIN{number}", created_at=NOW, in_service_on=date(2020, number, 1))
        for number in (1, 2)
    ]
    readings = [
        OdometerReading.objects.create(
            vehicle=made[0], day=date(2021, 1, 5), amount=km, unit="km", kilometres=km, recorded_at=NOW
        )
        for km in (10, 20, 30)
    ]
    for _time in range(2):
        found = sorted(tuple(row) for row in BOTH.ask(made[0].pk, 15))
        assert found == [
            ("reading", readings[1].pk, date(2021, 1, 5), None),
            ("reading", readings[2].pk, date(2021, 1, 5), None),
            ("vehicle", made[0].pk, date(2020, 1, 1), NOW),
        ]
    assert [tuple(row) for row in BOTH.ask(made[1].pk, 0)] == [("vehicle", made[1].pk, date(2020, 2, 1), NOW)]
