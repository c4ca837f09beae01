"""Calendar feeds: who gets an address, what stands in it and what does not, and that renewing stops the old one."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.test import Client
from freezegun import freeze_time
from icalendar import Calendar

from notifications.invitations.calendar_feeds import (
    find_feed_of,
    list_bay_feeds,
    make_feed_address,
    renew_feed,
    stop_feed,
)
from notifications.models import CalendarFeed
from scheduling.booking.changing import cancel_visit
from scheduling.booking.services import book_visit, move_visit
from scheduling.index.service import recompute
from scheduling.models import Appointment, Cover
from tests.conftest import NOW, TODAY, ShopForTests
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, at, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.enums import Role
from treatments.models import Customer, Event, User

FIRST = date(2025, 6, 10)
DAY = date(2026, 6, 9)
SITE = "http://127.0.0.1:8000"


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def visit(shop: ShopForTests, bays: Bays) -> Appointment:
    cover = add_due_vehicle(shop, make_vin(1), FIRST)
    recompute(as_of=TODAY, now=NOW)
    Customer.objects.update(phone="555-0107", contact="owner@example.org")
    return book(cover, bays, 9)


def book(cover: Cover, bays: Bays, hour: int, day: date = DAY) -> Appointment:
    return book_visit(
        vehicle=cover.vehicle, bay=bays.low, person=bays.tomas, starts_at=at(day, hour), now=NOW, actor=bays.writer,
        cover=cover,
    )  # fmt: skip


def fetch(client: Client, address: str, **headers: str) -> tuple[int, Calendar | None, dict[str, str]]:
    with freeze_time(NOW + timedelta(hours=1)):
        answer = client.get(address.removeprefix(SITE), headers=headers)
    calendar = Calendar.from_ical(answer.content) if answer.status_code == 200 else None
    return answer.status_code, calendar, dict(answer.items())


def list_visits(calendar: Calendar | None) -> dict[str, object]:
    assert calendar is not None
    return {str(event["uid"]).partition("@")[0]: event for event in calendar.walk("VEVENT")}


def test_a_feed_shows_the_work_and_nothing_of_the_customer(visit: Appointment, bays: Bays, client: Client) -> None:
    visit.vehicle.plate = "KTX 1234"
    visit.vehicle.save()
    of_bay = make_feed_address(renew_feed(bay=bays.low, now=NOW, actor=None))
    of_person = make_feed_address(renew_feed(person=bays.tomas, now=NOW, actor=bays.tomas))
    of_nobody = make_feed_address(renew_feed(person=bays.jora, now=NOW, actor=bays.jora))
    assert of_bay.endswith("/bay-low.ics")
    for address, end in ((of_bay, visit.bay_free_at), (of_person, visit.work_ends_at)):
        status, calendar, headers = fetch(client, address)
        assert status == 200 and headers["Content-Type"] == "text/calendar; charset=utf-8"
        assert calendar is not None and calendar["method"] == "PUBLISH"
        event = list_visits(calendar)[str(visit.uid)]
        assert (event.decoded("dtstart"), event.decoded("dtend")) == (visit.starts_at, end)
        text = calendar.to_ical().decode().replace("\r\n ", "")
        assert "blue hatchback\\, KTX 1234" in text and "touch-up" in text
        customer = visit.customer
        for secret in (customer.name, customer.phone, customer.email, customer.contact, visit.vehicle.vin, "/my/"):
            assert secret and secret not in text
    assert list_visits(fetch(client, of_nobody)[1]) == {}


def test_renewing_or_stopping_an_address_stops_the_old_one(visit: Appointment, bays: Bays, client: Client) -> None:
    old = make_feed_address(renew_feed(bay=bays.low, now=NOW, actor=None))
    assert fetch(client, old)[0] == 200
    new = make_feed_address(renew_feed(bay=bays.low, now=NOW, actor=None))
    assert new != old and [fetch(client, address)[0] for address in (old, new)] == [404, 200]
    # The right token under another name, half a token, or one that was not made here.
    for wrong in (
        new.replace("bay-low", "bay-tall"),
        new.replace("/bay-low", "x/bay-low"),
        f"{SITE}/calendars/x/a.ics",
    ):
        assert fetch(client, wrong)[0] == 404
    assert stop_feed(bay=bays.low, now=NOW, actor=None) and not stop_feed(bay=bays.low, now=NOW, actor=None)
    assert fetch(client, new)[0] == 404
    kinds = list(Event.objects.filter(subject="calendar_feed").values_list("kind", flat=True))
    assert kinds == ["calendar_feed.renewed", "calendar_feed.renewed", "calendar_feed.stopped"]
    person = make_feed_address(renew_feed(person=bays.tomas, now=NOW, actor=None))
    User.objects.filter(pk=bays.tomas.pk).update(is_active=False)
    assert fetch(client, person)[0] == 404


def test_the_database_holds_one_open_feed_for_each(bays: Bays) -> None:
    renew_feed(bay=bays.low, now=NOW, actor=None)
    renew_feed(person=bays.tomas, now=NOW, actor=None)
    for wrong in ({"bay": bays.low}, {"person": bays.tomas}, {}, {"bay": bays.tall, "person": bays.jora}):
        with pytest.raises(IntegrityError), transaction.atomic():
            CalendarFeed.objects.create(created_at=NOW, **wrong)
    CalendarFeed.objects.create(created_at=NOW, bay=bays.low, stopped_at=NOW)
    with pytest.raises(ValidationError):
        renew_feed(now=NOW, actor=None)


def test_a_reader_that_has_it_already_gets_304_until_a_visit_changes(
    visit: Appointment, bays: Bays, client: Client
) -> None:
    address = make_feed_address(renew_feed(bay=bays.low, now=NOW, actor=None))
    _, _, headers = fetch(client, address)
    etag, modified = headers["ETag"], headers["Last-Modified"]
    asked = ({"if-none-match": etag}, {"if-modified-since": modified}, {"if-none-match": f'"x", {etag}'})
    assert [fetch(client, address, **headers)[0] for headers in asked] == [304, 304, 304]
    assert fetch(client, address, **{"if-none-match": '"x"'})[0] == 200
    later = NOW + timedelta(minutes=5)
    move_visit(
        appointment=visit, bay=bays.low, person=bays.tomas, starts_at=at(DAY, 13), now=later, actor=bays.writer
    )  # fmt: skip
    assert [fetch(client, address, **headers)[0] for headers in asked] == [200, 200, 200]


def test_a_cancelled_visit_is_shown_as_such_for_a_while_and_a_moved_one_where_it_is_now(
    shop: ShopForTests, visit: Appointment, bays: Bays, client: Client
) -> None:
    low = make_feed_address(renew_feed(bay=bays.low, now=NOW, actor=None))
    tall = make_feed_address(renew_feed(bay=bays.tall, now=NOW, actor=None))
    move_visit(
        appointment=visit, bay=bays.tall, person=bays.jora, starts_at=at(DAY, 13), now=NOW, actor=bays.writer
    )  # fmt: skip
    assert list_visits(fetch(client, low)[1]) == {}
    moved = list_visits(fetch(client, tall)[1])[str(visit.uid)]
    assert (int(moved["sequence"]), str(moved["status"])) == (1, "CONFIRMED")
    cancel_visit(appointment=visit, reason="ill", now=NOW, actor=bays.writer)
    cancelled = list_visits(fetch(client, tall)[1])[str(visit.uid)]
    assert (int(cancelled["sequence"]), str(cancelled["status"])) == (2, "CANCELLED")
    for days, shown in ((14, 1), (16, 0)):
        with freeze_time(NOW + timedelta(days=days)):
            calendar = Calendar.from_ical(client.get(tall.removeprefix(SITE)).content)
        assert len(calendar.walk("VEVENT")) == shown
        # Also an empty calendar holds a component.
        assert calendar.subcomponents


def test_a_feed_takes_the_same_number_of_queries_for_one_visit_and_for_many(
    shop: ShopForTests, visit: Appointment, bays: Bays, client: Client, django_assert_num_queries: object
) -> None:
    addresses = [
        make_feed_address(renew_feed(bay=bays.low, now=NOW, actor=None)),
        make_feed_address(renew_feed(person=bays.tomas, now=NOW, actor=None)),
    ]
    for more in range(2, 4):
        for address in addresses:
            with django_assert_num_queries(3):  # type: ignore[operator]
                assert len(list_visits(fetch(client, address)[1])) == more - 1
        due = add_due_vehicle(shop, make_vin(more), FIRST)
        book(due, bays, 9, DAY + timedelta(days=more))


def test_people_get_their_own_address_and_only_the_owner_those_of_the_bays(bays: Bays, client: Client) -> None:
    owner = User.objects.create(username="petra", role=Role.OWNER)
    client.force_login(bays.tomas)
    page = client.get("/calendars/").content.decode()
    assert "There is no address yet." in page and 'name="bay"' not in page
    assert client.post("/calendars/", {"do": "renew"}).status_code == 302
    own = find_feed_of(bays.tomas).address
    assert own in client.get("/calendars/").content.decode()
    # A bay is not a sprayer's to hand out, and another person's calendar nobody's.
    assert client.post("/calendars/", {"do": "renew", "bay": str(bays.low.pk)}).status_code == 404
    assert client.post("/calendars/", {"do": "renew", "bay": "x"}).status_code == 404
    assert CalendarFeed.objects.count() == 1
    client.force_login(owner)
    assert client.post("/calendars/", {"do": "renew", "bay": str(bays.low.pk)}).status_code == 302
    page = client.get("/calendars/").content.decode()
    (address,) = [feed.address for feed in list_bay_feeds() if feed.bay == bays.low]
    assert address and address in page and own not in page
    assert client.post("/calendars/", {"do": "stop", "bay": str(bays.low.pk)}).status_code == 302
    assert [feed.address for feed in list_bay_feeds()] == ["", "", ""]
    client.logout()
    assert client.get("/calendars/").status_code == 302
