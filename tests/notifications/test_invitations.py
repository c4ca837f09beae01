"""Invitations: what a customer is told of an appointment, once, in time, so that a calendar follows every change."""

from datetime import UTC, date, datetime, timedelta
from email.message import EmailMessage as Mail

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar, Component

from notifications.consents.services import stop_messages
from notifications.enums import MessageStatus
from notifications.invitations.rules.calendar_text import CalendarPerson, CalendarVisit, read_told, write_invitation
from notifications.invitations.rules.visit_news import TellableVisit, choose_news, is_still_true
from notifications.invitations.services import write_invitations
from notifications.invitations.visit_text import TITLES, TITLES_WITH_REINSPECTION, render_title
from notifications.models import Message, MessageKind
from notifications.outbox.services import send_all_due_messages
from notifications.privacy import ErasureOrder, erase_person, export_person
from scheduling.booking.changing import begin_visit, cancel_visit, finish_visit, mark_no_show, run_late, split_visit
from scheduling.booking.services import book_visit, move_visit
from scheduling.enums import UsualReason, VisitKind
from scheduling.index.service import recompute
from scheduling.models import Appointment, AppointmentStatus, Bay, BookedBy, Cover
from scheduling.models.appointments import render_reason
from tests.conftest import NOW, TODAY, ShopForTests
from tests.notifications.test_reminders import read_mail
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, at, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.models import Customer, User

pytestmark = pytest.mark.slow

FIRST = date(2025, 6, 10)
DAY = date(2026, 6, 9)


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def cover(shop: ShopForTests, bays: Bays) -> Cover:
    found = add_due_vehicle(shop, "11111111111111111", FIRST)
    recompute(as_of=TODAY, now=NOW)
    return found


def book(cover: Cover, bays: Bays, start: datetime, **more: object) -> Appointment:
    return book_visit(
        vehicle=cover.vehicle, bay=bays.low, person=bays.tomas, starts_at=start, now=NOW, actor=bays.writer,
        cover=cover, **more,
    )  # fmt: skip


def move(visit: Appointment, bays: Bays, start: datetime, bay: Bay | None = None, person: User | None = None) -> None:
    move_visit(
        appointment=visit, bay=bay or bays.low, person=person or bays.tomas, starts_at=start, now=NOW,
        actor=bays.writer,
    )  # fmt: skip


def send() -> int:
    return send_all_due_messages(clock=lambda: NOW).sent


def read_calendar(mail: Mail) -> tuple[str, object]:
    """Return METHOD and the VEVENT of a mail's invitation, having checked that both copies are the same."""
    (beside,) = [part for part in mail.walk() if part.get_content_type() == "text/calendar"]
    (attached,) = [part for part in mail.walk() if part.get_filename() == "invite.ics"]
    assert attached.get_content_type() == "application/ics"
    told = beside.get_content()
    assert told.replace("\r\n", "\n") == attached.get_content().decode().replace("\r\n", "\n")
    calendar = Calendar.from_ical(attached.get_content())
    assert beside["Content-Type"].params["method"] == calendar["method"]
    assert beside.get_content_charset() == "utf-8"
    (event,) = calendar.walk("VEVENT")
    return str(calendar["method"]), event


def test_booked_moved_and_cancelled_are_told_so_that_a_calendar_follows(
    cover: Cover, bays: Bays, settings: object
) -> None:
    settings.SITE_URL = "https://shop.example.org"  # type: ignore[attr-defined]
    visit = book(cover, bays, at(DAY, 9))
    assert write_invitations(now=NOW).written == 1 and send() == 1
    move(visit, bays, at(DAY, 13))
    assert write_invitations(now=NOW).written == 1 and send() == 1
    cancel_visit(appointment=visit, reason="the car is sold", now=NOW, actor=bays.writer)
    assert write_invitations(now=NOW).written == 1 and send() == 1
    # Nothing is told twice, however often it is looked.
    assert write_invitations(now=NOW).written == 0 and send() == 0
    assert list(Message.objects.order_by("pk").values_list("kind", "status")) == [
        ("visit_booked", "sent"), ("visit_moved", "sent"), ("visit_cancelled", "sent"),
    ]  # fmt: skip
    mails = sorted(read_mail(settings), key=lambda mail: read_calendar(mail)[1]["sequence"])
    told = [read_calendar(mail) for mail in mails]
    assert [method for method, _ in told] == ["REQUEST", "REQUEST", "CANCEL"]
    assert {str(event["uid"]) for _, event in told} == {f"{visit.uid}@shop.example.org"}
    assert [event["sequence"] for _, event in told] == [0, 1, 2]
    assert [event.decoded("dtstart") for _, event in told] == [at(DAY, 9), at(DAY, 13), at(DAY, 13)]
    assert [str(event["status"]) for _, event in told] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]
    visit.refresh_from_db()
    assert told[1][1].decoded("dtend") == visit.told_ready_at
    texts = [mail.get_body(("plain",)).get_content() for mail in mails]
    assert "Tuesday 9 June 2026, 09:00" in texts[0] and "Tuesday 9 June 2026, 13:00" in texts[1]
    assert "Reason: the car is sold" in texts[2]
    assert [mail["To"] for mail in mails] == [visit.customer.email] * 3
    assert all(mail["Reply-To"] == "desk@example.org" for mail in mails)


@pytest.mark.parametrize("language", ["en", "fr"])
def test_a_visit_names_all_that_it_serves(cover: Cover, bays: Bays, language: str) -> None:
    Customer.objects.update(language=language)
    visit = book(cover, bays, at(DAY, 9))
    assert {item.due_key.partition(":")[0] for item in visit.items.all()} >= {"reinspection", "touch_up"}
    write_invitations(now=NOW)
    with translation.override(language):
        whole, touch_up = str(TITLES_WITH_REINSPECTION[VisitKind(visit.visit)]), str(TITLES[VisitKind(visit.visit)])
        assert whole != touch_up and render_title(visit) == whole
        message = Message.objects.get()
        assert whole in message.body and read_event(message)["summary"].startswith(whole)
        # What is given up is told by what it was to serve; what another visit serves is not told of this one.
        cancel_visit(appointment=visit, reason="sold", now=NOW, actor=bays.writer)
        visit = Appointment.objects.get(pk=visit.pk)
        assert render_title(visit) == whole
        visit.status = AppointmentStatus.BOOKED
        assert render_title(visit) == touch_up


@pytest.mark.parametrize("reason", [UsualReason.WEATHER.value, "the lift is broken, cancelled"])
def test_the_customer_reads_why_in_their_own_language_and_own_words_as_typed(
    cover: Cover, bays: Bays, reason: str
) -> None:
    visit = book(cover, bays, at(DAY, 9))
    assert write_invitations(now=NOW).written == 1 and send() == 1
    Customer.objects.update(language="fr")
    cancel_visit(appointment=visit, reason=reason, now=NOW, actor=bays.writer)
    assert write_invitations(now=NOW).written == 1 and send() == 1
    with translation.override("fr"):
        told = render_reason(reason)
    assert told in Message.objects.order_by("pk")[1].body
    assert (told == reason) is (reason not in list(UsualReason))


def test_a_visit_is_told_ready_on_a_full_five_minutes(cover: Cover, bays: Bays) -> None:
    visit = book(cover, bays, at(DAY, 9))
    exact = visit.ready_at.replace(minute=36)
    Appointment.objects.filter(pk=visit.pk).update(ready_at=exact)
    write_invitations(now=NOW)
    message = Message.objects.get()
    assert ":40" in message.body and ":36" not in message.body
    assert read_event(message).decoded("dtend") == exact.replace(minute=40)
    assert Appointment.objects.get(pk=visit.pk).ready_at == exact


def read_event(message: Message) -> Component:
    (event,) = Calendar.from_ical(message.calendar).walk("VEVENT")
    return event


def test_several_changes_before_a_mail_goes_out_come_to_one_message_or_none(
    cover: Cover, bays: Bays, settings: object
) -> None:
    visit = book(cover, bays, at(DAY, 9))
    assert write_invitations(now=NOW).written == 1
    move(visit, bays, at(DAY, 13))
    report = write_invitations(now=NOW)
    # The customer never heard of the first time, so the second is not told as a move.
    assert (report.written, report.withdrawn) == (1, 1)
    assert list(Message.objects.order_by("pk").values_list("kind", "status")) == [
        ("visit_booked", "withdrawn"), ("visit_booked", "waiting"),
    ]  # fmt: skip
    assert send() == 1
    move(visit, bays, at(DAY, 9))
    move(visit, bays, at(DAY, 13))
    # Another bay and another person are the shop's own affair.
    move(visit, bays, at(DAY, 13), bays.tall, bays.jora)
    assert write_invitations(now=NOW).written == 0
    move(visit, bays, at(DAY, 14))
    assert write_invitations(now=NOW).written == 1
    cancel_visit(appointment=visit, reason="ill", now=NOW, actor=bays.writer)
    report = write_invitations(now=NOW)
    assert (report.written, report.withdrawn) == (1, 1) and send() == 1
    assert [read_calendar(mail)[0] for mail in read_mail(settings)].count("CANCEL") == 1
    # Booked and cancelled before anything went out: there is nothing to tell.
    again = book(cover, bays, at(DAY, 9))
    assert write_invitations(now=NOW).written == 1
    cancel_visit(appointment=again, reason="ill", now=NOW, actor=bays.writer)
    report = write_invitations(now=NOW)
    assert (report.written, report.withdrawn) == (0, 1) and send() == 0


def test_a_message_that_is_not_so_any_more_is_not_sent_even_before_the_log_is_read(cover: Cover, bays: Bays) -> None:
    visit = book(cover, bays, at(DAY, 9))
    write_invitations(now=NOW)
    move(visit, bays, at(DAY, 13))
    assert send() == 0 and Message.objects.get().status == MessageStatus.WITHDRAWN
    assert write_invitations(now=NOW).written == 1 and send() == 1
    assert Message.objects.get(status=MessageStatus.SENT).kind == MessageKind.VISIT_BOOKED


def test_who_cannot_or_must_not_be_written_to_is_to_be_phoned(cover: Cover, bays: Bays) -> None:
    Customer.objects.update(phone="555-0107")
    visit = book(cover, bays, at(DAY, 9))
    write_invitations(now=NOW)
    stop_messages(customer=visit.customer, now=NOW)
    assert Message.objects.get().status == MessageStatus.WITHDRAWN
    move(visit, bays, at(DAY, 13))
    report = write_invitations(now=NOW)
    assert report.written == 0 and report.to_phone == (f"visit {visit.number}, {visit.customer.name} (555-0107)",)
    Customer.objects.update(messages_stopped_at=None, email="")
    move_visit(appointment=visit, bay=bays.low, person=bays.tomas, starts_at=at(DAY, 9), now=NOW, actor=None)
    # The customer did that through the link, and knows.
    assert write_invitations(now=NOW).to_phone == ()
    mark_no_show(appointment=visit, reason="rang, no answer", now=at(DAY, 10), actor=bays.writer)
    assert write_invitations(now=at(DAY, 10)).to_phone == ()
    planned = book(cover, bays, at(DAY, 13), booked_by=BookedBy.SEASON_PLAN)
    assert write_invitations(now=NOW).to_phone == (f"visit {planned.number}, {planned.customer.name} (555-0107)",)


def test_what_happens_at_the_shop_is_told_only_where_it_changes_the_times(
    cover: Cover, bays: Bays, settings: object
) -> None:
    visit = book(cover, bays, at(DAY, 9))
    write_invitations(now=NOW)
    send()
    begin_visit(appointment=visit, now=at(DAY, 9), actor=bays.tomas)
    assert write_invitations(now=at(DAY, 9)).written == 0
    run_late(appointment=visit, minutes=30, now=at(DAY, 9), actor=bays.writer)
    assert write_invitations(now=at(DAY, 9)).written == 1
    assert Message.objects.latest("pk").kind == MessageKind.VISIT_MOVED
    second = split_visit(
        appointment=visit, reason="underside wet", first_part_minutes=30, bay=bays.tall, person=bays.jora,
        starts_at=at(DAY + timedelta(days=1), 9), now=at(DAY, 9), actor=bays.writer,
    )[1]  # fmt: skip
    report = write_invitations(now=at(DAY, 9))
    # The first part ends sooner, which withdraws what was to say that it ends later; the second is a visit of its own.
    assert (report.written, report.withdrawn) == (2, 1)
    assert Message.objects.filter(appointment=second).get().kind == MessageKind.VISIT_BOOKED
    finish_visit(appointment=visit, now=at(DAY, 10), actor=bays.tomas)
    report = write_invitations(now=at(DAY, 10))
    assert (report.written, report.withdrawn) == (0, 1)


def test_what_begins_now_or_is_over_needs_no_invitation(cover: Cover, bays: Bays) -> None:
    visit = book(cover, bays, at(DAY, 9))
    assert write_invitations(now=at(DAY, 8, 30)).written == 0
    Message.objects.all().delete()
    move(visit, bays, at(DAY, 13))
    assert write_invitations(now=at(DAY, 18)).written == 0


def test_an_erased_person_leaves_no_invitation_behind(cover: Cover, bays: Bays) -> None:
    visit = book(cover, bays, at(DAY, 9))
    write_invitations(now=NOW)
    send()
    customer = visit.customer
    assert visit.number in [shown["number"] for shown in export_person(customer)["visits"]]
    erase_person(customer=customer, order=ErasureOrder.PERSON, now=NOW, actor=None)
    message = Message.objects.get()
    assert (message.calendar, message.body) == ("", "(erased)")
    move(visit, bays, at(DAY, 13))
    write_invitations(now=NOW)  # and what was told is not needed to go on


def test_reading_the_log_takes_as_many_queries_for_one_visit_as_for_many(shop: ShopForTests, bays: Bays) -> None:
    counted = []
    write_invitations(now=NOW)  # sets the reader's place in the log once
    for numbers in ((1,), (2, 3, 4)):
        for number in numbers:
            due = add_due_vehicle(shop, make_vin(number), FIRST)
            recompute(as_of=TODAY, now=NOW)
            book(due, bays, at(DAY + timedelta(days=number - 2), 9))
        with CaptureQueriesContext(connection) as queries:
            assert write_invitations(now=NOW).written == len(numbers)
        counted.append(len(queries))
    assert counted[0] == counted[1] <= 20


MOMENTS = st.integers(0, 60 * 24 * 700).map(
    lambda minutes: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)


def make_visit(status: AppointmentStatus, start: datetime, minutes: int, sequence: int = 0) -> TellableVisit:
    shop = CalendarPerson("Mill Lane", "desk@example.org")
    customer = CalendarPerson("Lena", "lena@example.org")
    shown = CalendarVisit(
        "u@example.org", sequence, start, start + timedelta(minutes=minutes), NOW, NOW,
        status is AppointmentStatus.CANCELLED, "Touch-up", "Mill Lane", "", shop, customer,
    )  # fmt: skip
    return TellableVisit(status, shown)


@given(
    steps=st.lists(
        st.tuples(st.sampled_from(AppointmentStatus), MOMENTS, st.integers(30, 600)), min_size=1, max_size=6
    ),
    now=MOMENTS,
)
def test_whoever_is_told_knows_what_is_so_and_is_not_told_again(
    steps: list[tuple[AppointmentStatus, datetime, int]], now: datetime
) -> None:
    told = None
    for sequence, (status, start, minutes) in enumerate(steps):
        visit = make_visit(status, start, minutes, sequence)
        kind = choose_news(visit, told, now)
        if kind is not None:
            assert (kind is MessageKind.VISIT_CANCELLED) == (status is AppointmentStatus.CANCELLED)
            told = read_told(write_invitation(visit.shown, language="en", now=now))
            assert told.sequence == sequence and is_still_true(visit, told, now)
            assert choose_news(visit, told, now) is None
        elif told is not None and not told.cancelled and start > now and status is AppointmentStatus.BOOKED:
            assert (told.starts_at, told.ends_at) == (start, start + timedelta(minutes=minutes))
