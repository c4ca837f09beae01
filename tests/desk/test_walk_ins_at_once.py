"""Many walk-ins at once, and a walk-in in a shop where nothing is set up yet: never a server error."""

import threading
from collections.abc import Callable
from datetime import time

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.urls import reverse

from scheduling.models import Bay, SiteHours
from tests.scheduling.test_booking import make_vin
from treatments.models import Customer, Ownership, Site, User, Vehicle

AT_ONCE = 20
NEW = {
    "owner": "Lena Orchard", "contact": "lena@example.org", "plate": "", "description": "2025 Harrow Finch",
    "body_style": "hatchback", "propulsion": "combustion", "vin_mark": "standard",
}  # fmt: skip


def log_in(user: User) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(user)
    return client


def add_writer(site: Site | None = None) -> User:
    return User.objects.create(username="writer", role="service_writer", site=site)


def send_at_once(user: User, make_form: Callable[[int], dict[str, str]]) -> list[int]:
    clients = [log_in(user) for _ in range(AT_ONCE)]
    found: list[int] = []
    barrier = threading.Barrier(AT_ONCE)

    def send(number: int) -> None:
        try:
            barrier.wait()
            found.append(clients[number].post(reverse("desk:walk_in_new"), make_form(number)).status_code)
        finally:
            connection.close()

    threads = [threading.Thread(target=send, args=(number,)) for number in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


@pytest.fixture
def writer(transactional_db: None) -> User:
    site = Site.objects.create(code="mill-lane", name="Mill Lane", country="US", time_zone="America/New_York")
    for weekday in range(1, 8):
        SiteHours.objects.create(site=site, weekday=weekday, opens_at=time(0, 0), closes_at=time(23, 59))
    Bay.objects.create(site=site, code="one", name="Bay 1", kind="lift")
    call_command("load_durations")
    return add_writer(site)


@pytest.mark.parametrize("press", ["take_in", "choose"])
def test_twenty_vehicles_of_one_new_customer_come_at_once(writer: User, press: str) -> None:
    statuses = send_at_once(writer, lambda number: {**NEW, "vin": make_vin(number), press: "1"})
    assert sorted(statuses) == [302] * AT_ONCE
    assert Customer.objects.count() == 1
    assert Vehicle.objects.count() == Ownership.objects.count() == AT_ONCE


def test_one_new_vehicle_is_sent_twenty_times_at_once(writer: User) -> None:
    statuses = send_at_once(writer, lambda number: {**NEW, "vin": make_vin(1), "take_in": "1"})
    # The others are told that it is on record.
    assert set(statuses) <= {200, 302, 400, 409} and 302 in statuses
    assert (Customer.objects.count(), Vehicle.objects.count(), Ownership.objects.count()) == (1, 1, 1)


def set_nothing_up() -> User:
    return add_writer()


def add_a_site() -> User:
    return add_writer(Site.objects.create(code="mill-lane", name="Mill Lane", time_zone="America/New_York"))


def add_a_bay() -> User:
    user = add_a_site()
    Bay.objects.create(site=user.site, code="one", name="Bay 1", kind="lift")
    return user


def add_durations() -> User:
    user = add_a_site()
    call_command("load_durations")
    return user


@pytest.mark.parametrize("set_up", [set_nothing_up, add_a_site, add_a_bay, add_durations])
def test_a_walk_in_of_an_empty_shop_is_told_what_is_missing(db: None, set_up: Callable[[], User]) -> None:
    client = log_in(set_up())
    answer = client.post(reverse("desk:walk_in_new"), {**NEW, "vin": make_vin(1), "take_in": "1"}, follow=True)
    assert answer.status_code < 500
    assert 'role="alert"' in answer.content.decode() or 'class="notice' in answer.content.decode()
    assert Vehicle.objects.count() == (0 if set_up is set_nothing_up else 1)
    for name in ("walk_in", "due_list", "vehicles", "bays", "stock", "season", "book_next"):
        assert client.get(reverse(f"desk:{name}"), follow=True).status_code < 500, name
    for vehicle in Vehicle.objects.all():
        for name in ("vehicle", "book", "record_treatment", "record_inspection", "vehicle_changes", "vehicle_facts"):
            assert client.get(reverse(f"desk:{name}", args=[vehicle.vin]), follow=True).status_code < 500, name
        assert client.post(reverse("desk:walk_in"), {"vin": vehicle.vin}).status_code < 500
