"""What a customer is told of the parts of a split visit: washing first, the work later, and which of them stands."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from notifications.invitations.services import write_invitations
from notifications.models import Message
from scheduling.booking.changing import cancel_visit, split_visit
from scheduling.booking.services import book_visit
from scheduling.index.service import recompute
from scheduling.models import Appointment
from tests.conftest import NOW, TODAY, ShopForTests
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, at, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.models import Customer

DAY = date(2026, 6, 9)


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def parts(shop: ShopForTests, bays: Bays) -> tuple[Appointment, Appointment]:
    """Book a visit, tell its customer, and split it."""
    return split(shop, bays, 1)


def split(shop: ShopForTests, bays: Bays, number: int, language: str = "en") -> tuple[Appointment, Appointment]:
    cover = add_due_vehicle(shop, make_vin(number), date(2025, 6, 10))
    Customer.objects.filter(ownerships__vehicle=cover.vehicle).update(language=language)
    recompute(as_of=TODAY, now=NOW)
    day = DAY + timedelta(weeks=number - 1)
    visit = book_visit(
        vehicle=cover.vehicle, cover=cover, bay=bays.low, person=bays.tomas, starts_at=at(day, 9), now=NOW,
        actor=bays.writer,
    )  # fmt: skip
    write_invitations(now=NOW)
    Message.objects.update(status="sent", sent_at=NOW)
    return split_visit(
        appointment=visit, reason="underside wet", first_part_minutes=30, bay=bays.tall, person=bays.jora,
        starts_at=at(day + timedelta(days=1), 9), now=NOW, actor=bays.writer,
    )  # fmt: skip


def read_last(visit: Appointment) -> Message:
    write_invitations(now=NOW)
    Message.objects.filter(status="waiting").update(status="sent", sent_at=NOW)
    return Message.objects.filter(appointment=visit).latest("pk")


def test_both_parts_say_which_one_they_are(parts: tuple[Appointment, Appointment]) -> None:
    washing, work = (read_last(part) for part in parts)
    assert washing.subject.startswith("Your visit has changed, washing and drying on 9 June 2026")
    assert "First part: washing and drying" in washing.body
    assert "The work goes on in a second visit: Wednesday 10 June 2026, 09:00." in washing.body
    assert "bring it washed" not in washing.body
    assert work.subject.startswith("The work after washing is booked for 10 June 2026")
    assert "Second part: the work, after washing and drying" in work.body
    assert "Before that it is washed and dried: Tuesday 9 June 2026, 09:00." in work.body


def test_who_cancels_the_washing_is_told_that_the_work_stands(parts: tuple[Appointment, Appointment]) -> None:
    read_last(parts[0])
    cancel_visit(appointment=parts[0], reason="washed at home", now=NOW, actor=None)
    told = read_last(parts[0])
    assert told.subject.startswith("Only washing and drying on 9 June 2026 is cancelled")
    assert "The work stays booked: Wednesday 10 June 2026, 09:00." in told.body
    assert "stays due" not in told.body and "Choose another time" not in told.body
    # With the work cancelled too nothing stands, and it is told as of any visit.
    cancel_visit(appointment=parts[1], reason="sold", now=NOW, actor=None)
    told = read_last(parts[1])
    assert told.subject.startswith("Your visit on 10 June 2026 is cancelled") and "Choose another time" in told.body


def test_who_cancels_the_work_is_told_that_the_washing_stands(parts: tuple[Appointment, Appointment]) -> None:
    read_last(parts[1])
    cancel_visit(appointment=parts[1], reason="no time", now=NOW, actor=None)
    told = read_last(parts[1])
    assert told.subject.startswith("Only the work on 10 June 2026 is cancelled")
    assert "Washing and drying stays booked: Tuesday 9 June 2026, 09:00." in told.body and "stays due" in told.body


def test_parts_are_told_in_french_too(shop: ShopForTests, bays: Bays) -> None:
    washing, work = split(shop, bays, 1, "fr")
    told = [read_last(washing), read_last(work)]
    cancel_visit(appointment=washing, reason="lavé", now=NOW, actor=None)
    told.append(read_last(washing))
    for message, words in zip(
        told, ("Première partie", "Deuxième partie", "Seuls le lavage et le séchage"), strict=True
    ):
        assert words in message.body
        for english in ("washing", "washed", "The work", "booked"):
            assert english not in message.subject + message.body


def test_parts_ask_no_more_queries_however_many_were_split(shop: ShopForTests, bays: Bays) -> None:
    counted = []
    for numbers in ((1,), (2, 3)):
        for number in numbers:
            split(shop, bays, number)
        with CaptureQueriesContext(connection) as queries:
            assert write_invitations(now=NOW).written >= 2
        counted.append(len(queries))
    assert counted[0] == counted[1]
