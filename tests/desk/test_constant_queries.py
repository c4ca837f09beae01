"""Every page asks the database as often in a shop with twice the records as before, and for a longer history."""

from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from freezegun import freeze_time

from claims.intake.services import file_claim
from desk.demo.load import DemoShop
from notifications.reminders.services import write_due_reminders
from scheduling.booking.finding import propose_slots
from scheduling.booking.services import book_visit
from scheduling.covers.services import register_cover
from scheduling.index.service import recompute
from scheduling.models import Bay, Cover, TermsVersion
from tests.browser.pages import PAGES
from tests.browser.stage import set_stage
from tests.conftest import NOW, TODAY
from tests.desk.test_pages import log_in
from treatments.enums import DamageKind, FilmState, InspectionKind, Propulsion, TreatmentKind
from treatments.models import Lot, User, Vehicle, Zone
from treatments.people.customers import find_or_add_customer
from treatments.records.inspections import InspectionEntry, record_inspection
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.units import Distance, DistanceUnit, Volume, VolumeUnit
from treatments.stock.services import note_all_material_uses, receive_lot
from treatments.vehicles.services import add_vehicle

ADDED = 30
YEAR_AGO = TODAY - timedelta(days=400)


def count_queries(clients: dict[str | None, Client], addresses: dict[str, tuple[str | None, str]]) -> dict[str, int]:
    counts = {}
    for title, (username, address) in addresses.items():
        with CaptureQueriesContext(connection) as captured:
            clients[username].get(address)
        counts[title] = len(captured)
    return counts


def record_work(shop: DemoShop, vehicle: Vehicle, *, kind: TreatmentKind, days_ago: int, now: datetime) -> None:
    day, lot = TODAY - timedelta(days=days_ago), Lot.objects.filter(lines__isnull=False).order_by("pk")[0]
    zones = [Zone.objects.get(code=code) for code in ("rocker_left", "rocker_right")]
    actor = User.objects.get(username="lift")
    lines = [LineEntry(zone, lot.product, lot, Volume(Decimal(1), VolumeUnit.LITRE)) for zone in zones]
    driven = Distance(Decimal(20_000 + 10 * (900 - days_ago)), DistanceUnit.KILOMETRE)
    record_treatment(
        vehicle=vehicle, site=shop.site, done_on=day, kind=kind, lines=lines, now=now, actor=actor, odometer=driven
    )
    seen = [InspectionEntry(zone, Decimal(3), film_state=FilmState.THIN) for zone in zones]
    record_inspection(
        vehicle=vehicle, site=shop.site, done_on=day, kind=InspectionKind.REINSPECTION, zones=seen, now=now, actor=actor
    )


def grow(shop: DemoShop, now: datetime) -> None:
    """Add as many vehicles again as the shop has, with all that pages show, and more work to a vehicle that it has."""
    version = TermsVersion.objects.filter(published_at__isnull=False).order_by("pk")[0]
    owner = User.objects.get(username="owner")
    product = Lot.objects.filter(lines__isnull=False).order_by("pk")[0].product
    bays, zone = {bay.pk: bay for bay in Bay.objects.select_related("site")}, Zone.objects.get(code="rocker_left")
    for number in range(ADDED):
        contact = f"quill{number}@example.org"
        customer = find_or_add_customer(name=f"Lee Quill {number}", contact=contact, now=now)
        vehicle = add_vehicle(
            vin=f"1XXC4FA17SM{number:06d}", vin_mark="non_road_serial", owner=customer, owned_from=YEAR_AGO, now=now,
            actor=owner, plate=f"NQ {number:03d}", body_style="car", propulsion=Propulsion.COMBUSTION,
        )  # fmt: skip
        record_work(shop, vehicle, kind=TreatmentKind.FIRST_TREATMENT, days_ago=390, now=now)
        cover = register_cover(
            vehicle=vehicle, terms_version=version, site=shop.site, sold_on=YEAR_AGO, registered_on=YEAR_AGO, now=now,
            actor=owner, holder=customer,
        )  # fmt: skip
        receive_lot(
            product=product, number=f"C-{number}", received_on=TODAY, quantity=None, expires_on=None, now=now,
            actor=owner,
        )  # fmt: skip
        if number % 3 == 0:
            file_claim(
                cover=cover, zones=[zone], damage=DamageKind.PERFORATION_FROM_WITHIN, reported_on=TODAY, now=now,
                actor=owner, discovered_on=TODAY,
            )  # fmt: skip
        if number % 5 == 0:
            (slot, *_others) = propose_slots(
                vehicle=vehicle, cover=cover, sites=[shop.site], now=now, from_moment=now + timedelta(days=6)
            ).slots
            book_visit(
                vehicle=vehicle, bay=bays[slot.bay], person=User.objects.get(pk=slot.person), starts_at=slot.starts_at,
                now=now, actor=owner, cover=cover,
            )  # fmt: skip
    known = Vehicle.objects.filter(covers__claims__isnull=False, covers__number__startswith="C0").order_by("pk")[0]
    for days_ago in (200, 100, 50):
        record_work(shop, known, kind=TreatmentKind.AFTER_REPAIR, days_ago=days_ago, now=now)
    recompute(as_of=TODAY, now=now)
    write_due_reminders(now=now)
    note_all_material_uses()


@pytest.mark.django_db
def test_every_page_asks_as_often_in_a_shop_of_twice_the_records(tmp_path: Path) -> None:
    with freeze_time(NOW):
        shop = set_stage(tmp_path, NOW)
        note_all_material_uses()
        # A form that is sent wrong is a page that was asked for already.
        pages = [page for page in PAGES if not page.spoil]
        addresses = {f"{page.title}, {page.username}": (page.username, page.address) for page in pages}
        clients: dict[str | None, Client] = {None: Client()}
        for username in {page.username for page in pages if page.username}:
            clients[username] = log_in(username)
        vehicles, covers = Vehicle.objects.count(), Cover.objects.count()
        before = count_queries(clients, addresses)
        grow(shop, NOW)
        assert Vehicle.objects.count() > 1.8 * vehicles and Cover.objects.count() > 1.8 * covers
        after = count_queries(clients, addresses)
        assert len(before) > 60
        assert {title: (before[title], after[title]) for title in before if after[title] > before[title]} == {}
