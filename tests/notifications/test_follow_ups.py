"""What customers hear the day before a visit, after it, and of their claims: once, in time, and only while it is so."""

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest

from claims.decisions.services import ask_customer, decide_claim, record_answer, reopen_claim
from claims.enums import DecisionKind
from claims.intake.services import file_claim
from claims.models import Claim
from notifications.claim_news.services import is_claim_news_true, write_claim_news
from notifications.consents.services import stop_messages
from notifications.enums import MessageKind, MessageStatus
from notifications.invitations.follow_ups import write_follow_ups
from notifications.invitations.services import write_invitations
from notifications.models import Message
from notifications.outbox.relevance import find_why_not_sent
from scheduling.booking.changing import begin_visit, cancel_visit, finish_visit
from scheduling.models import Appointment, Cover
from tests.conftest import NOW, ShopForTests
from tests.notifications.test_invitations import DAY, FIRST, book, move
from tests.notifications.test_reminders import treat
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, at, set_up_bays
from treatments.enums import DamageKind, Role, TreatmentKind
from treatments.models import Customer, User, Zone

EVE = DAY - timedelta(days=1)


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def cover(shop: ShopForTests, bays: Bays) -> Cover:
    return add_due_vehicle(shop, "11111111111111111", FIRST)


@pytest.fixture
def visit(cover: Cover, bays: Bays) -> Appointment:
    return book(cover, bays, at(DAY, 9))


def read_kinds() -> list[str]:
    return list(Message.objects.order_by("pk").values_list("kind", flat=True))


def is_to_go(message: Message, now: datetime) -> bool:
    return not find_why_not_sent([message], now=now)


def test_the_day_before_is_told_once_and_the_confirmation_stays_as_it_was(visit: Appointment) -> None:
    write_invitations(now=NOW)
    assert write_follow_ups(now=at(EVE, 8)) == 1
    assert write_follow_ups(now=at(EVE, 12)) == 0
    message = Message.objects.get(kind=MessageKind.VISIT_TOMORROW)
    assert message.due_at == at(EVE, 9)
    assert is_to_go(message, at(EVE, 9)) and not is_to_go(message, at(DAY, 9, 1))
    # The reader of changes sees nothing new in it.
    assert write_invitations(now=at(EVE, 12)).written == 0


@pytest.mark.parametrize(("hour", "written"), [(21, 0), (19, 1)])
def test_it_is_not_told_at_night(cover: Cover, bays: Bays, hour: int, written: int) -> None:
    """A visit at 9:00: what waits for 8:00 comes too late to be of use."""
    book(cover, bays, at(DAY, 9))
    assert write_follow_ups(now=at(EVE, hour)) == written


def test_a_visit_that_moved_is_told_at_its_new_time_only(visit: Appointment, bays: Bays) -> None:
    write_follow_ups(now=at(EVE, 8))
    stale = Message.objects.get()
    move(visit, bays, at(DAY, 14))
    stale.refresh_from_db()
    stale.appointment.refresh_from_db()  # type: ignore[union-attr]
    assert not is_to_go(stale, at(EVE, 9))
    assert write_follow_ups(now=at(EVE, 10)) == 1
    stale.refresh_from_db()
    assert stale.status == MessageStatus.WITHDRAWN
    cancel_visit(appointment=visit, reason="the car is sold", now=at(EVE, 11), actor=bays.writer)
    last = Message.objects.order_by("pk").last()
    assert last is not None and not is_to_go(last, at(EVE, 14))


def test_who_was_told_of_the_visit_just_now_is_not_reminded_of_it(visit: Appointment) -> None:
    Appointment.objects.update(changed_at=at(EVE, 7))
    assert write_follow_ups(now=at(EVE, 8)) == 0


def test_who_stopped_messages_or_has_no_address_hears_neither(visit: Appointment) -> None:
    stop_messages(customer=Customer.objects.get(), now=NOW)
    assert write_follow_ups(now=at(EVE, 8)) == 0
    Customer.objects.update(messages_stopped_at=None, email="")
    assert write_follow_ups(now=at(EVE, 8)) == 0


def test_thanks_go_once_the_record_is_signed_off_and_name_what_is_next(
    shop: ShopForTests, visit: Appointment, cover: Cover, bays: Bays
) -> None:
    begin_visit(appointment=visit, now=at(DAY, 9), actor=bays.writer)
    finish_visit(appointment=visit, now=at(DAY, 11), actor=bays.writer)
    assert write_follow_ups(now=at(DAY, 12)) == 0
    treat(shop, cover.vehicle, DAY, TreatmentKind.ANNUAL_TOUCH_UP)
    assert write_follow_ups(now=at(DAY, 12)) == 1
    assert write_follow_ups(now=at(DAY, 13)) == 0
    message = Message.objects.get()
    assert (message.kind, message.due_at) == (MessageKind.VISIT_THANKS, at(DAY, 12))
    assert is_to_go(message, at(DAY, 13))


def test_nobody_is_thanked_for_a_visit_of_last_week(
    shop: ShopForTests, visit: Appointment, cover: Cover, bays: Bays
) -> None:
    begin_visit(appointment=visit, now=at(DAY, 9), actor=bays.writer)
    finish_visit(appointment=visit, now=at(DAY, 11), actor=bays.writer)
    treat(shop, cover.vehicle, DAY, TreatmentKind.ANNUAL_TOUCH_UP)
    assert write_follow_ups(now=at(DAY + timedelta(days=4), 11)) == 0


REPORTED = date(2026, 5, 18)


@pytest.fixture
def claim(cover: Cover) -> Claim:
    return file_claim(
        cover=cover,
        zones=list(Zone.objects.filter(code="rocker_left")),
        damage=DamageKind.SURFACE_CORROSION,
        reported_on=REPORTED,
        now=NOW,
        actor=None,
    )


@pytest.fixture
def judge(shop: ShopForTests) -> User:
    return User.objects.create(username="vera", role=Role.WARRANTY_ADMINISTRATOR)


def test_a_claim_is_told_step_by_step_and_each_step_once(claim: Claim, judge: User) -> None:
    assert write_claim_news(now=NOW) == 1
    request = ask_customer(claim=claim, what="the invoice of the wash", day=REPORTED, now=NOW, actor=judge)
    assert write_claim_news(now=NOW) == 1
    assert "the invoice of the wash" in Message.objects.get(kind=MessageKind.CLAIM_NEEDS).body
    record_answer(request=request, day=REPORTED, now=NOW, actor=judge)
    decision = decide_claim(
        claim=claim, kind=DecisionKind.REFUSE, amount=Decimal(0), reason="not covered", day=REPORTED, now=NOW,
        actor=judge,
    )  # fmt: skip
    assert write_claim_news(now=NOW) == 1
    assert write_claim_news(now=NOW) == 0
    assert read_kinds() == [MessageKind.CLAIM_RECEIVED, MessageKind.CLAIM_NEEDS, MessageKind.CLAIM_DECIDED]
    decided = Message.objects.get(kind=MessageKind.CLAIM_DECIDED)
    assert decision.letter.split("\n\n")[0].split("\n")[0] in decided.body
    # What was asked for has come, and the claim is decided: neither of the others goes any more.
    assert [is_claim_news_true(message) for message in Message.objects.order_by("pk")] == [False, False, True]
    reopen_claim(claim=claim, reason="a new picture", now=NOW, actor=judge)
    assert not is_to_go(decided, NOW)


def test_what_was_decided_before_it_was_told_is_told_alone(claim: Claim, judge: User) -> None:
    decide_claim(
        claim=claim, kind=DecisionKind.REFUSE, amount=Decimal(0), reason="not covered", day=REPORTED, now=NOW,
        actor=judge,
    )  # fmt: skip
    write_claim_news(now=NOW)
    assert read_kinds() == [MessageKind.CLAIM_DECIDED]


def test_a_claim_of_long_ago_is_no_news(claim: Claim) -> None:
    assert write_claim_news(now=NOW + timedelta(days=8)) == 0
    assert write_claim_news(now=NOW) == 0  # and was read past


def test_who_stopped_messages_hears_of_no_claim(claim: Claim) -> None:
    stop_messages(customer=Customer.objects.get(), now=NOW)
    assert write_claim_news(now=NOW) == 0
