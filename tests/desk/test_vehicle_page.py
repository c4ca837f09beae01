"""The vehicle page as whole requests: plan and zones, band, timeline, the day that is looked at, and what it costs."""

import re
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from desk.demo.load import DemoShop
from notifications.models import Message
from scheduling.enums import VisitKind
from scheduling.models import Appointment, Bay, Cover
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin, log_in
from treatments.models import Inspection, Lot, Treatment, User, Vehicle, Zone
from treatments.records.inspections import InspectionEntry, record_inspection
from treatments.records.services import LineEntry, amend_treatment, record_treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.stock.services import recall_lot


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


def look_at(vehicle: Vehicle, zone: str, day: date, percent: str | None, *, perforated: bool = False) -> Inspection:
    entry = InspectionEntry(
        zone=Zone.objects.get(code=zone),
        rusted_area_percent=None if percent is None else Decimal(percent),
        perforated=perforated,
    )
    return record_inspection(
        vehicle=vehicle, site=Cover.objects.get(vehicle=vehicle).site, done_on=day, kind="reinspection",
        zones=[entry], now=timezone.now(), actor=None,
    )  # fmt: skip


def find_zone_row(page: str, zone: str) -> str:
    """Return what is read in the row of a zone in the table beside the plan, and the names of its charts."""
    table = page.partition('<table class="list zones">')[2].partition("</table>")[0]
    (row,) = re.findall(rf'<th scope="row">\s*{zone}.*?</tr>', table, re.DOTALL)
    labels = " ".join(re.findall(r'aria-label="([^"]*)"', row))
    return " ".join((re.sub(r"<title>.*?</title>|<[^>]*>", " ", row) + " " + labels).split())


def test_the_plan_shows_the_film_and_its_table_says_the_same(demo: DemoShop) -> None:
    client, vin = log_in("writer"), find_vin(demo, "made-up-for")
    first = Treatment.objects.get(vehicle__vin=vin, kind="first_treatment").done_on
    for days, told in ((0, "fresh, 0 months of 24"), (366, "ageing, 12 months of 24"), (732, "due, 24 months of 24")):
        on = (first + timedelta(days=days)).isoformat()
        page = client.get(f"/vehicles/{vin}/", {"on": on}).content.decode()
        assert "Age of the film on each zone" in page
        assert told in find_zone_row(page, "Left rocker panel")
        assert re.search(rf"<title>\d+\. Left rocker panel: [^<]*; {told.partition(',')[0]};", page)  # the plan
    before = client.get(f"/vehicles/{vin}/", {"on": "2015-01-01"}).content.decode()
    assert "not coated" in find_zone_row(before, "Left rocker panel")


def test_the_plan_shows_the_rust_of_the_inspection_that_is_chosen(demo: DemoShop) -> None:
    client = log_in("lift")
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "made-up-for"))
    first = look_at(vehicle, "rocker_left", demo.day - timedelta(days=60), "0.4")
    look_at(vehicle, "rocker_left", demo.day - timedelta(days=10), "12", perforated=True)
    address = f"/vehicles/{vehicle.vin}/"
    latest = client.get(address, {"show": "rust"}).content.decode()
    row = find_zone_row(latest, "Left rocker panel")
    assert "Ri 5 (12 %) perforated" in row
    assert "Ri 2 on" in row and "Ri 5 on" in row and ", perforated" in row  # the chart's words
    chosen = client.get(address, {"show": "rust", "inspection": first.pk}).content.decode()
    assert "Ri 2 (0.4 %)" in find_zone_row(chosen, "Left rocker panel")
    assert "not measured" in find_zone_row(chosen, "Right rocker panel")
    then = client.get(address, {"show": "rust", "on": (demo.day - timedelta(days=30)).isoformat()}).content.decode()
    row = find_zone_row(then, "Left rocker panel")
    assert "Ri 2 (0.4 %)" in row and "Ri 5" not in row
    assert client.get(address, {"show": "rust", "inspection": "x" * 400}).status_code == 200


def test_the_band_tells_past_and_expected_states_and_each_why(demo: DemoShop) -> None:
    page = log_in("writer").get(f"/vehicles/{find_vin(demo, 'made-up-for')}/").content.decode()
    band = page.partition('<ol class="band-list">')[2].partition("</ol>")[0]
    read = " ".join(re.sub(r"<[^>]*>", " ", band).split())
    assert "suspended from" in read and "in force from" in read
    assert "In force again since" in read
    assert re.search(r"suspended expected from .*, if nothing more is recorded", read)
    assert band.count("<summary>Why</summary>") == band.count("<li")
    assert 'class="today"' in page
    drawn = len(re.findall(r'class="state s-\w+(?: expected)?"/>', page.partition("<figcaption>")[0]))
    assert drawn == band.count("<li") + 1  # the state of today is drawn in two parts, so far and from here on


def test_the_timeline_holds_everything_and_can_be_narrowed(demo: DemoShop) -> None:
    vin = find_vin(demo, "made-up-for")
    vehicle = Vehicle.objects.get(vin=vin)
    client = log_in("owner")
    page = client.get(f"/vehicles/{vin}/").content.decode()
    days = re.findall(r'<time datetime="([^"]*)"', page)
    assert days == sorted(days, reverse=True) and len(days) > 8
    for treatment in Treatment.objects.filter(vehicle=vehicle):
        assert f'id="treatment-{treatment.pk}"' in page
    only = client.get(f"/vehicles/{vin}/", {"kind": ["inspection", "owner"]}).content.decode()
    anchors = re.findall(r'<li id="(\w+)-', only)
    assert set(anchors) == {"inspection", "ownership"}
    none = client.get(f"/vehicles/{vin}/", {"kind": "message"}).content.decode()
    assert "Nothing of this kind is on record." in none
    assert client.get(f"/vehicles/{vin}/", {"kind": "nonsense", "page": "-4"}).status_code == 200
    assert client.get(f"/vehicles/{vin}/", {"page": "9" * 300}).status_code == 200


def test_a_dealership_sees_neither_drafts_nor_visits_that_are_not_of_its_covers(demo: DemoShop) -> None:
    cover = Cover.objects.filter(dealership__code="harbour-mile").select_related("vehicle", "site")[0]
    draft = Treatment.objects.create(
        vehicle=cover.vehicle, site=cover.site, done_on=demo.day, kind="after_repair", recorded_at=timezone.now()
    )
    bay = Bay.objects.create(site=cover.site, code="spare", name="Spare bay", kind="lift")
    hour, start = timedelta(hours=1), timezone.now() - timedelta(days=3)
    own, other = (
        Appointment.objects.create(
            number=number, site=cover.site, bay=bay, vehicle=cover.vehicle, cover=of_cover,
            visit=VisitKind.REINSPECTION, status="done",
            starts_at=at, work_ends_at=at + hour, bay_free_at=at + hour, ready_at=at + hour,
            recorded_at=at, changed_at=at,
        )
        for number, of_cover, at in (("V-OWN", cover, start), ("V-OTHER", None, start + 2 * hour))
    )  # fmt: skip
    address = f"/vehicles/{cover.vehicle.vin}/"
    shop, dealer = (log_in(name).get(address).content.decode() for name in ("owner", "dealer"))
    for anchor in (f"treatment-{draft.pk}", f"visit-{own.pk}", f"visit-{other.pk}"):
        assert f'<li id="{anchor}"' in shop
    assert f'<li id="visit-{own.pk}"' in dealer
    assert f'<li id="treatment-{draft.pk}"' not in dealer and f'<li id="visit-{other.pk}"' not in dealer
    assert "draft, not signed off" in shop and "V-OTHER" not in dealer


def test_an_inspection_recorded_later_stays_in_the_timeline_of_what_was_known_before(demo: DemoShop) -> None:
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "made-up-for"))
    seen = look_at(vehicle, "rocker_left", demo.day - timedelta(days=60), "0.4")
    known = {"known-at": (demo.day - timedelta(days=30)).isoformat(), "kind": "inspection"}
    page = log_in("owner").get(f"/vehicles/{vehicle.vin}/", known).content.decode()
    entry = page.partition(f'<li id="inspection-{seen.pk}"')[2].partition("</li>")[0]
    assert "Left rocker panel" in entry and "Ri 2" in entry


def add_messages(vehicle: Vehicle, count: int) -> None:
    cover = Cover.objects.get(vehicle=vehicle)
    Message.objects.bulk_create(
        Message(
            key=f"test {number}", customer=cover.holder, cover=cover, kind="visit_due", address="a@example.org",
            subject=f"Reminder {number}", body="x", due_at=timezone.now(), created_at=timezone.now(),
        )
        for number in range(count)
    )  # fmt: skip


def test_a_long_timeline_is_paged_and_a_record_finds_its_page(demo: DemoShop) -> None:
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "made-up-for"))
    add_messages(vehicle, 120)
    first = Treatment.objects.filter(vehicle=vehicle).earliest("done_on")
    client = log_in("writer")
    address = f"/vehicles/{vehicle.vin}/"
    page = client.get(address).content.decode()
    assert page.count("Message, waiting") == 25 and f'id="treatment-{first.pk}"' not in page
    assert "Page 1 of 6" in page
    joined = "".join(client.get(address, {"page": number}).content.decode() for number in range(1, 7))
    assert len(re.findall(r'id="message-\d+"', joined)) == len(set(re.findall(r'id="message-\d+"', joined))) == 120
    found = client.get(address, {"at": f"treatment-{first.pk}", "kind": "claim"}).content.decode()
    assert f'id="treatment-{first.pk}"' in found
    dealer = log_in("dealer")
    sold = Cover.objects.filter(dealership__code="harbour-mile").first()
    add = Message.objects.first()
    add.cover = sold
    add.save()
    assert add.subject not in dealer.get(f"/vehicles/{sold.vehicle.vin}/").content.decode()


def test_an_amendment_and_the_work_that_it_replaced_point_at_each_other(demo: DemoShop) -> None:
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "made-up-for"))
    old = Treatment.objects.filter(vehicle=vehicle).latest("done_on")
    lines = [
        LineEntry(zone=line.zone, product=line.product, lot=line.lot, quantity=Volume(Decimal(1), VolumeUnit.LITRE))
        for line in old.lines.filter(product__isnull=False)
    ]
    new = amend_treatment(treatment=old, reason="wrong lot", lines=lines, now=timezone.now(), actor=None)
    page = log_in("writer").get(f"/vehicles/{vehicle.vin}/").content.decode()
    assert f'?at=treatment-{old.pk}#treatment-{old.pk}">an earlier version</a>: wrong lot.' in page
    assert f'?at=treatment-{new.pk}#treatment-{new.pk}">an amendment</a>' in page


def test_a_recalled_lot_shows_on_the_vehicles_that_it_is_on_and_on_no_other(demo: DemoShop) -> None:
    line = (
        Treatment.objects.filter(vehicle__vin=find_vin(demo, "made-up-for"))
        .latest("done_on")
        .lines.filter(lot__isnull=False)[0]
    )
    without = Vehicle.objects.exclude(treatments__lines__lot=line.lot).filter(covers__isnull=False)[0]
    recall_lot(lot=line.lot, reason="separates", recalled_on=demo.day, now=timezone.now(), actor=None)
    client = log_in("writer")
    assert "Recalled material" in client.get(f"/vehicles/{line.treatment.vehicle.vin}/").content.decode()
    assert "Recalled material" not in client.get(f"/vehicles/{without.vin}/").content.decode()


def count_queries(client: object, address: str) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert client.get(address).status_code == 200  # type: ignore[attr-defined]
    return len(captured.captured_queries)


def test_the_page_asks_as_many_queries_whatever_the_history(demo: DemoShop) -> None:
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "made-up-for"))
    client, address = log_in("owner"), f"/vehicles/{find_vin(demo, 'made-up-for')}/"
    add_messages(vehicle, 1)
    client.get(address)
    few = count_queries(client, address)
    site, lot = Cover.objects.get(vehicle=vehicle).site, Lot.objects.select_related("product").first()
    zones = list(Zone.objects.filter(code__in=["rocker_left", "rocker_right"]))
    person = User.objects.get(username="lift")
    for number in range(30):
        day = demo.day - timedelta(days=400 - 12 * number)
        entries = [
            LineEntry(zone=zone, product=lot.product, lot=lot, quantity=Volume(Decimal(1), VolumeUnit.LITRE))
            for zone in zones
        ]
        record_treatment(
            vehicle=vehicle, site=site, done_on=day, kind="after_repair", lines=entries, now=timezone.now(),
            actor=person,
        )  # fmt: skip
        look_at(vehicle, "rocker_left", day + timedelta(days=1), "0.4")
    many = count_queries(client, address)
    # A page of one kind alone asks for fewer records, never for more.
    # In use sites are kept, and so is the clock by which the person reads.
    assert many <= few <= 32
