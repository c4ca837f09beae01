"""Recording work: sign-off, amendments, inspections, recalls, and what the database itself refuses."""

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from scheduling.covers.services import publish_terms
from scheduling.models import TermsVersion
from tests.conftest import NOW, ShopForTests
from treatments.enums import InspectionKind, Propulsion, TreatmentKind
from treatments.event_log import verify_log
from treatments.models import Event, Treatment, TreatmentLine, Vehicle, Zone
from treatments.people.customers import find_or_add_customer
from treatments.queries import find_vehicles_with_lot
from treatments.records.histories import read_history
from treatments.records.inspections import InspectionEntry, record_inspection
from treatments.records.services import LineEntry, amend_treatment, record_treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.stock.services import recall_lot
from treatments.vehicles.services import add_vehicle

QUART = Volume(Decimal(1), VolumeUnit.US_QUART)


@pytest.fixture
def vehicle(shop: ShopForTests) -> Vehicle:
    owner = find_or_add_customer(name="Lena Orchard", contact="lena@example.com", now=NOW)
    return add_vehicle(
        vin="1m8gdm9a xkp042788",
        owner=owner,
        owned_from=date(2025, 1, 1),
        now=NOW,
        actor=None,
        body_style="pickup",
        propulsion=Propulsion.COMBUSTION,
    )


def entry(shop: ShopForTests, code: str = "rocker_left") -> LineEntry:
    return LineEntry(Zone.objects.get(code=code), shop.wax, shop.wax.lots.get(), QUART)


def treat(
    shop: ShopForTests, vehicle: Vehicle, *lines: LineEntry, day: date = date(2025, 3, 1), sign_off: bool = True
) -> Treatment:
    return record_treatment(
        vehicle=vehicle, site=shop.site, done_on=day, kind=TreatmentKind.FIRST_TREATMENT, lines=lines, now=NOW,
        actor=None, sign_off=sign_off,
    )  # fmt: skip


def test_a_vin_with_a_wrong_check_digit_is_refused_with_corrections(shop: ShopForTests) -> None:
    with pytest.raises(ValidationError, match="check digit"):
        add_vehicle(vin="1M8GDM9AXPK042788", owner=None, owned_from=date(2025, 1, 1), now=NOW, actor=None)
    assert add_vehicle(vin="1M8GDM9AXKP042788", owner=None, owned_from=date(2025, 1, 1), now=NOW, actor=None).pk


def test_quantities_are_kept_as_entered_and_converted(shop: ShopForTests, vehicle: Vehicle) -> None:
    treat(shop, vehicle, entry(shop))
    line = TreatmentLine.objects.get()
    assert (line.quantity_amount, line.quantity_unit, line.quantity_ml) == (1, "us_quart", Decimal("946.3529"))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda shop: LineEntry(Zone.objects.get(code="exhaust"), shop.wax, None, QUART), "never coated"),
        (lambda shop: LineEntry(Zone.objects.get(code="boot_lid"), shop.wax, None, QUART), "has no Boot lid"),
        (lambda shop: LineEntry(Zone.objects.get(code="rocker_left"), shop.wax), "give the quantity"),
        (lambda shop: LineEntry(Zone.objects.get(code="rocker_left")), "say why it was not done"),
        (
            lambda shop: LineEntry(Zone.objects.get(code="rocker_left"), shop.wax, shop.film.lots.get(), QUART),
            "not a lot of",
        ),
    ],
)
def test_a_line_that_cannot_be_true_is_refused(shop: ShopForTests, vehicle: Vehicle, make, words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        treat(shop, vehicle, make(shop))
    assert Treatment.objects.count() == 0
    treat(shop, vehicle, entry(shop), LineEntry(Zone.objects.get(code="bed_side_left"), not_done_reason="plug seized"))
    assert TreatmentLine.objects.count() == 2


def test_signed_off_work_is_only_amended_and_both_stay(shop: ShopForTests, vehicle: Vehicle) -> None:
    first = treat(shop, vehicle, entry(shop))
    with pytest.raises(ValidationError, match="needs a reason"):
        amend_treatment(treatment=first, reason=" ", lines=[entry(shop)], now=NOW, actor=None)
    newer = amend_treatment(
        treatment=first, reason="wrong side", lines=[entry(shop, "rocker_right")], now=NOW, actor=None
    )
    with pytest.raises(ValidationError, match="Another amendment was first"):
        amend_treatment(treatment=first, reason="again", lines=[entry(shop)], now=NOW, actor=None)
    history = read_history(vehicle)
    assert len(history.treatments) == 2
    assert [t.zones_applied for t in history.current_treatments] == [frozenset({"rocker_right"})]
    assert newer.lines.get().zone.code == "rocker_right"


def refuses(sql: str) -> bool:
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)
    except DatabaseError:
        return True
    return False


def test_the_database_itself_refuses_what_must_not_be(shop: ShopForTests, vehicle: Vehicle) -> None:
    treatment = treat(shop, vehicle, entry(shop))
    exhaust = Zone.objects.get(code="exhaust").pk
    assert refuses(f"UPDATE treatments_treatment SET note = 'x' WHERE id = {treatment.pk}")
    draft = treat(shop, vehicle, entry(shop), day=date(2025, 9, 9), sign_off=False)
    assert refuses(f"UPDATE treatments_treatmentline SET zone_id = {exhaust} WHERE treatment_id = {draft.pk}")
    assert refuses("UPDATE treatments_event SET kind = 'x'")
    assert refuses("UPDATE scheduling_termsversion SET document = '{}'")
    assert refuses(f"UPDATE treatments_treatmentline SET quantity_ml = 0 WHERE treatment_id = {draft.pk}")
    assert not refuses(f"UPDATE treatments_treatmentline SET tool = 'wand' WHERE treatment_id = {draft.pk}")
    assert refuses(f"UPDATE treatments_treatmentline SET tool = 'wand' WHERE treatment_id = {treatment.pk}")


def test_published_terms_stay_and_a_new_text_needs_a_new_version(shop: ShopForTests) -> None:
    version = TermsVersion.objects.get(terms__code="yearly-renewal")
    same = publish_terms(document=version.document, now=NOW, actor=None)
    assert same.pk == version.pk
    changed = version.document | {"title": "Another title"}
    with pytest.raises(ValidationError, match="higher version"):
        publish_terms(document=changed, now=NOW, actor=None)
    assert publish_terms(document=changed | {"version": 2}, now=NOW, actor=None).version == 2


def test_an_inspection_keeps_the_per_cent_and_refuses_what_is_none(shop: ShopForTests, vehicle: Vehicle) -> None:
    zone = Zone.objects.get(code="rocker_left")

    def inspect(percent: str) -> None:
        record_inspection(
            vehicle=vehicle, site=shop.site, done_on=date(2025, 2, 28), kind=InspectionKind.INTAKE,
            zones=[InspectionEntry(zone, Decimal(percent))], now=NOW, actor=None,
        )  # fmt: skip

    with pytest.raises(ValidationError):
        inspect("101")
    inspect("0.5")
    (seen,) = read_history(vehicle).inspections
    assert seen.zones[0].rusted_area_percent == Decimal("0.5")


def test_a_recall_finds_every_vehicle_that_still_has_the_lot(shop: ShopForTests, vehicle: Vehicle) -> None:
    other = add_vehicle(
        vin="11111111111111111", owner=None, owned_from=date(2025, 1, 1), now=NOW, actor=None,
        propulsion=Propulsion.COMBUSTION,
    )  # fmt: skip
    treat(shop, vehicle, entry(shop))
    mistaken = treat(shop, other, entry(shop))
    lot = shop.wax.lots.get()
    recall_lot(lot=lot, reason="separates", recalled_on=date(2026, 1, 5), now=NOW, actor=None)
    assert set(find_vehicles_with_lot(lot)) == {vehicle, other}
    right = LineEntry(Zone.objects.get(code="rocker_left"), shop.film, shop.film.lots.get(), QUART)
    amend_treatment(treatment=mistaken, reason="other product", lines=[right], now=NOW, actor=None)
    assert set(find_vehicles_with_lot(lot)) == {vehicle}


def test_the_event_log_is_whole_after_work(shop: ShopForTests, vehicle: Vehicle) -> None:
    treat(shop, vehicle, entry(shop))
    assert list(verify_log()) == []
    call_command("verify_log")
    assert Event.objects.filter(kind="treatment.signed_off").count() == 1


def test_histories_are_read_in_a_constant_number_of_queries(
    shop: ShopForTests, vehicle: Vehicle, django_assert_num_queries
) -> None:
    from treatments.records.histories import read_histories

    treat(shop, vehicle, entry(shop))
    vehicles = [vehicle]
    with django_assert_num_queries(7):
        read_histories(vehicles)
    for number in range(5):
        vin = f"1XXC4FA1{number}SM000001"
        other = add_vehicle(
            vin=vin, owner=None, owned_from=date(2025, 1, 1), now=NOW, actor=None, propulsion=Propulsion.COMBUSTION,
            vin_mark="non_road_serial",
        )  # fmt: skip
        treat(shop, other, entry(shop))
        vehicles.append(other)
    with django_assert_num_queries(7):
        read_histories(vehicles)
