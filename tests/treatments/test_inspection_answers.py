"""Which lines of an inspection answer for their zone: what the database selects is what the rule says."""

from datetime import date, timedelta
from decimal import Decimal
from itertools import product

import pytest

from tests.shop_records import NOW, ShopForTests
from treatments.enums import FilmState, InspectionKind
from treatments.models import InspectionLine, Vehicle, Zone
from treatments.people.customers import find_or_add_customer
from treatments.records.inspections import InspectionEntry, record_inspection
from treatments.records.rules.history import is_answered
from treatments.records.short_histories import list_answers
from treatments.vehicles.services import add_vehicle

SEEN = list(product((None, Decimal(0), Decimal("12.5")), (False, True), FilmState, ("",)))
ANSWERS = [*SEEN, (None, False, FilmState.NOT_SEEN, "no access")]


@pytest.fixture
def vehicle(shop: ShopForTests) -> Vehicle:
    owner = find_or_add_customer(name="Lena Orchard", contact="lena@example.com", now=NOW)
    return add_vehicle(
        vin="1m8gdm9a xkp042788", owner=owner, owned_from=date(2025, 1, 1), now=NOW, actor=None, body_style="pickup"
    )


def record(
    shop: ShopForTests, vehicle: Vehicle, day: date, kind: InspectionKind = InspectionKind.REINSPECTION, *, signed: bool
) -> list[InspectionLine]:
    zones = list(Zone.objects.order_by("pk")[: len(ANSWERS)])
    assert len(zones) == len(ANSWERS)
    entries = [
        InspectionEntry(zone, percent, perforated, film, not_seen_reason=reason)
        for zone, (percent, perforated, film, reason) in zip(zones, ANSWERS, strict=True)
    ]
    inspection = record_inspection(
        vehicle=vehicle, site=shop.site, done_on=day, kind=kind, zones=entries, now=NOW, actor=None, sign_off=signed
    )
    return list(inspection.lines.order_by("pk"))


def test_the_database_selects_the_lines_that_the_rule_calls_answered(shop: ShopForTests, vehicle: Vehicle) -> None:
    day = date(2025, 6, 1)
    lines = record(shop, vehicle, day, signed=True)
    # Neither a draft nor an inspection of another kind answers as a reinspection.
    record(shop, vehicle, day + timedelta(days=1), signed=False)
    record(shop, vehicle, day, InspectionKind.INTAKE, signed=True)
    answered = {
        line.pk
        for line in lines
        if is_answered(line.rusted_area_percent, line.perforated, line.film_state, line.not_seen_reason)
    }
    assert set(list_answers().values_list("pk", flat=True)) == answered
    assert 0 < len(answered) < len(lines)
