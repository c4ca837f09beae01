"""The language in which a customer is written to: set where a customer is entered, and corrected."""

import pytest
from django.test import Client
from freezegun import freeze_time

from notifications.languages import choose_language
from scheduling.models import Cover
from tests.conftest import NOW, ShopForTests
from tests.desk.test_vehicle_changes import FIRST, VIN, ask, confirm, log_in, write
from tests.scheduling.booking_helpers import add_due_vehicle, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.enums import Role
from treatments.models import Customer, Event, Ownership
from treatments.people.customers import find_or_add_customer


@pytest.fixture
def cover(shop: ShopForTests) -> Cover:
    set_up_bays(shop)
    return add_due_vehicle(shop, VIN, FIRST)


@pytest.fixture
def writer() -> Client:
    return log_in(Role.SERVICE_WRITER)


def read_owner(vin: str = VIN) -> Customer:
    return Ownership.objects.get(vehicle__vin=vin, until_day__isnull=True).customer


@pytest.mark.parametrize(("sent", "language"), [({"language": "fr"}, "fr"), ({"language": ""}, "en"), ({}, "en")])
def test_a_new_customer_at_the_door_has_the_language_that_was_chosen(
    cover: Cover, writer: Client, sent: dict[str, str], language: str
) -> None:
    vin = make_vin(2)
    typed = {"vin": vin, "vin_mark": "standard", "owner": "Wren Aldous", "contact": "wren@example.org", **sent}
    with freeze_time(NOW):
        assert writer.post("/walk-in/new/", {**typed, "choose": "yes"}).status_code == 302
    assert choose_language(read_owner(vin)) == language


def test_a_language_that_the_shop_does_not_write_is_refused(cover: Cover, writer: Client) -> None:
    typed = {"vin": make_vin(2), "vin_mark": "standard", "owner": "Wren", "contact": "w@example.org", "language": "la"}
    answer = writer.post("/walk-in/new/", typed)
    page = answer.content.decode()
    assert answer.status_code == 400 and 'href="#id_language"' in page
    assert all(text in page for text in ("“la”", "English (en)", "français (fr)"))
    assert not Customer.objects.filter(name="Wren").exists()


@pytest.mark.parametrize(("chosen", "language"), [("en", "en"), ("", "fr")])
def test_a_new_owner_who_is_on_record_keeps_the_language_unless_another_is_chosen(
    cover: Cover, writer: Client, chosen: str, language: str
) -> None:
    known = find_or_add_customer(name="Wren Aldous", contact="wren@example.org", language="fr", now=NOW)
    _status, page = ask(writer, "new-owner", {**write("new-owner"), "language": chosen})
    assert confirm(writer, "new-owner", page).status_code == 302
    assert read_owner() == known and read_owner().language == language
    assert Event.objects.filter(kind="customer.changed").exists() == (chosen == "en")


def test_the_contact_is_corrected_and_no_word_of_it_lies_in_the_log(cover: Cover, writer: Client) -> None:
    before = read_owner()
    typed = {"email": "", "phone": "+1 555 0100 123", "language": "fr", "reason": "told by telephone"}
    _status, page = ask(writer, "owner-contact", typed)
    assert confirm(writer, "owner-contact", page).status_code == 302
    owner = read_owner()
    assert owner == before and (owner.email, owner.phone, owner.contact) == ("", typed["phone"], typed["phone"])
    assert find_or_add_customer(name=owner.name, contact=typed["phone"], now=NOW) == owner
    event = Event.objects.get(kind="customer.changed")
    assert event.after["language"] == "fr" and " 555 " not in str(event.after)
    assert event.words.get(path="after.phone").text == typed["phone"]
    # The same again would change nothing.
    status, page = ask(writer, "owner-contact", typed)
    assert status == 400 and "Record it" not in page


def test_a_contact_of_another_customer_of_that_name_is_refused(cover: Cover, writer: Client) -> None:
    find_or_add_customer(name=read_owner().name, contact="other@example.org", now=NOW)
    typed = {"email": "other@example.org", "phone": "", "language": "en", "reason": "told"}
    _status, page = ask(writer, "owner-contact", typed)
    assert "change of owner" in page and "Record it" not in page


def test_a_correction_is_refused_where_the_owner_was_changed_meanwhile(cover: Cover, writer: Client) -> None:
    first = {"email": "", "phone": "+1 555 0100 123", "language": "en", "reason": "told"}
    _status, shown = ask(writer, "owner-contact", first)
    _status, page = ask(log_in(Role.OWNER), "owner-contact", {**first, "language": "fr"})
    assert confirm(log_in(Role.OWNER), "owner-contact", page).status_code == 302
    assert confirm(writer, "owner-contact", shown).status_code == 409
    assert read_owner().language == "fr"
