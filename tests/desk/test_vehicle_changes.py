"""Every change of the record of a vehicle and its covers, as a person makes it: asked, shown, and then recorded."""

import html
import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from freezegun import freeze_time

from desk.forms.questions import CONFIRMED
from desk.shared.access import MAY_OPEN
from desk.vehicle.changes import CHANGES
from notifications.enums import Purpose
from notifications.models import Consent
from scheduling.covers.services import end_cover, register_cover
from scheduling.models import Cover, CoverChange, TermsVersion
from tests.conftest import NOW, TODAY, ShopForTests
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.enums import Role
from treatments.models import (
    Customer,
    Dealership,
    Event,
    OdometerReading,
    Ownership,
    PlaceOfUse,
    User,
    Vehicle,
    VehicleChange,
)
from treatments.records.odometer_readings import record_reading
from treatments.rules.units import Distance, DistanceUnit

FIRST = date(2025, 6, 10)
VIN = make_vin(1)
Fields = dict[str, Any]


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def cover(shop: ShopForTests, bays: Bays) -> Cover:
    Dealership.objects.create(code="tarn", name="Tarn Motors")
    return add_due_vehicle(shop, VIN, FIRST)


def log_in(role: Role) -> Client:
    person, _ = User.objects.get_or_create(username=f"the-{role}", role=role)
    client = Client()
    client.force_login(person)
    return client


def read_hidden(page: str, button: str = "") -> Fields:
    """Return the hidden fields of the form of a page that has a button."""
    (form,) = (text for text in re.findall(r'<form method="post".*?</form>', page, re.S) if button in text)
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form)
    return {name: html.unescape(value) for name, value in found}


def ask(client: Client, slug: str, fields: Fields, vin: str = VIN) -> tuple[int, str]:
    """Fill the form of a change in and return what is shown then."""
    with freeze_time(NOW):
        page = client.get(f"/vehicles/{vin}/change/{slug}/").content.decode()
        hidden = read_hidden(page, "wish-fields") if "wish-fields" in page else {}
        answer = client.post(f"/vehicles/{vin}/change/{slug}/", {**hidden, **fields})
    return answer.status_code, answer.content.decode()


def confirm(client: Client, slug: str, page: str, vin: str = VIN) -> Any:
    with freeze_time(NOW):
        return client.post(f"/vehicles/{vin}/change/{slug}/", {**read_hidden(page, 'name="confirm"'), "confirm": "1"})


def find_version(code: str) -> str:
    return str(TermsVersion.objects.filter(terms__code=code, published_at__isnull=False).latest("version").pk)


def end(cover: Cover) -> None:
    end_cover(cover=cover, day=date(2026, 3, 1), reason="Sale undone", now=NOW, actor=None)


def owner_is_new(cover: Cover) -> bool:
    old, new = Ownership.objects.filter(vehicle=cover.vehicle).order_by("from_day")
    return (old.until_day, new.customer.name, new.told_on) == (date(2026, 5, 1), "Wren Aldous", date(2026, 5, 4))


def was_sold(cover: Cover) -> bool:
    (owned,) = Ownership.objects.filter(vehicle=cover.vehicle)
    note = CoverChange.objects.get(cover=cover)
    return (owned.until_day, note.kind, note.day) == (date(2026, 5, 1), "transfer_notified", TODAY)


def was_read(cover: Cover) -> bool:
    reading = OdometerReading.objects.get(vehicle=cover.vehicle, day=date(2026, 5, 2))
    return (reading.amount, reading.unit, reading.source) == (Decimal("41234.5"), "km", "told by telephone")


def was_registered(cover: Cover) -> bool:
    new = Cover.objects.get(vehicle=cover.vehicle, ended_on__isnull=True)
    return new.dealership is not None and (new.dealership.code, new.sold_on) == ("tarn", date(2026, 5, 2))


def was_changed(kind: str, **expected: Any) -> Callable[[Cover], bool]:
    def check(cover: Cover) -> bool:
        change = CoverChange.objects.get(cover=cover, kind=kind)
        return change.reason == "Because" and all(getattr(change, name) == value for name, value in expected.items())

    return check


# For each change: what is typed, whether the cover is ended before, and how it is seen that it was done.
EXAMPLES: dict[str, tuple[Callable[[], Fields], bool, Callable[[Cover], bool]]] = {
    "new-owner": (
        lambda: {
            "name": "Wren Aldous", "contact": "wren@example.org", "from_day": "2026-05-01", "told_on": "2026-05-04",
            "corrosivity": "C5",
        },
        False,
        lambda cover: owner_is_new(cover) and PlaceOfUse.objects.get(vehicle=cover.vehicle).corrosivity == "C5",
    ),
    "owner-contact": (
        lambda: {"email": "corrected@example.org", "phone": "", "language": "fr"},
        False,
        lambda cover: Customer.objects.filter(
            ownerships__vehicle=cover.vehicle, email="corrected@example.org", language="fr"
        ).exists(),
    ),
    "owner-messages": (
        lambda: {"contract": "on", "offers": "on", "channel": "letter", "time_zone": ""},
        False,
        lambda cover: Consent.objects.filter(
            customer__ownerships__vehicle=cover.vehicle, purpose=Purpose.OFFERS, given=True
        ).exists(),
    ),
    "sold": (lambda: {"sold_on": "2026-05-01", "told_on": "2026-05-20"}, False, was_sold),
    "place": (
        lambda: {"corrosivity": "C5", "from_day": "2026-05-20"},
        False,
        lambda cover: PlaceOfUse.objects.get(vehicle=cover.vehicle).corrosivity == "C5",
    ),
    "odometer": (
        lambda: {"day": "2026-05-02", "odometer": "41234.5", "unit": "km", "reason": "told by telephone"},
        False,
        was_read,
    ),
    "correct": (
        lambda: {"plate": "NEW 77", "body_style": "suv_or_wagon"},
        False,
        lambda cover: Vehicle.objects.filter(vin=VIN, plate="NEW 77", body_style="suv_or_wagon").exists(),
    ),
    "sold-cover": (
        lambda: {
            "terms": find_version("lifetime-yearly"), "dealership": str(Dealership.objects.get().pk),
            "site": str(Cover.objects.all()[0].site_id), "sold_on": "2026-05-02", "registered_on": "2026-05-03",
        },
        True,
        was_registered,
    ),
    "transfer-note": (
        lambda: {"day": "2026-05-03"}, False, was_changed("transfer_notified", day=date(2026, 5, 3))
    ),
    "waive": (lambda: {"item": "reinspection:1"}, False, was_changed("due_item_waived", day=TODAY)),
    "other-terms": (
        lambda: {"terms": find_version("pay-down"), "day": "2026-05-20"},
        False,
        was_changed("terms_moved", day=TODAY),
    ),
    "end": (
        lambda: {"day": "2026-06-01"},
        False,
        lambda cover: was_changed("ended")(cover) and Cover.objects.get(pk=cover.pk).ended_on == date(2026, 6, 1),
    ),
    "take-end-back": (
        dict,
        True,
        lambda cover: was_changed("end_taken_back", day=TODAY)(cover)
        and Cover.objects.get(pk=cover.pk).ended_on is None,
    ),
}  # fmt: skip


def write(slug: str) -> Fields:
    fields = EXAMPLES[slug][0]()
    return {"reason": "Because", **fields}


def test_every_change_has_an_example() -> None:
    assert set(EXAMPLES) == set(CHANGES)


@pytest.mark.parametrize("slug", CHANGES)
def test_a_change_is_shown_first_and_recorded_on_the_second_press(cover: Cover, slug: str) -> None:
    client = log_in(Role.OWNER)
    _fields, ended_before, was_done = EXAMPLES[slug]
    if ended_before:
        end(cover)
    events, customers = Event.objects.count(), Customer.objects.count()
    status, page = ask(client, slug, write(slug))
    assert status == 200 and "Record it" in page and f"Cover {cover.number}" in page
    assert (Event.objects.count(), Customer.objects.count()) == (events, customers)
    answer = confirm(client, slug, page)
    assert answer.status_code == 302 and answer["Location"] == f"/vehicles/{VIN}/"
    assert was_done(cover) and Event.objects.count() > events


# What the owner is sent has no field that must be filled in: nothing ticked is an answer.
@pytest.mark.parametrize("slug", [slug for slug in CHANGES if slug != "owner-messages"])
def test_a_change_without_what_it_needs_says_so_and_records_nothing(cover: Cover, slug: str) -> None:
    client = log_in(Role.OWNER)
    if EXAMPLES[slug][1]:
        end(cover)
    events = Event.objects.count()
    status, page = ask(client, slug, {"day": "", "from_day": "", "sold_on": "", "reason": " "})
    assert status == 400 and 'role="alert"' in page and Event.objects.count() == events
    # The service itself refuses a change without a reason, whoever asks.
    assert "Record it" not in page


@pytest.mark.parametrize("role", Role)
def test_a_role_sees_and_makes_only_its_own_changes(cover: Cover, role: Role) -> None:
    if role is Role.DEALERSHIP:
        client = Client()
        person = User.objects.create(username="d", role=role, dealership=Dealership.objects.get())
        client.force_login(person)
        end(cover)
        sold = {"vehicle": cover.vehicle, "terms_version": cover.terms_version, "site": cover.site}
        register_cover(**sold, dealership=person.dealership, sold_on=TODAY, registered_on=TODAY, now=NOW, actor=None)
        assert client.get(f"/vehicles/{VIN}/change/").status_code == 403
        assert "change/" not in client.get(f"/vehicles/{VIN}/").content.decode()
        return
    client = log_in(role)
    shown = client.get(f"/vehicles/{VIN}/change/").content.decode()
    assert f'href="/vehicles/{VIN}/change/"' in client.get(f"/vehicles/{VIN}/").content.decode()
    for slug, change in CHANGES.items():
        may = role in MAY_OPEN[change.page]
        assert (str(change.title) in shown) == may, slug
        assert client.get(f"/vehicles/{VIN}/change/{slug}/").status_code == (200 if may else 403), slug


@pytest.mark.parametrize("press", ["first", "second"])
def test_what_changed_since_it_was_shown_stops_the_change(cover: Cover, press: str) -> None:
    client, other = log_in(Role.OWNER), log_in(Role.WARRANTY_ADMINISTRATOR)
    address = f"/vehicles/{VIN}/change/end/"
    with freeze_time(NOW):
        form = client.get(address).content.decode()
        fields = {**read_hidden(form, "wish-fields"), **write("end")}
        shown = client.post(address, fields).content.decode()
    _status, page = ask(other, "transfer-note", write("transfer-note"))
    assert confirm(other, "transfer-note", page).status_code == 302
    if press == "first":
        with freeze_time(NOW):
            answer = client.post(address, fields)
    else:
        answer = confirm(client, "end", shown)
    assert answer.status_code == 409
    assert not CoverChange.objects.filter(kind="ended").exists() and Cover.objects.get(pk=cover.pk).ended_on is None


@pytest.mark.parametrize("page", ["/walk-in/", "/vehicles/"])
def test_a_vin_that_was_looked_for_in_vain_leads_to_the_one_on_record(cover: Cover, page: str) -> None:
    client = log_in(Role.SERVICE_WRITER)
    wrong = VIN[:-1] + ("0" if VIN[-1] != "0" else "1")
    shown = client.get(f"{page}?q={wrong}").content.decode()
    assert f'href="/vehicles/{VIN}/"' in shown and f"On record is {VIN}." in shown
    Vehicle.objects.filter(vin=VIN).update(vin=make_vin(2))
    assert f'href="/vehicles/{VIN}/"' not in client.get(f"{page}?q={wrong}").content.decode()


def test_what_was_changed_and_why_stands_on_the_page_of_changes(cover: Cover) -> None:
    client = log_in(Role.OWNER)
    for slug in ("correct", "transfer-note"):
        _status, page = ask(client, slug, {**write(slug), "reason": f"Reason of {slug}"})
        confirm(client, slug, page)
    shown = client.get(f"/vehicles/{VIN}/change/").content.decode()
    assert "Reason of correct" in shown and "Reason of transfer-note" in shown
    assert VehicleChange.objects.get().reason == "Reason of correct"


def test_the_new_owner_of_a_vehicle_sold_privately_has_it_from_the_day_of_the_sale(cover: Cover) -> None:
    client = log_in(Role.OWNER)
    _status, page = ask(client, "sold", write("sold"))
    confirm(client, "sold", page)
    assert not Ownership.objects.filter(vehicle=cover.vehicle, until_day__isnull=True).exists()
    with freeze_time(NOW):
        form = client.get(f"/vehicles/{VIN}/change/new-owner/").content.decode()
    assert 'name="from_day" value="2026-05-01"' in form
    early = {**write("new-owner"), "from_day": "2026-04-01"}
    status, page = ask(client, "new-owner", early)
    assert status == 400 and 'href="#id_from_day"' in page
    _status, page = ask(client, "new-owner", write("new-owner"))
    confirm(client, "new-owner", page)
    assert owner_is_new(cover)


@pytest.mark.parametrize(
    ("slug", "fields", "field"),
    [
        ("new-owner", {"from_day": "2025-01-01"}, "from_day"),
        ("new-owner", {"from_day": "2026-05-21"}, "from_day"),
        ("new-owner", {"told_on": "2026-04-01"}, "told_on"),
        ("new-owner", {"contact": "knows the way"}, "contact"),
        ("new-owner", {"language": "la"}, "language"),
        ("owner-contact", {"language": "la"}, "language"),
        ("owner-contact", {"email": "knows the way"}, "email"),
        ("owner-contact", {"phone": "knows the way"}, "phone"),
        ("sold", {"sold_on": "2025-01-01"}, "sold_on"),
        ("odometer", {"unit": ""}, "unit"),
        ("odometer", {"odometer": "-1"}, "odometer"),
        ("other-terms", {"terms": "0"}, "terms"),
        ("waive", {"item": "reinspection:99"}, "item"),
    ],
)
def test_what_cannot_be_is_refused_before_it_is_confirmed(cover: Cover, slug: str, fields: Fields, field: str) -> None:
    status, page = ask(log_in(Role.OWNER), slug, {**write(slug), **fields})
    assert status == 400 and f'href="#id_{field}"' in page


@pytest.mark.parametrize(("kilometres", "doubts"), [("12000", 1), ("9000", 2)])
def test_a_reading_is_held_against_those_on_record_before_it_is_recorded(
    cover: Cover, kilometres: str, doubts: int
) -> None:
    for day, known in ((date(2026, 1, 1), 10_000), (date(2026, 2, 1), 11_000)):
        record_reading(
            vehicle=cover.vehicle,
            day=day,
            distance=Distance(Decimal(known), DistanceUnit.KILOMETRE),
            now=NOW,
            actor=None,
        )
    client = log_in(Role.APPLICATOR)
    typed = {**write("odometer"), "odometer": kilometres}
    status, page = ask(client, "odometer", typed)
    if status == 400:
        _status, page = ask(client, "odometer", {**typed, CONFIRMED: f"{kilometres} km {typed['day']}"})
    told = re.search(r'<div class="notice">.*?</div>', page, re.S)
    assert told is not None and told[0].count("<li>") == doubts
    assert confirm(client, "odometer", page).status_code == 302
    assert OdometerReading.objects.filter(vehicle=cover.vehicle, amount=kilometres).exists()


def test_a_new_owner_at_the_door_is_led_to_the_change_of_owner(cover: Cover) -> None:
    client = log_in(Role.SERVICE_WRITER)
    typed = {
        "vin": f" {VIN[:9]} {VIN[9:].lower()}", "vin_mark": "standard", "owner": "Wren Aldous",
        "contact": "wren@example.org", "take_in": "yes",
    }  # fmt: skip
    with freeze_time(NOW):
        page = client.get("/walk-in/new/").content.decode()
        known = client.post("/walk-in/new/", {**read_hidden(page, "wish-fields"), **typed}).content.decode()
        begun = client.post(f"/vehicles/{VIN}/change/new-owner/", read_hidden(known, 'name="begin"')).content.decode()
    assert 'value="Wren Aldous"' in begun and 'value="wren@example.org"' in begun
    fields = {**read_hidden(begun, "wish-fields"), **write("new-owner")}
    with freeze_time(NOW):
        shown = client.post(f"/vehicles/{VIN}/change/new-owner/", fields).content.decode()
    answer = confirm(client, "new-owner", shown)
    assert answer["Location"] == f"/vehicles/{VIN}/book/"
    assert Vehicle.objects.count() == 1 and owner_is_new(cover)
    # The same person at the door again is the owner on record, and is taken in.
    with freeze_time(NOW):
        again = client.post("/walk-in/new/", {**read_hidden(page, "wish-fields"), **typed}).content.decode()
    assert 'name="begin"' not in again and f'name="vin" value="{VIN}"' in again


def test_a_doubt_about_a_vin_is_asked_about_once(shop: ShopForTests, bays: Bays) -> None:
    client = log_in(Role.SERVICE_WRITER)
    typed = {"vin": "W" + VIN[1:], "vin_mark": "standard", "owner": "Wren Aldous", "contact": "wren@example.org"}
    with freeze_time(NOW):
        page = client.get("/walk-in/new/").content.decode()
        doubted = client.post("/walk-in/new/", {**read_hidden(page, "wish-fields"), **typed})
        shown = doubted.content.decode()
        assert doubted.status_code == 400 and not Vehicle.objects.exists()
        taken = client.post("/walk-in/new/", {**read_hidden(shown, "wish-fields"), **typed, "choose": "yes"})
    assert taken.status_code == 302 and Vehicle.objects.get().vin == "W" + VIN[1:]
