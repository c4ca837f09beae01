"""Places of use: recorded one after another, never changed, left out by what was not known yet."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction

from tests.conftest import NOW, ShopForTests
from treatments.models import Event, PlaceOfUse, Vehicle
from treatments.people.customers import find_or_add_customer
from treatments.queries import find_shop_day
from treatments.records.histories import read_history
from treatments.vehicles.services import add_vehicle, change_owner, record_place_of_use

TODAY = date(2026, 5, 20)


@pytest.fixture
def vehicle(shop: ShopForTests) -> Vehicle:
    owner = find_or_add_customer(name="Lena Orchard", contact="lena@example.com", now=NOW)
    return add_vehicle(vin="1M8GDM9AXKP042788", owner=owner, owned_from=date(2025, 1, 1), now=NOW, actor=None)


def record(vehicle: Vehicle, corrosivity: str, from_day: date) -> PlaceOfUse:
    return record_place_of_use(vehicle=vehicle, corrosivity=corrosivity, from_day=from_day, now=NOW, actor=None)


def list_places(vehicle: Vehicle) -> list[tuple[str | None, date, date]]:
    return [(place.corrosivity, place.from_day, place.known_on) for place in read_history(vehicle).places]


def test_a_place_counts_from_its_day_but_not_before_the_shop_knew_it(vehicle: Vehicle) -> None:
    known_on = find_shop_day(NOW)
    for shift in (-400, -1, 0, 1, 30):
        record(vehicle, "C5", known_on + timedelta(days=shift))
    counted = [place.counts_from - known_on for place in read_history(vehicle).places]
    assert [found.days for found in counted] == [0, 0, 0, 1, 30]


def test_the_same_place_said_twice_is_kept_once_and_another_for_the_day_corrects_it(vehicle: Vehicle) -> None:
    first, again = record(vehicle, "C5", date(2026, 1, 1)), record(vehicle, "C5", date(2026, 1, 1))
    assert first == again
    corrected = record(vehicle, "C4", date(2026, 1, 1))
    assert [place.pk for place in PlaceOfUse.objects.order_by("pk")] == [first.pk, corrected.pk]
    events = Event.objects.filter(kind="vehicle.place_of_use_recorded", subject_id=str(vehicle.pk))
    assert [event.after["corrosivity"] for event in events.order_by("position")] == ["C5", "C4"]


def test_the_database_refuses_to_change_or_take_away_a_place(vehicle: Vehicle) -> None:
    place = record(vehicle, "C5", date(2026, 1, 1))
    for column, value in (("corrosivity", "C1"), ("from_day", TODAY), ("known_on", date(2025, 1, 1))):
        with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
            PlaceOfUse.objects.filter(pk=place.pk).update(**{column: value})
    place.refresh_from_db()
    assert (place.corrosivity, place.from_day) == ("C5", date(2026, 1, 1))


def test_a_category_that_iso_9223_does_not_have_is_refused(vehicle: Vehicle) -> None:
    with pytest.raises(ValidationError, match="'C6'") as refused:
        record(vehicle, "C6", TODAY)
    assert "corrosivity" in refused.value.message_dict and not PlaceOfUse.objects.exists()


def test_what_was_written_down_later_was_not_known(vehicle: Vehicle) -> None:
    record(vehicle, "C5", date(2025, 1, 1))
    history = read_history(vehicle)
    assert history.known_at(NOW).places == history.places
    assert history.known_at(NOW - timedelta(microseconds=1)).places == ()


@pytest.mark.parametrize("days_before", [1, 0, -1])
def test_a_new_owner_ends_the_place_of_the_one_before(vehicle: Vehicle, days_before: int) -> None:
    """A place that begins on the day of the change or later was said of the new owner."""
    sold_on = date(2026, 3, 1)
    place = record(vehicle, "C5", sold_on - timedelta(days=days_before))
    buyer = find_or_add_customer(name="Bo Heron", contact="bo@example.org", now=NOW)
    change_owner(vehicle=vehicle, customer=buyer, from_day=sold_on, told_on=None, now=NOW, actor=None)
    ended = [(None, sold_on, find_shop_day(NOW))] if days_before > 0 else []
    assert list_places(vehicle) == [("C5", place.from_day, find_shop_day(NOW)), *ended]


def test_a_new_owner_brings_a_place(vehicle: Vehicle) -> None:
    buyer = find_or_add_customer(name="Bo Heron", contact="bo@example.org", now=NOW)
    change_owner(
        vehicle=vehicle, customer=buyer, from_day=TODAY, told_on=TODAY, now=NOW, actor=None, corrosivity="CX"
    )  # fmt: skip
    assert list_places(vehicle) == [("CX", TODAY, find_shop_day(NOW))]


def test_a_new_owner_of_a_vehicle_without_a_place_writes_none(vehicle: Vehicle) -> None:
    buyer = find_or_add_customer(name="Bo Heron", contact="bo@example.org", now=NOW)
    change_owner(vehicle=vehicle, customer=buyer, from_day=TODAY, told_on=TODAY, now=NOW, actor=None)
    assert not PlaceOfUse.objects.exists()
