"""The recall list and the list for the wall: whom they name, in which order, over many pages, and who prints them."""

import io
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from desk.demo.load import DemoShop
from notifications.documents import lists
from notifications.documents.pdf.document import House
from notifications.documents.pdf.lists import (
    RecalledVehicle,
    RecallList,
    WallList,
    WallRow,
    build_recall_list,
    build_wall_list,
)
from scheduling.due_list.queries import DueFilter, read_due_page
from scheduling.models import CoverState
from tests.demo_records import load_demo
from tests.desk.test_pages import log_in
from tests.poppler import run_poppler
from treatments.models import Customer, Lot, User
from treatments.stock.queries import UseSearch, walk_uses
from treatments.stock.services import note_all_material_uses, recall_lot

DAY = date(2026, 11, 30)


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture
def lot(demo: DemoShop) -> Lot:
    """The recalled lot that went on the most vehicles."""
    note_all_material_uses()
    found = max(Lot.objects.all(), key=lambda one: sum(1 for _ in walk_uses(UseSearch(lot=one.pk))))
    return recall_lot(lot=found, reason="separates in the drum", recalled_on=demo.day, now=timezone.now(), actor=None)


def read_pages(content: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(content)).pages]


def find_text(content: bytes, path: Path) -> str:
    """Return the text as another reader of PDF finds it."""
    path.write_bytes(content)
    return run_poppler("pdftotext", "-layout", path, "-")


@pytest.mark.parametrize(
    ("username", "status"), [("writer", 200), ("owner", 200), ("warranty", 403), ("lift", 403), ("dealer", 403)]
)
def test_who_gets_the_recall_list_sees_where_to_print_it(lot: Lot, username: str, status: int) -> None:
    client, address = log_in(username), reverse("desk:lot_list_pdf", args=[lot.pk])
    assert client.get(address).status_code == status
    page = client.get(reverse("desk:lot", args=[lot.pk]))
    assert (address in page.content.decode()) is (status == 200)


def test_the_recall_list_names_each_vehicle_once_with_who_is_to_be_told(lot: Lot, tmp_path: Path) -> None:
    client, address = log_in("owner"), reverse("desk:lot_list_pdf", args=[lot.pk])
    content = client.get(address).content
    assert content == client.get(address).content
    text = find_text(content, tmp_path / "list.pdf")
    uses = list(walk_uses(UseSearch(lot=lot.pk)))
    assert lot.number in text and "separates in the drum" in text
    for use in uses:
        assert text.count(use.vin) == 1
        assert use.owner is not None and use.owner.name in text
    names = sorted({use.owner.name for use in uses if use.owner}, key=str.casefold)
    places = [text.index(name) for name in names]
    assert len(names) > 3 and places == sorted(places)


@pytest.mark.parametrize(
    ("username", "status"), [("writer", 200), ("owner", 200), ("warranty", 200), ("dealer", 200), ("lift", 403)]
)
def test_who_reads_the_due_list_prints_it(demo: DemoShop, username: str, status: int) -> None:
    assert log_in(username).get(reverse("desk:due_wall")).status_code == status


def test_the_wall_says_what_is_due_and_names_nobody(demo: DemoShop, tmp_path: Path) -> None:
    Customer.objects.update(phone="+1 555 0177")
    client = log_in("owner")
    assert reverse("desk:due_wall") in client.get(reverse("desk:due_list")).content.decode()
    text = find_text(client.get(reverse("desk:due_wall")).content, tmp_path / "wall.pdf")
    rows = read_due_page(User.objects.get(username="owner"), demo.day, DueFilter(), size=100).rows
    assert rows and all(row.plate in text for row in rows)
    for customer in Customer.objects.all():
        assert customer.name not in text and (not customer.email or customer.email not in text)
    assert "555 0177" not in text and not [row.vin for row in rows if row.vin in text]


def test_the_wall_is_narrowed_down_as_the_list_is(demo: DemoShop, tmp_path: Path) -> None:
    client = log_in("owner")
    rows = read_due_page(User.objects.get(username="owner"), demo.day, DueFilter(urgency="overdue"), size=100).rows
    others = {
        row.plate for row in read_due_page(User.objects.get(username="owner"), demo.day, DueFilter(), size=100).rows
    }
    others -= {row.plate for row in rows}
    asked = {"urgency": "overdue", "order": "risk"}
    assert (
        "/due/wall.pdf?urgency=overdue&amp;order=risk" in client.get(reverse("desk:due_list"), asked).content.decode()
    )
    text = find_text(client.get(reverse("desk:due_wall"), asked).content, tmp_path / "wall.pdf")
    assert rows and others and all(row.plate in text for row in rows)
    assert not [plate for plate in others if plate in text]


def test_a_dealership_prints_its_own_only(demo: DemoShop, tmp_path: Path) -> None:
    text = find_text(log_in("dealer").get(reverse("desk:due_wall")).content, tmp_path / "wall.pdf")
    own = User.objects.get(username="dealer").dealership
    due = CoverState.objects.filter(due_opens_on__lte=demo.day + timedelta(days=60))
    plates = {state.cover.vehicle.plate: state.dealership == own for state in due.select_related("cover__vehicle")}
    assert set(plates.values()) == {True, False}
    assert {plate for plate in plates if plate in text} == {plate for plate, is_own in plates.items() if is_own}


def test_a_list_that_is_too_long_for_a_wall_says_so(demo: DemoShop, monkeypatch: pytest.MonkeyPatch) -> None:
    client, address = log_in("owner"), reverse("desk:due_wall")
    whole = " ".join(read_pages(client.get(address).content))
    monkeypatch.setattr(lists, "MOST_ON_THE_WALL", 2)
    cut = " ".join(read_pages(client.get(address).content))
    assert "narrow the list down" in cut and "narrow the list down" not in whole


ROW = WallRow("SMH 1", "2024 Tarn Osprey", ("touch-up · 20 zones",), DAY, None)
LONG = "2022 Calder Wren with an extended high roof, a box body and a tail lift " * 3


@pytest.mark.parametrize("count", [1, 16, 17, 18, 19, 20, 33, 34, 35, 36, 120, 122])
def test_many_rows_leave_no_page_with_a_line_or_two(count: int) -> None:
    rows = tuple(
        replace(ROW, plate=f"SMH {number}X", description=LONG if number % 9 == 8 else ROW.description)
        for number in range(count)
    )
    pages = read_pages(build_wall_list(WallList(House("Quay"), "", DAY, (("", rows),))))
    assert sum(page.count("touch-up") for page in pages) == count
    assert all(page.count("touch-up") >= min(2, count) for page in pages)
    assert all("Work due" in page for page in pages)  # the headings stand on each page


@pytest.mark.parametrize("count", [1, 8, 9, 10, 40])
def test_a_vehicle_of_the_recall_list_is_never_torn_apart(count: int) -> None:
    zones = tuple(f"Zone number {number} with its name" for number in range(20))
    vehicles = tuple(
        RecalledVehicle(
            f"P {number}", LONG, f"VIN{number:014}", ((DAY, zones),),
            f"Maximiliana Featherstonehaugh of the Upper Marshes {number}", ("+1 555 0123", "m@example.org"),
        )
        for number in range(count)
    )  # fmt: skip
    found = RecallList(House("Quay"), "Fenwax", "F-1", DAY, "why", DAY, vehicles)
    pages = read_pages(build_recall_list(found))
    for number in range(count):
        (page,) = [page for page in pages if f"VIN{number:014}" in page]
        assert f"Marshes {number}" in page
    starts = sum(page.count("Zone number 0 ") for page in pages)
    assert starts == count == sum(page.count("Zone number 19 ") for page in pages)
    assert all(page.count("Zone number 0 ") == page.count("Zone number 19 ") for page in pages)


@pytest.mark.parametrize("zones", [100, 800])
def test_a_vehicle_that_needs_a_page_or_more_is_printed_whole(zones: int) -> None:
    names = tuple(f"Cavity{number}" for number in range(zones))
    vehicles = tuple(
        RecalledVehicle(f"P {number}", "", f"VIN{number}", ((DAY, names),), "Ada", ()) for number in range(3)
    )
    pages = read_pages(build_recall_list(RecallList(House("Quay"), "Fenwax", "F-1", DAY, "why", DAY, vehicles)))
    assert sum(page.count("Cavity") for page in pages) == 3 * zones
