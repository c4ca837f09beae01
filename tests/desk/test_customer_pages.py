"""The customer's own page as whole requests, with what stands in the database afterwards, and as others misuse it."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.core import signing
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from freezegun import freeze_time
from icalendar import Calendar
from pytest_django.fixtures import Settings

from notifications.consents.services import stop_messages
from notifications.customer_page.links import OWN_PAGE_LASTS, make_own_page_token
from notifications.invitations.services import write_invitations
from notifications.models import Message
from notifications.privacy import ErasureOrder, erase_person
from notifications.reminders.services import write_due_reminders
from scheduling.booking.changing import cancel_visit
from scheduling.booking.own_visits import MOST_CHANGES_A_DAY
from scheduling.booking.services import book_visit, move_visit
from scheduling.covers.services import end_cover
from scheduling.enums import UsualReason
from scheduling.index.service import recompute
from scheduling.models import Appointment, Cover, CoverState
from tests.conftest import NOW, TODAY, ShopForTests
from tests.guards import past_the_guards
from tests.notifications.test_reminders import read_mail
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, at, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.models import Customer, Event
from treatments.vehicles.services import change_owner

FIRST = date(2025, 6, 10)
DAY = date(2026, 6, 9)


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def cover(shop: ShopForTests, bays: Bays) -> Cover:
    found = add_due_vehicle(shop, make_vin(1), FIRST)
    recompute(as_of=TODAY, now=NOW)
    return found


def find_owner(cover: Cover) -> Customer:
    return Customer.objects.get(ownerships__vehicle=cover.vehicle, ownerships__until_day__isnull=True)


def make_page(cover: Cover) -> str:
    return f"/my/{make_own_page_token(find_owner(cover), cover.vehicle)}/"


@pytest.fixture
def page(cover: Cover) -> str:
    with freeze_time(NOW):
        return make_page(cover)


def read(client: Client, address: str, status: int = 200) -> str:
    with freeze_time(NOW):
        answer = client.get(address)
    assert answer.status_code == status, answer.status_code
    return answer.content.decode()


def post(client: Client, address: str, **fields: str) -> tuple[int, str]:
    """Return the status and the page that the person sees in the end."""
    with freeze_time(NOW):
        answer = client.post(address, fields)
        text = client.get(answer["Location"]).content.decode() if answer.status_code == 302 else answer.content.decode()
    return answer.status_code, text


def list_times(text: str) -> list[str]:
    return re.findall(r'href="(/my/[^"]+/times/[^"/]+/)"', text)


def test_a_customer_books_from_the_link_in_the_reminder(
    tasks_run_here: None, cover: Cover, client: Client, settings: Settings, django_capture_on_commit_callbacks: Any
) -> None:
    with freeze_time(NOW):
        assert write_due_reminders(now=NOW).written == 1
    (link,) = re.findall(r"^http\S+(/my/\S+)$", Message.objects.get().body, re.MULTILINE)
    text = read(client, link)
    vin = cover.vehicle.vin
    assert vin[-6:] in text and vin not in text
    assert "Reinspection" in text and "Why" in text and cover.number in text
    times = list_times(text)
    assert len(times) == 5
    asked = read(client, times[0])
    assert "Book this time?" in asked and not Appointment.objects.exists()
    with freeze_time(NOW), django_capture_on_commit_callbacks(execute=True):
        status, text = post(client, times[0])
    visit = Appointment.objects.get()
    assert status == 302 and "It is booked. You get a mail" in text
    assert (visit.booked_by, visit.customer, visit.cover) == ("customer", find_owner(cover), cover)
    assert CoverState.objects.get(cover=cover).booked_on is not None
    assert list_times(text) == []
    # The invitation went out at once, without a scan.
    mails = [mail["Subject"] for mail in read_mail(settings)]
    assert len([subject for subject in mails if "is booked" in subject]) == 1
    # The same button again: it is booked already, and once.
    status, text = post(client, times[0])
    assert status == 302 and Appointment.objects.count() == 1
    # A page that was left open does not book a second one.
    status, text = post(client, times[1])
    assert status == 410 and "out of date" in text and Appointment.objects.get().starts_at == visit.starts_at


def test_why_a_time_is_proposed_is_told_in_french_too(page: str, client: Client) -> None:
    client.cookies["django_language"] = "fr"
    text = read(client, page)
    # The first time is on the target day, which here is the last day of the window too.
    asked = read(client, list_times(text)[-1])
    for shown in (text, asked):
        assert "Dans la période du contrôle, " in shown and "In the window" not in shown
    assert "avant son dernier jour, aussi le jour visé, le " in asked


def test_the_page_is_whole_in_the_language_of_its_owner_whatever_the_browser_asks_for(
    cover: Cover, page: str, client: Client
) -> None:
    Customer.objects.filter(pk=find_owner(cover).pk).update(language="en")
    with freeze_time(NOW):
        english, french = (
            re.sub(r'value="[^"]*"', "", client.get(page, headers={"accept-language": asked}).content.decode())
            for asked in ("en", "fr")
        )
    assert 'lang="en"' in english and english == french


def test_a_time_that_was_taken_meanwhile_is_told_with_the_next_three(
    shop: ShopForTests, cover: Cover, page: str, bays: Bays, client: Client
) -> None:
    times = list_times(read(client, page))
    other = add_due_vehicle(shop, make_vin(2), FIRST)
    recompute(as_of=TODAY, now=NOW)
    with freeze_time(NOW):
        other_times = list_times(read(client, make_page(other)))
    assert post(client, other_times[0])[0] == 302
    status, text = post(client, times[0])
    assert status == 409 and "Somebody was first" in text and Appointment.objects.count() == 1
    instead = list_times(text)
    assert len(instead) == 3
    assert post(client, instead[0])[0] == 302
    assert Appointment.objects.filter(vehicle=cover.vehicle, booked_by="customer").count() == 1


def test_a_customer_moves_and_cancels_and_the_calendar_follows(
    tasks_run_here: None,
    cover: Cover,
    page: str,
    client: Client,
    settings: Settings,
    django_capture_on_commit_callbacks: Any,
) -> None:
    with freeze_time(NOW), django_capture_on_commit_callbacks(execute=True):
        post(client, list_times(read(client, page))[0])
    visit = Appointment.objects.get()
    text = read(client, page + "times/")
    moves = list_times(text)
    assert "Move your visit" in text and len(moves) >= 3
    assert "Until now it is on" in read(client, moves[1])
    with freeze_time(NOW), django_capture_on_commit_callbacks(execute=True):
        status, text = post(client, moves[1])
    before = visit.starts_at
    visit.refresh_from_db()
    assert status == 302 and "It is moved." in text and visit.starts_at != before
    with freeze_time(NOW), django_capture_on_commit_callbacks(execute=True):
        status, text = post(client, page + "cancel/", sequence=str(visit.sequence), reason="ill")
    visit.refresh_from_db()
    assert status == 302 and "It is cancelled." in text and (visit.status, visit.status_reason) == ("cancelled", "ill")
    assert len(list_times(text)) == 5
    # The same button in a window that was left open.
    status, text = post(client, page + "cancel/", sequence=str(visit.sequence), reason="ill")
    assert status == 409 and "can&#x27;t be cancelled here any more" in text.replace("&#39;", "&#x27;")
    parts = [part for mail in read_mail(settings) for part in mail.walk()]
    calendars = [Calendar.from_ical(p.get_content()) for p in parts if p.get_content_type() == "application/ics"]
    calendars.sort(key=lambda calendar: calendar.events[0]["sequence"])
    assert [str(calendar["method"]) for calendar in calendars] == ["REQUEST", "REQUEST", "CANCEL"]
    assert [event.actor for event in Event.objects.filter(kind__startswith="appointment.")] == [None] * 3


def test_what_the_desk_changed_meanwhile_is_not_overwritten(
    cover: Cover, page: str, bays: Bays, client: Client
) -> None:
    post(client, list_times(read(client, page))[0])
    visit = Appointment.objects.get()
    moves = list_times(read(client, page + "times/"))
    move_visit(appointment=visit, bay=bays.low, person=bays.tomas, starts_at=at(DAY, 13), now=NOW, actor=bays.writer)
    for address, fields in ((moves[0], {}), (page + "cancel/", {"sequence": "0", "reason": "ill"})):
        status, text = post(client, address, **fields)
        assert status == 409 and "We changed this visit meanwhile" in text and "13:00" in text
    visit.refresh_from_db()
    assert (visit.status, visit.starts_at) == ("booked", at(DAY, 13))


def test_shortly_before_the_visit_only_a_call_changes_it(
    cover: Cover, page: str, bays: Bays, client: Client, settings: Settings
) -> None:
    visit = book_visit(
        vehicle=cover.vehicle, bay=bays.low, person=bays.tomas, starts_at=at(DAY, 9), now=NOW, actor=None, cover=cover
    )
    for hours, may in ((24, True), (480, False)):
        settings.CUSTOMER_CHANGES_UNTIL_HOURS = hours
        text = read(client, page)
        assert (">Move</a>" in text) is may and ("by a call only" in text) is not may
        assert ("Cancel your visit?" in read(client, page + "cancel/")) is may
        assert bool(list_times(read(client, page + "times/"))) is may
    assert post(client, page + "cancel/", sequence="0", reason="ill")[0] == 409
    visit.refresh_from_db()
    assert visit.status == "booked"


def test_a_customer_asks_for_another_day_or_part_of_the_day(page: str, client: Client) -> None:
    text = read(client, page + "?from=2026-06-15&part=afternoon")
    assert len(list_times(text)) == 5 and 'value="2026-06-15"' in text
    starts = re.findall(r"<b>(\d\d:\d\d)</b>", text)
    assert len(starts) == 5 and all(start >= "12:00" for start in starts)
    days = re.findall(r"<b>\w+ (\d+ \w+)</b>", text)
    assert days[0] == "15 June"
    for wrong in ("tomorrow", "2020-01-01", "2199-01-01"):
        text = read(client, f"{page}?from={wrong}")
        assert 'href="#from"' in text and f'value="{wrong}"' in text and len(list_times(text)) == 5
        assert text.index('href="#from"') < text.index("<h1>")


def test_a_link_is_only_for_the_owner_and_not_for_ever(
    shop: ShopForTests, cover: Cover, page: str, bays: Bays, client: Client
) -> None:
    owner = find_owner(cover)
    post(client, list_times(read(client, page))[0])
    assert "Your visit" in read(client, page)
    forged = signing.dumps([owner.pk, cover.vehicle.pk], salt="other")
    for token in (forged, "x", page[4:-3]):
        assert "You did nothing wrong" in read(client, f"/my/{token}/", 404)
    with freeze_time(NOW + OWN_PAGE_LASTS + timedelta(days=1)):
        assert client.get(page).status_code == 404
    buyer = Customer.objects.create(name="Petra Quill", email="petra@example.org", match_key="petra", created_at=NOW)
    change_owner(vehicle=cover.vehicle, customer=buyer, from_day=TODAY, told_on=TODAY, now=NOW, actor=None)
    for part in ("", "times/", "cancel/", "visit.ics", "certificate.pdf", "record/"):
        text = read(client, page + part, 404)
        assert "Petra" not in text and cover.number not in text and cover.vehicle.vin[-6:] not in text
    assert post(client, page + "cancel/", sequence="0", reason="ill")[0] == 404
    # The new owner's link shows the vehicle, but not the visit that the former owner made.
    with freeze_time(NOW):
        text = read(client, make_page(cover))
    assert cover.vehicle.vin[-6:] in text and "Your visit" not in text and owner.name not in text


def test_a_time_of_another_vehicle_cannot_be_taken(shop: ShopForTests, cover: Cover, page: str, client: Client) -> None:
    other = add_due_vehicle(shop, make_vin(2), FIRST)
    with freeze_time(NOW):
        theirs = make_page(other)
    slot = list_times(read(client, theirs))[0].split("/")[-2]
    assert post(client, f"{page}times/{slot}/")[0] == 410
    assert post(client, f"{page}times/x/")[0] == 410
    assert not Appointment.objects.exists()
    with freeze_time(NOW + timedelta(days=3)):
        assert client.post(list_times(read(client, theirs))[0]).status_code in (410, 404)


def test_every_answer_keeps_the_address_to_itself(cover: Cover, page: str, bays: Bays, client: Client) -> None:
    book_visit(
        vehicle=cover.vehicle, bay=bays.low, person=bays.tomas, starts_at=at(DAY, 9), now=NOW, actor=None, cover=cover
    )
    with freeze_time(NOW):
        for part in ("", "times/", "cancel/", "visit.ics", "certificate.pdf", "record/", "nothing"):
            answer = client.get(page + part)
            if part == "nothing":
                assert answer.status_code == 404
                continue
            assert answer.status_code == 200, part
            assert answer["Referrer-Policy"] == "same-origin" and "noindex" in answer["X-Robots-Tag"]
            assert answer["Cache-Control"] == "private, no-store"
        assert client.get("/my/x/")["Referrer-Policy"] == "same-origin"


def test_the_visit_goes_into_a_calendar_under_the_uid_of_the_invitation(
    cover: Cover, page: str, bays: Bays, client: Client
) -> None:
    assert "Choose a time" in read(client, page + "visit.ics", 404)
    visit = book_visit(
        vehicle=cover.vehicle, bay=bays.low, person=bays.tomas, starts_at=at(DAY, 9), now=NOW, actor=None, cover=cover
    )
    with freeze_time(NOW):
        answer = client.get(page + "visit.ics")
        write_invitations(now=NOW)
    assert answer["Content-Type"].startswith("text/calendar") and "attachment" in answer["Content-Disposition"]
    calendar = Calendar.from_ical(answer.content)
    (event,) = calendar.walk("VEVENT")
    assert calendar["method"] == "PUBLISH" and "attendee" not in event
    (invited,) = Calendar.from_ical(Message.objects.get().calendar).walk("VEVENT")
    assert event["uid"] == invited["uid"] and event.decoded("dtstart") == visit.starts_at
    assert event.decoded("dtend") == visit.told_ready_at


def test_papers_and_the_record_of_what_was_done(shop: ShopForTests, page: str, client: Client) -> None:
    with freeze_time(NOW):
        assert client.get(page + "certificate.pdf").content.startswith(b"%PDF")
        assert client.get(page + "record.pdf").content.startswith(b"%PDF")
    text = read(client, page + "record/")
    assert "First treatment, 10 June 2025" in text and "Creepline Film, lot CF-1" in text
    assert "No zone is on record as left out" in text


def test_who_stopped_messages_is_told_that_no_mail_comes(cover: Cover, page: str, client: Client) -> None:
    stop_messages(customer=find_owner(cover), now=NOW)
    text = read(client, page)
    assert "Messages to you are stopped" in text
    status, text = post(client, list_times(text)[0])
    assert status == 302 and "we have no way to write to you" in text and not Message.objects.exists()


def test_changing_again_and_again_ends_with_a_call(cover: Cover, page: str, bays: Bays, client: Client) -> None:
    refused = None
    for turn in range(MOST_CHANGES_A_DAY + 1):
        status, text = post(client, list_times(read(client, page))[0])
        if status == 400:
            refused = turn
            break
        visit = Appointment.objects.latest("pk")
        cancel_visit(appointment=visit, reason="test", now=NOW, actor=None)
    assert refused is not None and "very often today" in text
    assert Appointment.objects.count() == refused
    with freeze_time(NOW + timedelta(days=2)):
        again = list_times(client.get(page).content.decode())
        assert client.post(again[0]).status_code == 302


def test_an_erased_person_has_no_page(cover: Cover, page: str, client: Client) -> None:
    owner = find_owner(cover)
    with past_the_guards():
        Cover.objects.filter(pk=cover.pk).update(holder=None)
    cover_over(cover)
    erase_person(customer=owner, order=ErasureOrder.PERSON, now=NOW, actor=None)
    owner.refresh_from_db()
    assert owner.name.startswith("erased person")
    read(client, page, 404)


def cover_over(cover: Cover) -> None:
    CoverState.objects.filter(cover=cover).update(status="ended")


def test_a_vehicle_that_is_not_due_yet_says_from_when_times_can_be_chosen(
    shop: ShopForTests, bays: Bays, client: Client
) -> None:
    fresh = add_due_vehicle(shop, make_vin(3), date(2026, 5, 11))
    with freeze_time(NOW):
        text = read(client, make_page(fresh))
    assert list_times(text) == [] and "Times can be chosen here from" in text


def test_a_site_without_durations_says_to_call(cover: Cover, page: str, client: Client) -> None:
    from scheduling.models import WorkDuration

    WorkDuration.objects.all().delete()
    text = read(client, page)
    assert list_times(text) == [] and "We found no free time. Please call us" in text and "+1 555 0101" in text


def test_the_page_asks_the_database_the_same_number_of_times_however_much_is_booked(
    shop: ShopForTests, cover: Cover, page: str, bays: Bays, client: Client
) -> None:
    counted = []
    for numbers in ((), (2,), (3, 4)):
        for number in numbers:
            other = add_due_vehicle(shop, make_vin(number), FIRST)
            start = at(DAY + timedelta(days=number - 2), 9)
            book_visit(
                vehicle=other.vehicle,
                bay=bays.low,
                person=bays.tomas,
                starts_at=start,
                now=NOW,
                actor=None,
                cover=other,
            )
        with CaptureQueriesContext(connection) as queries:
            assert len(list_times(read(client, page))) == 5
        counted.append(len(queries))
    assert counted[0] == counted[1] == counted[2] <= 60, counted


def test_a_visit_is_cancelled_without_saying_why(cover: Cover, page: str, client: Client) -> None:
    post(client, list_times(read(client, page))[0])
    visit = Appointment.objects.get()
    assert post(client, page + "cancel/", sequence=str(visit.sequence), reason=" ")[0] == 302
    visit.refresh_from_db()
    assert (visit.status, visit.status_reason) == ("cancelled", UsualReason.CUSTOMER_ASKED)


def test_an_ended_cover_is_shown_with_why(cover: Cover, page: str, bays: Bays, client: Client) -> None:
    end_cover(cover=cover, day=TODAY, reason="The vehicle was scrapped", now=NOW, actor=bays.writer)
    text = read(client, page)
    assert "The vehicle was scrapped" in text and list_times(text) == []
