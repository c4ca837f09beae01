"""What a visit's page says that the visit serves, from its booking until all of it is treated, let off or given up."""

import re
from datetime import date, timedelta

import pytest
from django.test import Client
from freezegun import freeze_time

from scheduling.booking.changing import begin_visit, cancel_visit, finish_visit, mark_no_show, split_visit
from scheduling.booking.services import book_visit
from scheduling.covers.services import end_cover, register_cover, waive_open_items
from scheduling.index.service import recompute
from scheduling.models import Appointment, AppointmentItem, Cover, CoverState, DueItem
from tests.conftest import NOW, TODAY, ShopForTests
from tests.scheduling.booking_helpers import QUART, Bays, add_due_vehicle, at, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.enums import TreatmentKind
from treatments.models import Zone
from treatments.records.services import LineEntry, record_treatment

DAY = date(2026, 6, 9)


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def visit(shop: ShopForTests, bays: Bays) -> Appointment:
    """Book a vehicle whose three zones and reinspection are due."""
    cover = add_due_vehicle(shop, make_vin(1), date(2025, 6, 10))
    recompute(as_of=TODAY, now=NOW)
    return book(cover, bays)


def book(cover: Cover, bays: Bays) -> Appointment:
    return book_visit(
        vehicle=cover.vehicle, cover=cover, bay=bays.low, person=bays.tomas, starts_at=at(DAY, 9), now=NOW,
        actor=bays.writer,
    )  # fmt: skip


def read_page(visit: Appointment, bays: Bays, language: str = "en") -> str:
    client = Client()
    client.force_login(bays.writer)
    client.cookies["django_language"] = language
    with freeze_time(NOW):
        answer = client.get(f"/visits/{visit.number}/")
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def read_served(visit: Appointment, bays: Bays, language: str = "en") -> str:
    """Return what stands beside "Serves"."""
    page = read_page(visit, bays, language)
    (told,) = re.findall(r"<dt>(?:Serves|Sert)</dt>\s*<dd>\s*(.*?)\s*</dd>", page)
    return str(told)


def treat(shop: ShopForTests, visit: Appointment, *zones: str) -> None:
    record_treatment(
        vehicle=visit.vehicle, site=shop.site, done_on=DAY, kind=TreatmentKind.ANNUAL_TOUCH_UP,
        now=at(DAY, 10), actor=None,
        lines=[LineEntry(zone, shop.film, shop.film.lots.get(), QUART) for zone in Zone.objects.filter(code__in=zones)],
    )  # fmt: skip
    recompute(as_of=DAY, now=at(DAY, 11))


def test_what_was_due_is_told_in_words_once_it_is_treated_and_inspected(
    shop: ShopForTests, bays: Bays, visit: Appointment
) -> None:
    assert "touch-up (" in read_served(visit, bays) and "last day" in read_served(visit, bays)
    zones = DueItem.objects.get(cover=visit.cover, kind="touch_up").zones
    treat(shop, visit, *zones)
    keys = set(AppointmentItem.objects.filter(appointment=visit).values_list("due_key", flat=True))
    assert len(keys) == 2 and not DueItem.objects.filter(cover=visit.cover, key__in=keys).exists()
    assert read_served(visit, bays) == "reinspection<br>touch-up (penetrating film)"
    assert read_served(visit, bays, "fr") == "contrôle<br>retouche (film pénétrant)"


def test_what_was_let_off_is_told_in_words(bays: Bays, visit: Appointment) -> None:
    waive_open_items(cover=visit.cover, day=TODAY, reason="the customer was in hospital", now=NOW, actor=None)
    recompute(as_of=TODAY, now=NOW + timedelta(hours=1))
    assert not re.search(r"[a-z]:\d|_", read_served(visit, bays))
    assert "touch-up" in read_served(visit, bays)


def test_a_visit_that_is_over_does_not_count_the_zones_that_were_left(
    shop: ShopForTests, bays: Bays, visit: Appointment
) -> None:
    item = DueItem.objects.get(cover=visit.cover, kind="touch_up")
    assert len(item.zones) > 1 and f"({len(item.zones)} zones)" in read_served(visit, bays)
    begin_visit(appointment=visit, now=at(DAY, 9), actor=None)
    treat(shop, visit, *item.zones[1:])
    finish_visit(appointment=visit, now=at(DAY, 10), actor=None)
    assert DueItem.objects.get(cover=visit.cover, key=item.key).zones == item.zones[:1]
    told = read_served(visit, bays)
    assert "zone" not in told and "touch-up (penetrating film): last day" in told


def split(visit: Appointment, bays: Bays) -> tuple[Appointment, Appointment]:
    return split_visit(
        appointment=visit, reason="underside wet", first_part_minutes=30, bay=bays.tall, person=bays.jora,
        starts_at=at(DAY + timedelta(days=1), 9), now=NOW, actor=bays.writer,
    )  # fmt: skip


def test_of_a_split_visit_only_the_half_that_does_the_work_says_what_it_serves(bays: Bays, visit: Appointment) -> None:
    first, second = split(visit, bays)
    assert read_served(first, bays) == "nothing itself: it is for washing and drying"
    assert "lavage" in read_served(first, bays, "fr")
    assert "reinspection" in read_served(second, bays) and "touch-up (3 zones)" in read_served(second, bays)
    assert "Goes on in" in read_page(first, bays)


@pytest.mark.parametrize(
    ("missed", "words"), [(False, "which was cancelled."), (True, "but the vehicle did not come.")]
)
def test_a_half_that_was_given_up_is_said_to_be(bays: Bays, visit: Appointment, missed: bool, words: str) -> None:
    first, second = split(visit, bays)
    if missed:
        mark_no_show(appointment=second, reason="nobody answered", now=at(DAY + timedelta(days=1), 10), actor=None)
    else:
        cancel_visit(appointment=second, reason="the weather", now=NOW, actor=None)
    told = f"The work was to go on in visit {second.number}, Wednesday 10 June at 09:00, {words}"
    page = read_page(first, bays)
    assert told in page and "Goes on in" not in page
    assert "The work was" not in read_page(first, bays, "fr")
    cancel_visit(appointment=first, reason="the weather", now=NOW, actor=None)
    page = read_page(first, bays)
    assert told in page and "Goes on in" not in page
    # The other half says the same of this one, and still what it was booked for.
    assert re.search(rf"Visit {first.number}</a> \(cancelled\)", read_page(second, bays))
    assert "reinspection" in read_served(second, bays)


def test_a_visit_serves_the_cover_that_takes_the_place_of_its_own(
    shop: ShopForTests, bays: Bays, visit: Appointment
) -> None:
    first = visit.cover
    assert first is not None and CoverState.objects.get(cover=first).booked_on == DAY
    end_cover(cover=first, day=TODAY, reason="sold abroad", now=NOW, actor=None)
    second = register_cover(
        vehicle=visit.vehicle, terms_version=first.terms_version, site=shop.site, sold_on=first.sold_on,
        registered_on=first.registered_on, now=NOW, actor=None,
    )  # fmt: skip
    recompute(as_of=TODAY, now=NOW)
    visit.refresh_from_db()
    assert (visit.cover, CoverState.objects.get(cover=second).booked_on) == (second, DAY)
    assert CoverState.objects.get(cover=first).booked_on is None
    booked = DueItem.objects.filter(cover=second, status="booked").values_list("key", flat=True)
    served = AppointmentItem.objects.filter(cover=second, serves=True).values_list("due_key", flat=True)
    assert set(booked) == set(served) and booked
    assert "touch-up (" in read_served(visit, bays)
