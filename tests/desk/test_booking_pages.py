"""Booking at the desk as a service writer does it: whole requests, and what stands in the database after each."""

import html
import re
import zoneinfo
from datetime import date, timedelta
from pathlib import Path

import pytest
from freezegun import freeze_time

from desk.demo.load import DemoShop
from scheduling.booking.services import book_visit
from scheduling.models import Appointment, AppointmentStatus, Bay, ClosedDay, Cover, CoverState, DueItem
from tests.conftest import NOW
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin, log_in
from treatments.models import Event, User, Vehicle

ZONE = zoneinfo.ZoneInfo("America/New_York")


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    """The demo shop on a Wednesday at eleven, an hour before its break."""
    with freeze_time(NOW):
        yield load_demo(tmp_path, NOW)


def read_slots(page: str) -> list[str]:
    """Return the values of the buttons of a page, in its order."""
    return [html.unescape(value) for value in re.findall(r'name="slot" value="([^"]+)"', page)]


def say_start(appointment: Appointment) -> str:
    return f"{appointment.starts_at.astimezone(ZONE):%a %H:%M}"


def test_one_press_books_the_best_time_and_what_is_due_follows(demo: DemoShop) -> None:
    client, vin = log_in("writer"), find_vin(demo, "overdue")
    cover = Cover.objects.get(vehicle__vin=vin)
    page = client.get(f"/vehicles/{vin}/book/").content.decode()
    assert len(read_slots(page)) == 5
    assert re.search(r'<button class="slot" name="slot" value="[^"]+" autofocus>', page)
    assert page.count("autofocus") == 1
    assert "last day" in page and "Makes up for the touch-up" in page
    answer = client.post(f"/vehicles/{vin}/book/", {"slot": read_slots(page)[0]})
    booked = Appointment.objects.get()
    assert answer.headers["Location"] == f"/visits/{booked.number}/?told=booked"
    assert booked.cover == cover and booked.why["params"]["day"]["code"] == "visit.day.makes_up.touch_up"
    assert CoverState.objects.get(cover=cover).booked_on == booked.starts_at.astimezone(ZONE).date()
    assert DueItem.objects.filter(cover=cover, status="booked").exists()
    told = client.get(answer.headers["Location"]).content.decode()
    assert f"Booked: visit {booked.number}" in told and "Undo the booking" in told
    # The second press, of the same button or of another, books nothing more and says which visit it is.
    again = client.post(f"/vehicles/{vin}/book/", {"slot": read_slots(page)[1]})
    assert again.status_code == 400
    assert "Booked already" in again.content.decode() and booked.number in again.content.decode()
    assert Appointment.objects.count() == 1
    undone = client.post(f"/visits/{booked.number}/do/cancel/", {"cancel-reason": "Booked by mistake"})
    assert undone.headers["Location"] == f"/visits/{booked.number}/?told=cancel"
    booked.refresh_from_db()
    assert (booked.status, booked.status_reason) == (AppointmentStatus.CANCELLED, "Booked by mistake")
    assert CoverState.objects.get(cover=cover).booked_on is None


def test_the_loser_of_a_slot_is_told_and_offered_the_next_three(demo: DemoShop) -> None:
    first, second = log_in("writer"), log_in("owner")
    mine, theirs = find_vin(demo, "overdue"), find_vin(demo, "in-grace")
    my_page = first.get(f"/vehicles/{mine}/book/").content.decode()
    their_page = second.get(f"/vehicles/{theirs}/book/").content.decode()
    assert second.post(f"/vehicles/{theirs}/book/", {"slot": read_slots(their_page)[0]}).status_code == 302
    taken = Appointment.objects.get()
    lost = first.post(f"/vehicles/{mine}/book/", {"slot": read_slots(my_page)[0]})
    shown = lost.content.decode()
    assert lost.status_code == 400 and "is taken from" in shown
    errors = shown[shown.index('id="errors"') : shown.index("<h1>")]
    assert len(read_slots(errors)) == 3
    assert Appointment.objects.get() == taken
    assert first.post(f"/vehicles/{mine}/book/", {"slot": read_slots(errors)[0]}).status_code == 302
    assert Appointment.objects.filter(vehicle__vin=mine).count() == 1


def test_wishes_in_the_address_narrow_what_is_proposed(demo: DemoShop) -> None:
    client, vin = log_in("writer"), find_vin(demo, "fresh")
    wished = "?visit=look_at_rust&weekday=2&part=afternoon&earliest=2026-06-01"
    wished += "&avoid_from=2026-06-09&avoid_to=2026-06-09"
    page = client.get(f"/vehicles/{vin}/book/{wished}").content.decode()
    assert "as the customer asked" in page
    assert client.post(f"/vehicles/{vin}/book/{wished}", {"slot": read_slots(page)[1]}).status_code == 302
    booked = Appointment.objects.get()
    assert (say_start(booked), booked.visit) == ("Tue 12:30", "look_at_rust")
    assert f"{booked.starts_at.astimezone(ZONE):%Y-%m-%d}" == "2026-06-16"  # the 9th is ruled out
    backwards = "?avoid_from=2026-06-09&avoid_to=2026-06-01&visit=nonsense"
    wrong = client.get(f"/vehicles/{vin}/book/{backwards}").content.decode()
    assert "The end of the absence is before its beginning" in wrong
    assert 'value="2026-06-09"' in wrong and len(read_slots(wrong)) == 5


def test_a_look_at_rust_serves_nothing_that_is_due(demo: DemoShop) -> None:
    client, vin = log_in("writer"), find_vin(demo, "overdue")
    cover = Cover.objects.get(vehicle__vin=vin)
    page = client.get(f"/vehicles/{vin}/book/?visit=look_at_rust").content.decode()
    client.post(f"/vehicles/{vin}/book/?visit=look_at_rust", {"slot": read_slots(page)[0]})
    assert Appointment.objects.get().visit == "look_at_rust"
    assert CoverState.objects.get(cover=cover).booked_on is None
    page = client.get(f"/vehicles/{vin}/book/").content.decode()
    client.post(f"/vehicles/{vin}/book/", {"slot": read_slots(page)[0]})
    assert CoverState.objects.get(cover=cover).booked_on is not None


def test_a_time_that_the_customer_names_is_checked_and_nothing_typed_is_lost(demo: DemoShop) -> None:
    client, vin = log_in("writer"), find_vin(demo, "overdue")
    given = {"day": "2026-05-24", "time": "09:00", "bay": "", "person": "", "note": "bring the spare key"}
    sunday = client.post(f"/vehicles/{vin}/book/", given)
    shown = sunday.content.decode()
    assert sunday.status_code == 400 and "is closed on 24 May 2026" in shown
    assert 'href="#id_time"' in shown and "bring the spare key" in shown and 'value="2026-05-24"' in shown
    past = client.post(f"/vehicles/{vin}/book/", {**given, "day": "2026-05-19"})
    assert "choose a later time" in past.content.decode()
    assert client.post(f"/vehicles/{vin}/book/", {**given, "day": "yesterday"}).status_code == 400
    assert not Appointment.objects.exists()
    assert client.post(f"/vehicles/{vin}/book/", {**given, "day": "2026-05-26"}).status_code == 302
    booked = Appointment.objects.get()
    assert (say_start(booked), booked.note) == ("Tue 09:00", "bring the spare key")
    assert booked.person is not None and booked.bay.kind == "lift"


def test_a_button_of_another_vehicle_or_a_made_up_one_books_nothing(demo: DemoShop) -> None:
    client = log_in("writer")
    foreign = client.get(f"/vehicles/{find_vin(demo, 'in-grace')}/book/").content.decode()
    vin = find_vin(demo, "overdue")
    for value in (read_slots(foreign)[0], "made-up", ""):
        answer = client.post(f"/vehicles/{vin}/book/", {"slot": value})
        assert answer.status_code == 400 and "That time could not be read" in answer.content.decode()
    assert not Appointment.objects.exists()
    own = client.get(f"/vehicles/{vin}/book/").content.decode()
    assert client.post(f"/vehicles/{vin}/book/", {"slot": read_slots(own)[0]}).status_code == 302


def test_only_service_writer_and_owner_book(demo: DemoShop) -> None:
    vin = find_vin(demo, "overdue")
    number = Cover.objects.get(vehicle__vin=vin).number
    pages = (f"/vehicles/{vin}/book/", "/walk-in/", "/walk-in/new/", f"/due/book/?cover={number}", "/due/next/")
    for username, expected in (("writer", {200, 302}), ("owner", {200, 302}), ("lift", {403}), ("dealer", {403})):
        client = log_in(username)
        assert {client.get(page).status_code for page in pages} == expected, username


def test_the_next_due_vehicle_is_one_that_is_not_booked(demo: DemoShop) -> None:
    client = log_in("writer")
    seen = []
    after = ""
    while True:
        answer = client.get(f"/due/next/{after}")
        location = answer.headers["Location"]
        if location.startswith("/due/"):
            break
        seen.append(location.split("/")[2])
        after = "?after=" + location.partition("place=")[2]
    due = CoverState.objects.filter(due_opens_on__lte=demo.day + timedelta(days=60)).order_by("due_grace_until", "pk")
    assert seen == [state.cover.vehicle.vin for state in due.select_related("cover__vehicle")]
    page = client.get(f"/vehicles/{seen[0]}/book/").content.decode()
    client.post(f"/vehicles/{seen[0]}/book/", {"slot": read_slots(page)[0]})
    assert client.get("/due/next/").headers["Location"].split("/")[2] == seen[1]
    listed = client.get("/due/", {"booked": "booked"}).content.decode()
    assert seen[0] in listed and seen[1] not in listed and "booked on" in listed
    others = client.get("/due/", {"booked": "not_booked"}).content.decode()
    assert seen[0] not in others and seen[1] in others
    assert "Visit “x” does not exist" in client.get("/due/", {"booked": "x"}).content.decode()


def test_a_vehicle_at_the_door_is_taken_in_at_the_first_free_time_of_today(demo: DemoShop) -> None:
    client = log_in("writer")
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "overdue"))
    page = client.get("/walk-in/", {"q": vehicle.vin[-6:]}).content.decode()
    assert "Take in at the first free time today" in page
    answer = client.post("/walk-in/", {"vin": vehicle.vin})
    visit = Appointment.objects.get()
    assert answer.headers["Location"] == f"/visits/{visit.number}/?told=walked-in"
    assert (say_start(visit), visit.booked_by) == ("Wed 11:00", "walk_in")
    found = client.get("/walk-in/", {"q": vehicle.vin[-6:]}).content.decode()
    assert f"Visit {visit.number}" in found and "Take in at" not in found
    with freeze_time("2026-05-20 20:30"):  # half an hour before the shop closes
        late = client.post("/walk-in/", {"vin": find_vin(demo, "in-grace")})
        shown = late.content.decode()
        assert late.status_code == 400 and "Nothing is free any more today" in shown
        assert len(read_slots(shown)) == 3
        target = f"/vehicles/{find_vin(demo, 'in-grace')}/book/"
        assert f'action="{target}"' in shown
        assert client.post(target, {"slot": read_slots(shown)[0]}).status_code == 302
    assert client.post("/walk-in/", {"vin": "NOSUCHVIN"}).status_code == 404
    assert "No such vehicle on record" in client.get("/walk-in/", {"q": "nobody"}).content.decode()


def test_on_a_closed_day_the_door_says_so_and_why(demo: DemoShop) -> None:
    client, vin = log_in("writer"), find_vin(demo, "in-grace")
    ClosedDay.objects.create(site=demo.site, day=date(2026, 5, 21), reason="stocktaking")
    for moment, said, in_french in (
        ("2026-05-23 15:00", "is closed today: a Saturday.", "est fermé aujourd’hui : un samedi."),
        ("2026-05-25 15:00", "is closed today: a public holiday.", "est fermé aujourd’hui : un jour férié."),
        ("2026-05-21 15:00", "is closed today.", "est fermé aujourd’hui."),
    ):
        with freeze_time(moment):
            closed = client.post("/walk-in/", {"vin": vin})
            shown = closed.content.decode()
            assert closed.status_code == 400 and f"{demo.site.name} {said}" in shown and "free any more" not in shown
            assert len(read_slots(shown)) == 3
            french = client.post("/walk-in/", {"vin": vin}, headers={"accept-language": "fr"})
            assert f"{demo.site.name} {in_french}" in french.content.decode()


def test_a_vehicle_that_was_never_here_is_added_with_its_owner_and_taken_in(demo: DemoShop) -> None:
    client = log_in("writer")
    given = {
        "vin": "11111111111111112", "vin_mark": "standard", "plate": "NEW 001", "description": "2024 Tarn Osprey",
        "body_style": "car", "owner": "Dunstan Reed", "contact": "+1 555 0144", "take_in": "yes",
        "vin_doubted": "11111111111111111",
    }  # fmt: skip
    wrong = client.post("/walk-in/new/", given)
    shown = wrong.content.decode()
    assert wrong.status_code == 400 and 'href="#id_vin"' in shown and "Dunstan Reed" in shown
    assert not Vehicle.objects.filter(plate="NEW 001").exists()
    for contact in ("knows the way", "555", "dunstan@", "a@example.org, b@example.org", "call +1 555 0144"):
        refused = client.post("/walk-in/new/", {**given, "vin": "11111111111111111", "contact": contact})
        shown = refused.content.decode()
        assert refused.status_code == 400 and 'href="#id_contact"' in shown, contact
        assert "Write one telephone number with its area code, or one e-mail address such as name@example.org." in shown
        assert not Vehicle.objects.filter(plate="NEW 001").exists()
    answer = client.post("/walk-in/new/", {**given, "vin": "11111111111111111"})
    visit = Appointment.objects.get()
    assert answer.headers["Location"] == f"/visits/{visit.number}/?told=walked-in"
    assert (visit.visit, visit.cover, visit.customer.phone) == ("first_treatment", None, "+1 555 0144")
    assert Event.objects.filter(kind="vehicle.added", subject_id=str(visit.vehicle_id)).exists()
    with freeze_time("2026-05-23 15:00"):  # a Saturday
        other = {"vin": "QUARRY-TRUCK-7", "vin_mark": "non_road_serial", "plate": "NEW 002"}
        later = client.post("/walk-in/new/", {**given, **other}, follow=True)
        shown = html.unescape(later.content.decode())
        assert "on record now, but it can't be taken in today" in shown and read_slots(later.content.decode())
    twice = client.post("/walk-in/new/", {**given, "vin": "11111111111111111"}).content.decode()
    assert "This vehicle is on record" in twice and "Dunstan Reed is still the owner" in twice
    assert Vehicle.objects.filter(plate="NEW 001").count() == 1


def test_many_are_shown_and_counted_first_and_booked_on_the_second_press(demo: DemoShop) -> None:
    client = log_in("writer")
    due = CoverState.objects.filter(due_opens_on__lte=demo.day).order_by("due_grace_until", "pk")
    covers = [state.cover for state in due.select_related("cover__vehicle")]
    numbers = [cover.number for cover in covers]
    fresh = Cover.objects.get(vehicle__vin=find_vin(demo, "fresh"))
    shown = client.post("/due/book/", {"cover": [*numbers, "C-NONE"]}).content.decode()
    assert f"{len(numbers)} covers are chosen." in shown and "There is no cover C-NONE here." in shown
    assert not Appointment.objects.exists()
    (times,) = re.findall(r'name="times" value="([^"]+)"', shown)
    assert shown.count('type="checkbox" name="cover"') == len(numbers) > 3
    # One is not ticked; for another somebody else is faster.
    rival = client.get(f"/vehicles/{covers[1].vehicle.vin}/book/").content.decode()
    client.post(f"/vehicles/{covers[1].vehicle.vin}/book/", {"slot": read_slots(rival)[-1]})
    ticked = [*numbers[1:], fresh.number]
    done = client.post("/due/book/", {"times": times, "cover": ticked, "book": "yes"}).content.decode()
    assert f"{len(numbers) - 2} visits are booked" in done
    assert "2 could not be booked" in done and "is booked already" in done and "Its time could not be read" in done
    assert Appointment.objects.count() == len(numbers) - 1
    assert not Appointment.objects.filter(cover=covers[0]).exists()
    after = client.post("/due/book/", {"cover": numbers}).content.decode()
    assert "1 can be booked." in after and f"{len(numbers) - 1} can't." in after
    assert "Booked already: visit" in after


def test_the_pages_of_booking_ask_a_constant_number_of_queries(demo: DemoShop, django_assert_num_queries) -> None:
    client, vin = log_in("writer"), find_vin(demo, "overdue")
    counts = {f"/vehicles/{vin}/book/": 33, "/walk-in/?q=x": 8}

    def check() -> None:
        for page, count in counts.items():
            with django_assert_num_queries(count):
                assert client.get(page).status_code == 200

    check()
    writer = User.objects.get(username="writer")
    others = Vehicle.objects.exclude(vin=vin).order_by("pk")[:6]
    bay = Bay.objects.select_related("site").get(code="floor")
    person = User.objects.get(username="lift")
    for step, vehicle in enumerate(others):
        book_visit(
            vehicle=vehicle, bay=bay, person=person, cover=None, visit="look_at_rust",
            starts_at=NOW.replace(day=21, hour=12, minute=30) + timedelta(minutes=30 * step), now=NOW, actor=writer,
        )  # fmt: skip
    check()
