"""Booking through the services: what is taken, what follows, what is said, with the rows afterwards."""

from datetime import date, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from scheduling.bays.services import close_bay, let_work, load_durations, note_absence
from scheduling.booking.changing import (
    begin_visit,
    cancel_visit,
    finish_visit,
    mark_no_show,
    run_late,
    split_visit,
    walk_in,
)
from scheduling.booking.finding import propose_slots
from scheduling.booking.many import propose_many
from scheduling.booking.placing import SlotTakenError
from scheduling.booking.rules.slots import Slot, explain_slot
from scheduling.booking.services import book_visit, move_visit
from scheduling.enums import VisitKind
from scheduling.index.service import recompute
from scheduling.models import Appointment, AppointmentItem, Bay, Cover, CoverState, DueItem, WorkDuration
from scheduling.refusals import SchedulingError
from tests.conftest import NOW, TODAY, ShopForTests
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, at, moment, refusing, set_up_bays
from treatments.enums import FactKind, FactSource, Propulsion
from treatments.models import Event, PersonTraining, User
from treatments.rules.explanation import Label, OwnWords, Param, explain, to_json
from treatments.vehicles.facts import record_fact
from treatments.vehicles.rules.vin import compute_check_digit

pytestmark = pytest.mark.slow

FIRST = date(2025, 6, 10)
DAY = date(2026, 6, 9)  # a Tuesday in the window of what is due


def make_vin(number: int) -> str:
    vin = f"1XXS8FA30RM{number:06d}"
    return vin[:8] + compute_check_digit(vin) + vin[9:]


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def covers(shop: ShopForTests, bays: Bays) -> list[Cover]:
    found = [add_due_vehicle(shop, make_vin(number), FIRST) for number in range(1, 5)]
    recompute(as_of=TODAY, now=NOW)
    return found


def list_alternatives(caught: pytest.ExceptionInfo[SchedulingError]) -> tuple[Slot, ...]:
    assert isinstance(caught.value, SlotTakenError)
    return caught.value.alternatives


def book(cover: Cover, bays: Bays, bay: Bay, person: User | None, start: datetime) -> Appointment:
    return book_visit(
        vehicle=cover.vehicle, bay=bay, person=person, starts_at=start, now=NOW, actor=bays.writer, cover=cover
    )


def statuses(cover: Cover) -> set[str]:
    return set(DueItem.objects.filter(cover=cover).values_list("status", flat=True))


# When a row was computed and when it is looked at again; what it says is compared.
AT_WHICH_COMPUTED = ("recheck_on", "log_position")


def nothing_to_recompute() -> bool:
    """Say whether a recompute comes to the index as the booking left it, but for when to look at it again."""

    def read() -> tuple[list[dict[str, object]], list[dict[str, object]]]:
        states = CoverState.objects.order_by("cover_id").values()
        items = list(DueItem.objects.order_by("cover_id", "key").values())
        return [{name: row[name] for name in row if name not in AT_WHICH_COMPUTED} for row in states], items

    before = read()
    recompute(as_of=TODAY, now=NOW)
    return read() == before


def test_one_visit_serves_all_that_is_due_and_the_index_follows_at_once(bays: Bays, covers: list[Cover]) -> None:
    cover = covers[0]
    due = set(DueItem.objects.filter(cover=cover).values_list("key", flat=True))
    assert len(due) == 2 and statuses(cover) == {"open"}
    visit = book(cover, bays, bays.low, bays.tomas, at(DAY, 9))
    assert set(visit.items.values_list("due_key", flat=True)) == due
    # 30 for washing and drying, 45, and 3 for the one zone whose film is due; then half an hour to stand.
    assert visit.visit == "annual_touch_up"
    minutes = (visit.work_ends_at - visit.starts_at).total_seconds() / 60
    zones = sum(len(item.zones) for item in DueItem.objects.filter(cover=cover, kind="touch_up"))
    assert minutes == 75 + 3 * zones and visit.ready_at - visit.work_ends_at == timedelta(minutes=30)
    assert statuses(cover) == {"booked"} and CoverState.objects.get(cover=cover).booked_on == DAY
    assert Event.objects.filter(kind="appointment.booked", subject_id=str(visit.pk)).count() == 1
    assert nothing_to_recompute()
    cancel_visit(appointment=visit, reason="sold the car", now=NOW, actor=bays.writer)
    assert statuses(cover) == {"open"} and CoverState.objects.get(cover=cover).booked_on is None
    assert nothing_to_recompute()


def test_a_booking_whose_day_went_by_serves_nothing_any_more(bays: Bays, covers: list[Cover]) -> None:
    book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    recompute(as_of=DAY, now=NOW)
    assert statuses(covers[0]) == {"booked"}
    recompute(as_of=DAY + timedelta(days=1), now=NOW)
    assert statuses(covers[0]) == {"open"} and CoverState.objects.get(cover=covers[0]).booked_on is None


def test_the_second_to_ask_is_told_what_is_taken_and_the_next_three(bays: Bays, covers: list[Cover]) -> None:
    first = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    with refusing("visit.taken", what=OwnWords("low"), begins=moment(DAY, "09:00")) as taken:
        book(covers[1], bays, bays.low, bays.jora, at(DAY, 9, 30))
    alternatives = list_alternatives(taken)
    assert len(alternatives) == 3
    with refusing("visit.taken", what=OwnWords("Tomas")):
        book(covers[1], bays, bays.tall, bays.tomas, at(DAY, 9, 30))
    with refusing("visit.all_booked", number=first.number):
        book(covers[0], bays, bays.tall, bays.jora, at(DAY, 14))
    assert Appointment.objects.count() == 1 and AppointmentItem.objects.filter(serves=True).count() == 2
    # What was offered can be had.
    slot = alternatives[0]
    other = book(covers[1], bays, Bay.objects.get(pk=slot.bay), User.objects.get(pk=slot.person), slot.starts_at)
    assert other.starts_at == slot.starts_at and other.ready_at == slot.ready_at
    # Half-open: the next begins when the one before has left the bay.
    assert other.starts_at >= first.bay_free_at and other.bay == first.bay
    third = book(covers[2], bays, bays.tall, bays.jora, other.bay_free_at)
    fourth = book(covers[3], bays, bays.low, bays.tomas, other.bay_free_at)
    assert third.starts_at == fourth.starts_at == other.bay_free_at
    assert nothing_to_recompute()


def test_the_database_refuses_what_goes_past_the_services(bays: Bays, covers: list[Cover]) -> None:
    first = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    second = book(covers[1], bays, bays.tall, bays.jora, at(DAY, 9))
    for changes, name in (
        ({"bay": bays.low}, "bay"), ({"person": bays.tomas}, "person"), ({"vehicle": first.vehicle}, "vehicle"),
    ):  # fmt: skip
        with pytest.raises(IntegrityError, match=f"{name}_never_taken_twice"), transaction.atomic():
            Appointment.objects.filter(pk=second.pk).update(**changes)
    # The same change is fine where the first gave its place up, or ends when the second begins.
    Appointment.objects.filter(pk=first.pk).update(status="cancelled", status_reason="test")
    Appointment.objects.filter(pk=second.pk).update(bay=bays.low)
    with pytest.raises(IntegrityError, match="never_taken_twice"), transaction.atomic():
        Appointment.objects.filter(pk=first.pk).update(status="booked")
    Appointment.objects.filter(pk=second.pk).update(
        starts_at=first.ready_at,
        work_ends_at=first.ready_at + timedelta(hours=1),
        bay_free_at=first.ready_at + timedelta(hours=1),
        ready_at=first.ready_at + timedelta(hours=1),
    )
    Appointment.objects.filter(pk=first.pk).update(status="booked")


HOURS = explain(
    "visit.hours.joined",
    some=explain("visit.hours", begins="08:00", ends="12:00"),
    others=explain("visit.hours", begins="12:30", ends="17:00"),
)


@pytest.mark.parametrize(
    ("start", "code", "params"),
    [
        (at(DAY, 7), "visit.site_not_open", {"moment": moment(DAY, "07:00"), "hours": HOURS}),
        (at(DAY, 12, 10), "visit.site_not_open", {"moment": moment(DAY, "12:10")}),
        (at(DAY, 16, 30), "visit.too_long_for_day", {}),
        (at(date(2026, 6, 13), 9), "visit.site_closed", {"day": date(2026, 6, 13)}),
        (at(date(2026, 5, 19), 9), "visit.past", {"moment": moment(date(2026, 5, 19), "09:00")}),
        (at(DAY, 9) + timedelta(seconds=20), "visit.no_whole_minute", {}),
    ],
)
def test_a_wish_that_can_not_be_is_refused_with_the_way_out(
    bays: Bays, covers: list[Cover], start: datetime, code: str, params: dict[str, Param]
) -> None:
    with refusing(code, **params):
        book(covers[0], bays, bays.low, bays.tomas, start)
    assert not Appointment.objects.exists()
    assert book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9)).number.startswith("B")


def test_bay_and_person_must_suit(shop: ShopForTests, bays: Bays, covers: list[Cover]) -> None:
    van = add_due_vehicle(shop, make_vin(9), FIRST, "van")
    with refusing("visit.bay_does_not_suit", why=explain("visit.misfit.height", height_mm=2600, most_mm=2000)):
        book(van, bays, bays.low, bays.tomas, at(DAY, 9))
    with refusing("visit.bay_does_not_suit", why=explain("visit.misfit.no_lift")):
        book(van, bays, bays.floor, bays.tomas, at(DAY, 9))
    with refusing("visit.no_person"):
        book(van, bays, bays.tall, None, at(DAY, 9))
    let_work(person=bays.jora, skills=[], now=NOW, actor=None)
    with refusing("visit.person_not_booked"):
        book(van, bays, bays.tall, bays.jora, at(DAY, 9))
    assert book(van, bays, bays.tall, bays.tomas, at(DAY, 9)).bay == bays.tall
    WorkDuration.objects.all().delete()
    with refusing("visit.no_duration"):
        book(covers[0], bays, bays.low, bays.tomas, at(DAY, 14))
    assert load_durations({}) == 0


def test_who_is_not_certified_for_the_vehicle_is_neither_proposed_nor_booked(
    shop: ShopForTests, bays: Bays, covers: list[Cover]
) -> None:
    cover = covers[0]
    record_fact(
        vehicle=cover.vehicle, kind=FactKind.PROPULSION, day=TODAY, source=FactSource.SEEN_ON_VEHICLE,
        propulsion=Propulsion.BATTERY, now=NOW, actor=None,
    )  # fmt: skip

    def list_proposed() -> set[int | None]:
        slots = propose_slots(vehicle=cover.vehicle, cover=cover, sites=[shop.site], now=NOW, most=9).slots
        return {slot.person for slot in slots}

    assert list_proposed() == set()
    (one,) = propose_many(covers=[cover], now=NOW)
    who_may = explain("visit.who_may", trainings=(Label("high_voltage"),))
    assert one.slot is None and who_may in one.reasons
    certificate = PersonTraining.objects.create(
        person=bays.jora, training="high_voltage", expires_on=DAY - timedelta(days=1), recorded_at=NOW
    )
    with refusing("visit.no_certificate", day=DAY, trainings=(Label("high_voltage"),)) as refused:
        book(cover, bays, bays.low, bays.jora, at(DAY, 9))
    assert list(refused.value.message_dict) == ["person"]
    certificate.expires_on = DAY
    certificate.save()
    assert list_proposed() == {bays.jora.pk}
    (one,) = propose_many(covers=[cover], now=NOW)
    assert one.slot and one.slot.person == bays.jora.pk
    with pytest.raises(ValidationError) as refused:
        book(cover, bays, bays.low, bays.tomas, at(DAY, 9))
    assert list(refused.value.message_dict) == ["person"]
    assert book(cover, bays, bays.low, bays.jora, at(DAY, 9)).person == bays.jora


def test_a_moved_visit_keeps_its_name_and_counts_the_change(bays: Bays, covers: list[Cover]) -> None:
    visit = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    blocker = book(covers[1], bays, bays.tall, bays.jora, at(DAY, 14))
    uid = visit.uid
    with pytest.raises(SlotTakenError) as taken:
        move_visit(
            appointment=visit, bay=bays.tall, person=bays.tomas, starts_at=at(DAY, 14), now=NOW, actor=bays.writer
        )
    assert len(taken.value.alternatives) == 3
    visit.refresh_from_db()
    assert (visit.sequence, visit.starts_at) == (0, at(DAY, 9))
    next_day = DAY + timedelta(days=1)
    why = explain_slot(explain("visit.day.nothing_due"), bay=explain("visit.bay.high_enough", bay=OwnWords("tall")))
    moved = move_visit(
        appointment=visit, bay=bays.tall, person=bays.jora, starts_at=at(next_day, 14), now=NOW, actor=bays.writer,
        seen_sequence=0, why=why,
    )  # fmt: skip
    moved.refresh_from_db()
    assert (moved.uid, moved.sequence, moved.bay, moved.why) == (uid, 1, bays.tall, to_json(why))
    assert CoverState.objects.get(cover=covers[0]).booked_on == next_day and nothing_to_recompute()
    with refusing("visit.changed_meanwhile", moment=moment(next_day, "14:00")):
        move_visit(
            appointment=visit, bay=bays.low, person=bays.tomas, starts_at=at(DAY, 9), now=NOW, actor=bays.writer,
            seen_sequence=0,
        )  # fmt: skip
    # By a quarter of an hour, which overlaps only itself.
    again = move_visit(
        appointment=moved, bay=bays.tall, person=bays.jora, starts_at=at(next_day, 14, 15), now=NOW, actor=None
    )
    assert again.sequence == 2
    cancel_visit(appointment=again, reason="customer is ill", now=NOW, actor=None, seen_sequence=2)
    with refusing("visit.can_not_be.moved", status=Label("cancelled")):
        move_visit(appointment=again, bay=bays.low, person=bays.tomas, starts_at=at(DAY, 9), now=NOW, actor=None)
    # Its place is free for another.
    move_visit(appointment=blocker, bay=bays.tall, person=bays.jora, starts_at=at(next_day, 14), now=NOW, actor=None)


def test_moved_before_its_window_a_visit_serves_the_reinspection_no_more(bays: Bays, covers: list[Cover]) -> None:
    visit = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    opens = DueItem.objects.get(cover=covers[0], kind="reinspection").opens_on
    assert opens == date(2026, 4, 11)
    day_before = at(date(2026, 4, 10), 9)
    touch_up = DueItem.objects.get(cover=covers[0], kind="touch_up")
    march = at(date(2026, 3, 30), 9)
    move_visit(appointment=visit, bay=bays.low, person=bays.tomas, starts_at=day_before, now=march, actor=None)
    assert set(visit.items.filter(serves=True).values_list("due_key", flat=True)) == {touch_up.key}
    move_visit(appointment=visit, bay=bays.low, person=bays.tomas, starts_at=at(DAY, 9), now=march, actor=None)
    assert visit.items.filter(serves=True).count() == 2


def test_giving_up_needs_a_word_and_no_show_a_visit_that_should_have_begun(bays: Bays, covers: list[Cover]) -> None:
    visit = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    with refusing("visit.no_reason"):
        cancel_visit(appointment=visit, reason=" ", now=NOW, actor=None)
    with refusing("visit.not_begun", number=visit.number):
        mark_no_show(appointment=visit, reason="phoned twice", now=NOW, actor=None)
    assert statuses(covers[0]) == {"booked"}
    after = at(DAY, 9, 30)
    gone = mark_no_show(appointment=visit, reason="phoned twice", now=after, actor=bays.writer)
    assert (gone.status, gone.sequence) == ("no_show", 1)
    assert statuses(covers[0]) == {"open"}
    assert book(covers[1], bays, bays.low, bays.tomas, at(DAY, 9)).holds_its_place


def test_walk_in_takes_the_first_time_today_or_offers_three(bays: Bays, covers: list[Cover]) -> None:
    now = at(DAY, 10, 7)
    visit = walk_in(vehicle=covers[0].vehicle, cover=covers[0], site=bays.low.site, now=now, actor=bays.writer)
    assert visit.starts_at == at(DAY, 10, 15) and visit.booked_by == "walk_in"
    late = at(DAY, 16, 30)
    with refusing("visit.nothing_free_today") as taken:
        walk_in(vehicle=covers[1].vehicle, cover=covers[1], site=bays.low.site, now=late, actor=bays.writer)
    assert list_alternatives(taken)[0].day == DAY + timedelta(days=1)
    assert Appointment.objects.count() == 1


def test_running_late_moves_the_visit_or_names_what_is_in_the_way(bays: Bays, covers: list[Cover]) -> None:
    first = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    length = first.work_ends_at - first.starts_at
    second = book(covers[1], bays, bays.low, bays.jora, first.bay_free_at + timedelta(minutes=30))
    late = run_late(appointment=first, minutes=30, now=at(DAY, 9), actor=None)
    assert late.starts_at == at(DAY, 9, 30) and late.work_ends_at - late.starts_at == length and late.sequence == 1
    with refusing("visit.in_the_way", number=second.number):
        run_late(appointment=first, minutes=15, now=at(DAY, 9), actor=None)
    with refusing("visit.no_minutes_late", minutes=0, most=720):
        run_late(appointment=first, minutes=0, now=at(DAY, 9), actor=None)
    cancel_visit(appointment=second, reason="ill", now=NOW, actor=None)
    begun = begin_visit(appointment=first, now=at(DAY, 9, 30), actor=bays.tomas)
    longer = run_late(appointment=begun, minutes=15, now=at(DAY, 10), actor=None)
    assert longer.starts_at == at(DAY, 9, 30) and longer.work_ends_at - longer.starts_at == length + timedelta(
        minutes=15
    )


def test_running_late_is_told_once_and_not_past_closing(bays: Bays, covers: list[Cover]) -> None:
    visit = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    late = run_late(appointment=visit, minutes=30, now=at(DAY, 9), actor=None, seen_sequence=0)
    assert late.starts_at == at(DAY, 9, 30)
    with refusing("visit.changed_meanwhile"):
        run_late(appointment=visit, minutes=30, now=at(DAY, 9), actor=None, seen_sequence=0)
    assert Appointment.objects.get(pk=visit.pk).starts_at == at(DAY, 9, 30)
    with refusing("visit.ends_after_closing", closes="17:00") as refused:
        run_late(appointment=visit, minutes=7 * 60, now=at(DAY, 9), actor=None, seen_sequence=1)
    assert list_alternatives(refused) and Appointment.objects.get(pk=visit.pk).starts_at == at(DAY, 9, 30)
    # Once begun, what runs past closing is a fact that is written down.
    begin_visit(appointment=visit, now=at(DAY, 9, 30), actor=bays.tomas)
    longer = run_late(appointment=visit, minutes=7 * 60, now=at(DAY, 16), actor=None)
    assert longer.work_ends_at > at(DAY, 17)


def test_a_second_visit_for_nothing_is_refused_but_not_another_kind(bays: Bays, covers: list[Cover]) -> None:
    def come(visit: str, hour: int) -> Appointment:
        return book_visit(
            vehicle=covers[0].vehicle, bay=bays.low, person=bays.tomas, starts_at=at(DAY, hour), now=NOW, actor=None,
            visit=VisitKind(visit),
        )  # fmt: skip

    first = come("look_at_rust", 9)
    with refusing("visit.comes_already", number=first.number, moment=moment(DAY, "09:00")):
        come("look_at_rust", 13)
    assert come("annual_touch_up", 13).visit == "annual_touch_up" and Appointment.objects.count() == 2
    cancel_visit(appointment=first, reason="not wanted", now=NOW, actor=None)
    assert come("look_at_rust", 9).status == "booked"


def test_done_gives_the_rest_of_the_time_back_and_leaves_what_is_due_to_the_record(
    bays: Bays, covers: list[Cover]
) -> None:
    visit = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    with refusing("visit.another_day", day=DAY):
        begin_visit(appointment=visit, now=at(DAY - timedelta(days=1), 9), actor=bays.tomas)
    begin_visit(appointment=visit, now=at(DAY, 9, 5), actor=bays.tomas)
    done = finish_visit(appointment=visit, now=at(DAY, 9, 40), actor=bays.tomas)
    assert (done.status, done.work_ends_at) == ("done", at(DAY, 9, 40))
    assert statuses(covers[0]) == {"open"}  # nothing was recorded on the vehicle
    assert book(covers[1], bays, bays.low, bays.tomas, at(DAY, 9, 45)).starts_at == at(DAY, 9, 45)
    with refusing("visit.can_not_be.begun", status=Label("done")):
        begin_visit(appointment=visit, now=at(DAY, 10), actor=bays.tomas)


def test_done_early_is_ready_once_the_film_has_stood_and_the_site_is_open(bays: Bays, covers: list[Cover]) -> None:
    visit = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    begin_visit(appointment=visit, now=at(DAY, 9), actor=bays.tomas)
    done = finish_visit(appointment=visit, now=at(DAY, 9, 40), actor=bays.tomas)
    assert (done.bay_free_at, done.ready_at) == (at(DAY, 9, 40), at(DAY, 10, 10))
    # Half an hour of standing ends in the break at noon, so it can be fetched when the site opens again.
    noon = book(covers[1], bays, bays.low, bays.tomas, at(DAY, 11, 15))
    done = finish_visit(appointment=noon, now=at(DAY, 11, 45), actor=bays.tomas)
    assert (done.work_ends_at, done.ready_at) == (at(DAY, 11, 45), at(DAY, 12, 30))
    # Never before somebody said that it is over.
    late = book(covers[2], bays, bays.low, bays.tomas, at(DAY, 13))
    planned = late.work_ends_at, late.ready_at
    done = finish_visit(appointment=late, now=at(DAY, 16, 30), actor=bays.tomas)
    assert done.work_ends_at == planned[0] and planned[1] < at(DAY, 16, 30) == done.ready_at


def test_a_visit_that_was_over_before_its_time_is_on_record_when_it_truly_was(bays: Bays, covers: list[Cover]) -> None:
    visit = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 10))
    begin_visit(appointment=visit, now=at(DAY, 8, 20), actor=bays.tomas)
    done = finish_visit(appointment=visit, now=at(DAY, 9, 10), actor=bays.tomas)
    assert (done.starts_at, done.work_ends_at, done.ready_at) == (at(DAY, 8, 20), at(DAY, 9, 10), at(DAY, 9, 40))
    # Another visit had the bay until 11:00, as far as the record says; this one can't have stood there too.
    first = book(covers[1], bays, bays.tall, bays.jora, at(DAY, 9, 30))
    second = book(covers[2], bays, bays.tall, bays.tomas, first.bay_free_at + timedelta(hours=1))
    begin_visit(appointment=second, now=first.bay_free_at - timedelta(minutes=20), actor=bays.tomas)
    done = finish_visit(appointment=second, now=second.starts_at - timedelta(minutes=5), actor=bays.tomas)
    assert (done.starts_at, done.work_ends_at) == (first.bay_free_at, second.starts_at - timedelta(minutes=5))
    # Where no true moment is left, the record keeps the shortest stay that it can hold.
    third = book(covers[3], bays, bays.low, bays.jora, at(DAY, 14))
    begin_visit(appointment=third, now=at(DAY, 13), actor=bays.jora)
    done = finish_visit(appointment=third, now=at(DAY, 13), actor=bays.jora)
    assert (done.starts_at, done.work_ends_at) == (at(DAY, 13), at(DAY, 13, 1))


def test_a_half_that_was_for_washing_needs_no_standing_and_keeps_out_of_the_next(
    bays: Bays, covers: list[Cover]
) -> None:
    visit = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    begin_visit(appointment=visit, now=at(DAY, 9), actor=bays.tomas)
    first, second = split_visit(
        appointment=visit, reason="underside wet", first_part_minutes=60, bay=bays.tall, person=bays.jora,
        starts_at=at(DAY, 10, 30), now=at(DAY, 9, 5), actor=bays.tomas,
    )  # fmt: skip
    done = finish_visit(appointment=first, now=at(DAY, 11), actor=bays.tomas)
    assert (done.work_ends_at, done.ready_at) == (at(DAY, 10), second.starts_at)


def test_a_wet_vehicle_is_washed_now_and_sprayed_later_and_the_record_says_why(bays: Bays, covers: list[Cover]) -> None:
    visit = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    served = set(visit.items.values_list("due_key", flat=True))
    begin_visit(appointment=visit, now=at(DAY, 9), actor=bays.tomas)
    blocker = book(covers[1], bays, bays.low, bays.tomas, at(DAY, 14))

    def split(hour: int, reason: str = "underside wet through", minutes: int = 30) -> tuple[Appointment, Appointment]:
        return split_visit(
            appointment=visit, reason=reason, first_part_minutes=minutes, bay=bays.low, person=bays.tomas,
            starts_at=at(DAY, hour), now=at(DAY, 9, 5), actor=bays.tomas,
        )  # fmt: skip

    with refusing("visit.no_reason_to_split"):
        split(15, reason="")
    with refusing("visit.no_first_part", minutes=500):
        split(15, minutes=500)
    with pytest.raises(SlotTakenError):
        split(14)
    visit.refresh_from_db()
    assert visit.split_reason == "" and set(visit.items.filter(serves=True).values_list("due_key", flat=True)) == served
    cancel_visit(appointment=blocker, reason="test", now=NOW, actor=None)
    first, second = split(14)
    assert first.work_ends_at == at(DAY, 9, 30) and second.splits == first and second.split_reason == first.split_reason
    assert set(second.items.filter(serves=True).values_list("due_key", flat=True)) == served
    assert not first.items.filter(serves=True).exists() and statuses(covers[0]) == {"booked"}
    assert nothing_to_recompute()


def test_closures_and_absences_say_what_has_to_be_moved_and_are_booked_around(bays: Bays, covers: list[Cover]) -> None:
    visit = book(covers[0], bays, bays.low, bays.tomas, at(DAY, 9))
    with refusing("bay.ends_before_it_starts"):
        close_bay(bay=bays.low, starts_at=at(DAY, 12), ends_at=at(DAY, 8), reason="x", now=NOW, actor=None)
    moved = close_bay(
        bay=bays.low, starts_at=at(DAY, 8), ends_at=at(DAY, 12), reason="lift examination", now=NOW, actor=None
    )
    assert moved == [visit]
    with refusing("visit.bay_closed", until=moment(DAY, "12:00"), reason=OwnWords("lift examination")):
        book(covers[1], bays, bays.low, bays.jora, at(DAY, 10, 45))
    assert note_absence(person=bays.tomas, starts_at=at(DAY, 8), ends_at=at(DAY, 17), now=NOW, actor=None) == [visit]
    proposed = propose_slots(
        vehicle=covers[1].vehicle, cover=covers[1], sites=[bays.low.site], now=NOW, from_moment=at(DAY, 8), until=DAY
    )
    assert proposed.slots and all(
        slot.person == bays.jora.pk and (slot.bay != bays.low.pk or slot.starts_at >= at(DAY, 12))
        for slot in proposed.slots
    )


def test_proposals_ask_a_constant_number_of_queries(
    bays: Bays, covers: list[Cover], django_assert_max_num_queries: object
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def count() -> int:
        with CaptureQueriesContext(connection) as asked:
            propose_slots(vehicle=covers[3].vehicle, cover=covers[3], sites=[bays.low.site], now=NOW)
        return len(asked)

    before = count()
    for number, cover in enumerate(covers[:3]):
        book(cover, bays, bays.low, bays.tomas, at(DAY + timedelta(days=number), 9))
    assert count() == before
