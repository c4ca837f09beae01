"""When a vehicle was at the shop for booked visits: finished ones, on the days at the site, as known at a moment."""

import zoneinfo
from datetime import date, datetime, timedelta

import pytest

from scheduling.booking.changing import begin_visit, cancel_visit, finish_visit, mark_no_show
from scheduling.booking.services import book_visit
from scheduling.covers.queries import read_cover_case
from scheduling.models import Appointment, Cover
from tests.conftest import NOW, ShopForTests
from tests.scheduling.booking_helpers import add_due_vehicle, set_up_bays
from treatments.records.rules.history import StayRecord

# A site where a morning is still the evening before in UTC.
AUCKLAND = zoneinfo.ZoneInfo("Pacific/Auckland")
DAY = date(2026, 6, 9)
BEGINS = datetime(2026, 6, 9, 9, tzinfo=AUCKLAND)


@pytest.fixture
def cover(shop: ShopForTests) -> Cover:
    shop.site.time_zone = "Pacific/Auckland"
    shop.site.save()
    return add_due_vehicle(shop, "1XXS8FA39RM000001", date(2025, 6, 10))


@pytest.fixture
def visit(shop: ShopForTests, cover: Cover) -> Appointment:
    bays = set_up_bays(shop)
    return book_visit(
        vehicle=cover.vehicle, bay=bays.low, person=bays.tomas, starts_at=BEGINS, now=NOW, actor=bays.writer,
        cover=cover,
    )  # fmt: skip


def list_stays(cover: Cover, known_at: datetime | None = None) -> tuple[StayRecord, ...]:
    return read_cover_case(cover, known_at=known_at).history.stays


def test_a_finished_visit_is_a_stay_on_the_day_at_the_site(cover: Cover, visit: Appointment) -> None:
    finished_at = BEGINS + timedelta(hours=1)
    assert list_stays(cover) == ()
    begin_visit(appointment=visit, now=BEGINS, actor=None)
    assert list_stays(cover) == ()
    finish_visit(appointment=visit, now=finished_at, actor=None)
    (stay,) = list_stays(cover)
    assert (stay.record, stay.from_day, stay.until_day) == (f"visit {visit.pk}", DAY, DAY)
    assert list_stays(cover, known_at=finished_at - timedelta(microseconds=1)) == ()
    assert list_stays(cover, known_at=finished_at) == (stay,)


def test_a_visit_that_was_given_up_is_none(cover: Cover, visit: Appointment) -> None:
    mark_no_show(appointment=visit, reason="nobody came", now=BEGINS + timedelta(hours=2), actor=None)
    assert list_stays(cover) == ()


def test_a_cancelled_visit_is_none(cover: Cover, visit: Appointment) -> None:
    cancel_visit(appointment=visit, reason="snow", now=NOW, actor=None)
    assert list_stays(cover) == ()
