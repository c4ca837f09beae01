"""The stock as whole requests: what is left, receiving, recalling, where a lot went, and who may see owners."""

import csv
import io
import re
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from desk.demo.load import DemoShop
from desk.stock.views import list_headings
from tests.demo_records import load_demo
from tests.desk.test_pages import log_in
from treatments.models import Event, Lot, MaterialUse, Product, Treatment, TreatmentLine, Vehicle
from treatments.records.services import LineEntry, amend_treatment
from treatments.rules.stock import LotQuantities, LotStanding, judge_lot
from treatments.rules.units import Volume, VolumeUnit
from treatments.stock.queries import Use, UseSearch, read_uses
from treatments.stock.queries import walk_uses as walk_noted_uses
from treatments.stock.services import (
    note_all_material_uses,
    note_material_uses,
    rebuild_material_uses,
    recall_lot,
    receive_lot,
)

TODAY = date(2026, 5, 20)


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.mark.parametrize(
    ("expires_on", "recalled_on", "standing"),
    [
        (None, None, LotStanding.USABLE),
        (TODAY + timedelta(days=61), None, LotStanding.USABLE),
        (TODAY + timedelta(days=60), None, LotStanding.EXPIRES_SOON),
        (TODAY, None, LotStanding.EXPIRES_SOON),
        (TODAY - timedelta(days=1), None, LotStanding.EXPIRED),
        (TODAY - timedelta(days=1), TODAY, LotStanding.RECALLED),
    ],
)
def test_a_lot_stands_as_its_days_say(expires_on: date | None, recalled_on: date | None, standing: LotStanding) -> None:
    assert judge_lot(expires_on, recalled_on, TODAY) is standing


def test_what_is_left_is_told_only_where_it_can_be() -> None:
    assert LotQuantities(None, Decimal(5)).left_ml is None
    assert LotQuantities(Decimal(8), Decimal(5)).left_ml == 3
    over = LotQuantities(Decimal(4), Decimal(5))
    assert (over.left_ml, over.overdrawn_ml) == (0, 1)
    assert LotQuantities(Decimal(5), Decimal(5)).overdrawn_ml is None


def walk_uses(search: UseSearch) -> list[Use]:
    note_all_material_uses()
    return list(walk_noted_uses(search))


def find_used_lot() -> Lot:
    return Lot.objects.filter(lines__isnull=False).order_by("pk").first()


def list_standing_lines(lot: Lot) -> list[TreatmentLine]:
    return list(
        TreatmentLine.objects.filter(
            lot=lot, treatment__amended_by__isnull=True, treatment__signed_off_at__isnull=False
        )
    )


def test_the_list_shows_what_came_was_used_and_is_left(demo: DemoShop, django_assert_num_queries) -> None:
    lot = find_used_lot()
    used = sum(line.quantity_ml for line in list_standing_lines(lot))
    client = log_in("lift")
    page = client.get("/stock/", {"q": lot.number}).content.decode()
    assert f"{used / 1000:.3f}" in page
    assert f"{(lot.quantity_received_ml - used) / 1000:.3f}" in page
    Lot.objects.filter(pk=lot.pk).update(quantity_received_ml=None)
    assert "cannot be told" in client.get("/stock/", {"q": lot.number}).content.decode()
    Lot.objects.filter(pk=lot.pk).update(quantity_received_ml=1)
    assert "more used than came" in client.get("/stock/", {"q": lot.number}).content.decode()
    assert "No lot is like this." in client.get("/stock/", {"q": "\x00nothing"}).content.decode()
    assert client.get("/stock/", {"standing": "odd", "product": "odd"}).status_code == 400
    with CaptureQueriesContext(connection) as one:
        client.get("/stock/", {"q": lot.number})
    with django_assert_num_queries(len(one.captured_queries)):
        client.get("/stock/")


def test_the_list_can_be_narrowed_to_each_standing(demo: DemoShop) -> None:
    client, lots = log_in("owner"), list(Lot.objects.order_by("pk")[:4])
    days = (demo.day - timedelta(days=1), demo.day, demo.day + timedelta(days=61), None)
    Lot.objects.all().update(expires_on=None)
    for lot, day in zip(lots, days, strict=True):
        Lot.objects.filter(pk=lot.pk).update(expires_on=day)
    recall_lot(lot=lots[3], reason="separates", recalled_on=demo.day, now=timezone.now(), actor=None)
    for standing, wanted in (("expired", lots[0]), ("expires_soon", lots[1]), ("recalled", lots[3])):
        page = client.get("/stock/", {"standing": standing}).content.decode()
        assert [lot for lot in lots if f"/stock/lots/{lot.pk}/" in page] == [wanted], standing
    usable = client.get("/stock/", {"standing": "usable"}).content.decode()
    assert [lot for lot in lots if f"/stock/lots/{lot.pk}/" in usable] == [lots[2]]


def test_a_lot_is_received_once_and_bad_input_is_kept_and_told(demo: DemoShop) -> None:
    client, product = log_in("writer"), Product.objects.order_by("pk").first()
    form = {
        "product": product.pk, "number": "  NX-9 ", "received_on": demo.day.isoformat(),
        "expires_on": "", "quantity": "20", "unit": "litre",
    }  # fmt: skip
    tomorrow = (timezone.now().date() + timedelta(days=2)).isoformat()
    for wrong, told in (
        ({"number": " "}, "This field is required."),
        ({"quantity": "1,234"}, "can be read in two ways"),
        ({"quantity": "-3"}, "greater than or equal to"),
        ({"received_on": tomorrow}, "has not come yet"),
        ({"expires_on": (demo.day - timedelta(days=1)).isoformat()}, "on which the lot was received: correct the year"),
        ({"product": "77777"}, "Select a valid choice"),
    ):
        answer = client.post("/stock/receive/", form | wrong)
        page = answer.content.decode()
        assert answer.status_code == 400 and told in page, wrong
        assert 'value="20"' in page or "quantity" in wrong
    assert not Lot.objects.filter(number="NX-9").exists()
    answer = client.post("/stock/receive/", form)
    lot = Lot.objects.get(number="NX-9")
    assert answer.status_code == 302 and answer.headers["Location"] == f"/stock/lots/{lot.pk}/?told=received"
    assert (lot.quantity_received_ml, lot.product) == (20_000, product)
    told = read_notice(client.get(answer.headers["Location"]).content.decode())
    assert all(text in told for text in (product.name, "NX-9", "20.000 L", 'href="/stock/receive/"')), told
    assert read_notice(client.get(f"/stock/lots/{lot.pk}/").content.decode()) == ""
    event = Event.objects.order_by("-position").first()
    assert (event.kind, event.subject_id) == ("lot.received", str(lot.pk))
    again = client.post("/stock/receive/", form | {"number": "nx-9"})
    assert again.status_code == 400 and "was received on" in again.content.decode()
    assert Lot.objects.filter(number__iexact="nx-9").count() == 1
    assert log_in("lift").post("/stock/receive/", form).status_code == 403
    assert log_in("dealer").get("/stock/").status_code == 403


def read_notice(page: str) -> str:
    found = re.search(r'<div class="notice done" role="status">.*?</div>', page, re.S)
    return found[0] if found else ""


def test_a_received_lot_is_told_with_its_last_day_and_without_a_quantity(demo: DemoShop) -> None:
    client, product = log_in("writer"), Product.objects.order_by("pk").first()
    form = {
        "product": product.pk, "number": "NX-10", "received_on": demo.day.isoformat(),
        "expires_on": "2031-03-09", "quantity": "", "unit": "litre",
    }  # fmt: skip
    told = read_notice(client.post("/stock/receive/", form, follow=True).content.decode())
    assert "9 Mar 2031" in told and " L." not in told
    # Nobody received a lot that is known from work only, whatever the address says.
    known = Lot.objects.create(product=product, number="ONLY-USED")
    assert read_notice(client.get(f"/stock/lots/{known.pk}/?told=received").content.decode()) == ""


def test_a_lot_known_only_from_work_gets_its_missing_facts(demo: DemoShop) -> None:
    product = Product.objects.order_by("pk").first()
    known = Lot.objects.create(product=product, number="ONLY-USED", expires_on=date(2030, 1, 1))
    lot = receive_lot(
        product=product, number="only-used", received_on=demo.day, quantity=Volume(Decimal(2), VolumeUnit.LITRE),
        expires_on=None, now=timezone.now(), actor=None,
    )  # fmt: skip
    assert (lot.pk, lot.quantity_received_ml, lot.expires_on) == (known.pk, 2000, date(2030, 1, 1))
    with pytest.raises(ValidationError, match="more than 0"):
        receive_lot(
            product=product, number="other", received_on=demo.day, quantity=Volume(Decimal(0), VolumeUnit.LITRE),
            expires_on=None, now=timezone.now(), actor=None,
        )  # fmt: skip


def test_a_recall_is_marked_shown_and_taken_back(demo: DemoShop) -> None:
    lot, client = find_used_lot(), log_in("writer")
    address, day = f"/stock/lots/{lot.pk}/", demo.day.isoformat()
    refused = client.post(f"{address}recall/", {"recalled_on": day, "reason": " "})
    assert refused.status_code == 400 and "This field is required." in refused.content.decode()
    assert log_in("lift").post(f"{address}recall/", {"recalled_on": day, "reason": "x"}).status_code == 403
    for far in ((timezone.now().date() + timedelta(days=2)).isoformat(), "9999-01-01"):
        future = client.post(f"{address}recall/", {"recalled_on": far, "reason": "separates"})
        assert future.status_code == 400 and re.search("has not come yet|is out of reach", future.content.decode()), far
    lot.refresh_from_db()
    assert lot.recalled_on is None
    typed = {"recalled_on": day, "reason": "separates"}
    asked = client.post(f"{address}recall/", typed)
    touched = {line.treatment.vehicle_id for line in list_standing_lines(lot)}
    assert asked.status_code == 200 and asked.context["reach"].vehicles == len(touched)
    lot.refresh_from_db()
    assert lot.recalled_on is None
    assert client.post(f"{address}recall/", typed | {"confirm": "1"}).status_code == 302
    lot.refresh_from_db()
    assert (lot.recalled_on, lot.recall_reason) == (demo.day, "separates")
    page = client.get(address).content.decode()
    assert "separates" in page and "Take the recall back" in page
    twice = client.post(f"{address}recall/", {"recalled_on": day, "reason": "again"})
    assert twice.status_code == 400 and "already recalled" in twice.content.decode()
    assert client.post(f"{address}take-back/", {"reason": "wrong lot"}).status_code == 302
    lot.refresh_from_db()
    assert lot.recalled_on is None
    assert client.post(f"{address}take-back/", {"reason": "wrong lot"}).status_code == 400
    kinds = list(Event.objects.filter(subject="lot", subject_id=str(lot.pk)).values_list("kind", flat=True))
    assert kinds == ["lot.recalled", "lot.recall_taken_back"]


def read_csv(answer: object) -> list[list[str]]:
    text = b"".join(answer.streaming_content).decode("utf-8-sig")  # type: ignore[attr-defined]
    return list(csv.reader(io.StringIO(text)))


def test_the_recall_list_names_every_vehicle_zone_and_owner_and_starts_no_formula(demo: DemoShop) -> None:
    lot = find_used_lot()
    lines = list_standing_lines(lot)
    vehicles = {line.treatment.vehicle for line in lines}
    hostile = vehicles.copy().pop()
    Vehicle.objects.filter(pk=hostile.pk).update(description='=HYPERLINK("http://a.example","x")', plate="@SUM(A1)")
    client = log_in("writer")
    heading, *rows = read_csv(client.get(f"/stock/lots/{lot.pk}/recall-list.csv"))
    assert heading == list_headings()
    assert {row[0] for row in rows} == {vehicle.vin for vehicle in vehicles}
    assert sum(len(row[6].split("; ")) for row in rows) == len(lines)
    assert not [cell for row in rows for cell in row if cell.startswith(("=", "@"))]
    assert next(row[1] for row in rows if row[0] == hostile.vin) == "'@SUM(A1)"
    owner = hostile.ownerships.get(until_day__isnull=True).customer
    assert next(row[7] for row in rows if row[0] == hostile.vin) == owner.name
    page = client.get(f"/stock/lots/{lot.pk}/").content.decode()
    assert all(vehicle.vin in page for vehicle in vehicles) and owner.contact in page
    lift = log_in("lift")
    seen = lift.get(f"/stock/lots/{lot.pk}/").content.decode()
    assert all(vehicle.vin in seen for vehicle in vehicles) and owner.contact not in seen and owner.name not in seen
    assert lift.get(f"/stock/lots/{lot.pk}/recall-list.csv").status_code == 403
    administrator = log_in("warranty")
    assert vehicles.pop().vin in administrator.get(f"/stock/lots/{lot.pk}/").content.decode()
    assert administrator.post(f"/stock/lots/{lot.pk}/recall/", {}).status_code == 403
    assert client.get("/stock/lots/999999/").status_code == 404


def test_work_that_was_amended_away_is_in_no_recall_list(demo: DemoShop) -> None:
    lot = find_used_lot()
    old = list_standing_lines(lot)[0].treatment
    other = Lot.objects.create(product=lot.product, number="RIGHT-ONE")
    kept = [
        LineEntry(
            zone=line.zone, product=line.product, lot=other if line.lot_id == lot.pk else line.lot,
            quantity=Volume(Decimal(1), VolumeUnit.LITRE),
        )
        for line in old.lines.filter(product__isnull=False)
    ]  # fmt: skip
    before = {use.treatment for use in walk_uses(UseSearch(lot=lot.pk))}
    new = amend_treatment(treatment=old, reason="another lot", lines=kept, now=timezone.now(), actor=None)
    assert {use.treatment for use in walk_uses(UseSearch(lot=lot.pk))} == before - {old.pk}
    assert [use.treatment for use in walk_uses(UseSearch(lot=other.pk))] == [new.pk]


def test_material_is_found_by_lot_product_and_day(demo: DemoShop, monkeypatch: pytest.MonkeyPatch) -> None:
    lot = find_used_lot()
    days = sorted({line.treatment.done_on for line in list_standing_lines(lot)})
    client = log_in("owner")
    asked = {"lot": lot.number[1:].lower(), "used_from": days[0].isoformat(), "used_until": days[0].isoformat()}
    page = client.get("/stock/where/", asked).content.decode()
    expected = {line.treatment for line in list_standing_lines(lot) if line.treatment.done_on == days[0]}
    assert all(treatment.vehicle.vin in page for treatment in expected)
    _, *rows = read_csv(client.get("/stock/where/recall-list.csv", asked))
    assert {date.fromisoformat(row[3]) for row in rows} == {days[0]}
    for wrong, told in (
        ({"used_from": "2026-01-01"}, "days alone would find all work"),
        ({"lot": "x", "used_from": "2026-02-01", "used_until": "2026-01-01"}, "“Used until” is before “Used from”"),
        ({"lot": "x", "used_from": "soon"}, "Enter a valid date"),
        ({"lot": "x", "without_lot": "on"}, "Choose the product"),
    ):
        for address in ("/stock/where/", "/stock/where/recall-list.csv"):
            answer = client.get(address, wrong)
            assert answer.status_code == 400 and told in answer.content.decode(), wrong
    assert "No signed-off work used it." in client.get("/stock/where/", {"lot": "no such"}).content.decode()
    everything = UseSearch(product=lot.product_id)
    whole = [use.treatment for use in walk_uses(everything)]
    assert len(whole) > 5
    joined, after = [], ""
    while True:
        part = read_uses(everything, after=after, size=2)
        joined += [use.treatment for use in part.uses]
        if not part.after:
            break
        after = part.after
    assert joined == whole
    monkeypatch.setattr("treatments.stock.queries.BATCH", 2)
    assert [use.treatment for use in walk_uses(everything)] == whole


def test_work_without_a_lot_is_found_where_it_is_asked_for(demo: DemoShop) -> None:
    line = TreatmentLine.objects.filter(lot__isnull=False, treatment__amended_by__isnull=True).first()
    lines = [
        LineEntry(zone=one.zone, product=one.product, lot=None, quantity=Volume(Decimal(1), VolumeUnit.LITRE))
        for one in Treatment.objects.get(pk=line.treatment_id).lines.filter(product__isnull=False)
    ]
    new = amend_treatment(
        treatment=line.treatment, reason="the lot is not known", lines=lines, now=timezone.now(), actor=None
    )
    without = UseSearch(text=line.lot.number, product=line.product_id)
    assert new.pk not in [use.treatment for use in walk_uses(without)]
    with_it = UseSearch(text=line.lot.number, product=line.product_id, without_lot=True)
    assert new.pk in [use.treatment for use in walk_uses(with_it)]


def list_noted() -> list[tuple[object, ...]]:
    return sorted(
        MaterialUse.objects.values_list("treatment", "vehicle", "product", "lot", "done_on", "quantity_ml", "zones"),
        key=str,
    )


def test_uses_noted_from_the_log_in_any_steps_are_those_of_the_records(demo: DemoShop) -> None:
    while not note_material_uses(most=3):
        pass
    stepwise = list_noted()
    assert stepwise and len(stepwise) == rebuild_material_uses()
    assert list_noted() == stepwise
    line = TreatmentLine.objects.filter(lot__isnull=False, treatment__amended_by__isnull=True).first()
    entry = LineEntry(zone=line.zone, product=line.product, lot=line.lot, quantity=Volume(Decimal(3), VolumeUnit.LITRE))
    newer = amend_treatment(
        treatment=line.treatment, reason="one zone only", lines=[entry], now=timezone.now(), actor=None
    )
    assert list_noted() == stepwise  # not noted yet
    assert note_material_uses()
    noted = list_noted()
    assert not MaterialUse.objects.filter(treatment=line.treatment).exists()
    assert MaterialUse.objects.get(treatment=newer).quantity_ml == 3000
    rebuild_material_uses()
    assert list_noted() == noted
    assert note_material_uses() and list_noted() == noted
