"""What a whole vehicle took of a product and lot: recorded, kept by amendments, counted once by the stock."""

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction

from tests.conftest import NOW, ShopForTests
from treatments.enums import MeasuredBy, Propulsion, TreatmentKind
from treatments.event_log import verify_log
from treatments.models import MaterialTotal, MaterialUse, Treatment, Vehicle, Zone
from treatments.queries import find_visit_findings
from treatments.records.drafts import change_draft, compute_fingerprint
from treatments.records.histories import read_history
from treatments.records.material_totals import TotalEntry, list_totals
from treatments.records.services import LineEntry, amend_treatment, record_treatment
from treatments.records.sign_off import list_lines
from treatments.rules.units import Volume, VolumeUnit
from treatments.stock.services import note_all_material_uses, rebuild_material_uses
from treatments.vehicles.services import add_vehicle

DAY = date(2026, 5, 19)


def ml(amount: int | str) -> Volume:
    return Volume(Decimal(amount), VolumeUnit.MILLILITRE)


@pytest.fixture
def vehicle(shop: ShopForTests) -> Vehicle:
    return add_vehicle(
        vin="1M8GDM9AXKP042788", owner=None, owned_from=date(2025, 1, 1), now=NOW, actor=None, body_style="pickup",
        propulsion=Propulsion.COMBUSTION,
    )  # fmt: skip


def coat(shop: ShopForTests, code: str, quantity: Volume | None = None, *, lot: bool = True) -> LineEntry:
    return LineEntry(Zone.objects.get(code=code), shop.wax, shop.wax.lots.get() if lot else None, quantity)


def total(shop: ShopForTests, quantity: str = "500", by: MeasuredBy = MeasuredBy.CANISTER) -> TotalEntry:
    return TotalEntry(shop.wax, shop.wax.lots.get(), ml(quantity), by)


def treat(shop: ShopForTests, vehicle: Vehicle, *lines: LineEntry, totals: list[TotalEntry], **more: bool) -> Treatment:
    return record_treatment(
        vehicle=vehicle, site=shop.site, done_on=DAY, kind=TreatmentKind.FIRST_TREATMENT, lines=lines, totals=totals,
        now=NOW, actor=None, **more,
    )  # fmt: skip


def list_used() -> list[tuple[Decimal, int]]:
    note_all_material_uses()
    noted = list(MaterialUse.objects.values_list("quantity_ml", "zones"))
    rebuild_material_uses()
    assert list(MaterialUse.objects.values_list("quantity_ml", "zones")) == noted
    return noted


def test_total_stands_instead_of_the_quantities_of_zones(shop: ShopForTests, vehicle: Vehicle) -> None:
    lines = coat(shop, "rocker_left"), coat(shop, "rocker_right")
    with pytest.raises(ValidationError) as refused:
        treat(shop, vehicle, *lines, totals=[])
    assert list(refused.value.message_dict) == ["quantity"]
    treatment = treat(shop, vehicle, *lines, totals=[total(shop)])
    assert [(row.quantity_ml, row.measured_by) for row in list_totals(treatment)] == [(500, "canister")]
    # A coat is a coat; only how much one zone got is not known.
    (record,) = read_history(vehicle).treatments
    assert record.zones_applied == {"rocker_left", "rocker_right"}
    assert [line.quantity_ml for line in record.lines] == [None, None]
    assert list_used() == [(500, 2)]
    assert not list(verify_log())


def test_stock_counts_the_total_before_the_quantities_of_zones(shop: ShopForTests, vehicle: Vehicle) -> None:
    lines = coat(shop, "rocker_left", ml(240)), coat(shop, "rocker_right", ml(240))
    old = treat(shop, vehicle, *lines, totals=[total(shop)])
    assert list_used() == [(500, 2)]
    # What an amendment does not speak of it keeps; what it takes away is gone.
    kept = amend_treatment(treatment=old, reason="typed wrong", lines=lines, now=NOW, actor=None, note="new words")
    assert list_used() == [(500, 2)]
    amend_treatment(treatment=kept, reason="no canister", lines=lines, totals=[], now=NOW, actor=None)
    assert list_used() == [(480, 2)]


@pytest.mark.parametrize("wrong", ["nothing", "other lot", "no zone", "twice"])
def test_total_that_can_not_be_true_is_refused(shop: ShopForTests, vehicle: Vehicle, wrong: str) -> None:
    line, told = coat(shop, "rocker_left", ml(200)), [total(shop)]
    if wrong == "nothing":
        told = [total(shop, "0")]
    elif wrong == "other lot":
        told = [TotalEntry(shop.wax, shop.film.lots.get(), ml(500), MeasuredBy.PUMP)]
    elif wrong == "no zone":
        line = coat(shop, "rocker_left", ml(200), lot=False)
    else:
        told *= 2
    with pytest.raises(ValidationError) as refused:
        treat(shop, vehicle, line, totals=told)
    assert list(refused.value.message_dict) == ["totals"]
    assert not Treatment.objects.exists()


def test_draft_changed_in_its_totals_only_is_another_draft(shop: ShopForTests, vehicle: Vehicle) -> None:
    line = coat(shop, "rocker_left", ml(200))
    draft = treat(shop, vehicle, line, totals=[total(shop)], sign_off=False)
    before = compute_fingerprint(draft)

    def change(quantity: str, fingerprint: str) -> None:
        change_draft(
            treatment=draft, fingerprint=fingerprint, done_on=DAY, kind=TreatmentKind.FIRST_TREATMENT, lines=[line],
            totals=[total(shop, quantity)], now=NOW, actor=None,
        )  # fmt: skip

    change("400", before)
    assert [row.quantity_ml for row in list_totals(draft)] == [400]
    with pytest.raises(ValidationError):
        change("300", before)
    # Unsigned it counts for nothing.
    assert list_used() == []


def test_signed_total_is_not_changed(shop: ShopForTests, vehicle: Vehicle) -> None:
    treat(shop, vehicle, coat(shop, "rocker_left"), totals=[total(shop)])
    with pytest.raises(DatabaseError), transaction.atomic():
        MaterialTotal.objects.update(measured_by="pump")
    assert MaterialTotal.objects.get().measured_by == "canister"


@pytest.mark.parametrize(
    ("zones_ml", "by", "tells"),
    [
        (("100", "100"), MeasuredBy.CANISTER, True),
        (("237", "238"), MeasuredBy.CANISTER, False),
        (("237", "237"), MeasuredBy.CANISTER, True),
        (("262", "263"), MeasuredBy.CANISTER, False),
        (("263", "263"), MeasuredBy.CANISTER, True),
        (("100", "100"), MeasuredBy.PUMP, False),
        (("600", None), MeasuredBy.CANISTER, True),
        (("100", None), MeasuredBy.CANISTER, False),
    ],
)
def test_summary_tells_where_zones_and_canister_disagree(
    shop: ShopForTests, vehicle: Vehicle, zones_ml: tuple[str, str | None], by: MeasuredBy, tells: bool
) -> None:
    left, right = (ml(amount) if amount else None for amount in zones_ml)
    lines = coat(shop, "rocker_left", left), coat(shop, "rocker_right", right)
    draft = treat(shop, vehicle, *lines, totals=[total(shop, "500", by)], sign_off=False)
    found = find_visit_findings(draft, list_lines(draft), list_totals(draft))
    disagreeing = [one for one in found if one.explanation.code == "material.sum_differs"]
    assert bool(disagreeing) is tells
