"""One visit at the desk: what is done to it by each role, and what stands in the database after each."""

import zoneinfo
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from freezegun import freeze_time

from desk.demo.load import DemoShop
from scheduling.booking.finding import propose_slots
from scheduling.booking.rules.slots import explain_slot
from scheduling.booking.services import book_visit
from scheduling.enums import UsualReason
from scheduling.models import Appointment, AppointmentStatus, Bay, Cover, CoverState
from tests.conftest import NOW
from tests.demo_records import load_demo
from tests.desk.test_booking_pages import read_slots
from tests.desk.test_pages import find_vin, log_in
from treatments.models import Event, User
from treatments.rules.explanation import explain
from treatments.shared.labels import label

ZONE = zoneinfo.ZoneInfo("America/New_York")


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    with freeze_time(NOW):
        yield load_demo(tmp_path, NOW)


def book(demo: DemoShop, key: str, day: int, hour: int, minute: int = 0, bay: str = "tall-lift") -> Appointment:
    """Book a due vehicle of the demo at a time of May 2026 on the site's clock, with the first person free."""
    cover = Cover.objects.select_related("vehicle", "site").get(vehicle__vin=find_vin(demo, key))
    start = datetime(2026, 5, day, hour, minute, tzinfo=ZONE)
    taken = Appointment.objects.filter(starts_at__lt=start + timedelta(hours=3), work_ends_at__gt=start)
    free = User.objects.filter(username__in=["lift", "spray"]).exclude(appointments__in=taken)
    return book_visit(
        vehicle=cover.vehicle, cover=cover, bay=Bay.objects.select_related("site").get(code=bay), person=free.first(),
        starts_at=start, now=NOW, actor=User.objects.get(username="writer"),
        why=explain_slot(explain("visit.day.nothing_due")),
    )  # fmt: skip


def test_a_visit_shows_all_of_it_in_the_time_of_its_site(demo: DemoShop) -> None:
    visit = book(demo, "overdue", 21, 8)
    page = log_in("writer").get(f"/visits/{visit.number}/").content.decode()
    told = ("Thursday 21 May 2026", "08:00", "Tall lift", "Nothing is due.", "grace until", "Ines Calder")
    for words in told:
        assert words in page, words
    assert log_in("writer").get("/visits/B999999-1/").status_code == 404
    assert log_in("dealer").get(f"/visits/{visit.number}/").status_code == 403


def test_a_visit_begins_runs_late_and_is_done(demo: DemoShop) -> None:
    client, visit = log_in("lift"), book(demo, "overdue", 20, 11, 15)
    ready = visit.ready_at
    late = client.post(f"/visits/{visit.number}/do/late/", {"minutes": "20"})
    assert late.headers["Location"].endswith("?told=late")
    visit.refresh_from_db()
    assert visit.starts_at.astimezone(ZONE).strftime("%H:%M") == "11:35"
    assert visit.ready_at == ready + timedelta(minutes=20)
    for minutes in ("0", "-5", "99999", "soon", ""):
        refused = client.post(f"/visits/{visit.number}/do/late/", {"minutes": minutes})
        assert refused.status_code == 400 and 'href="#id_minutes"' in refused.content.decode(), minutes
    assert client.post(f"/visits/{visit.number}/do/begin/").status_code == 302
    visit.refresh_from_db()
    assert visit.status == AppointmentStatus.IN_THE_BAY
    twice = client.post(f"/visits/{visit.number}/do/begin/")
    assert twice.status_code == 400 and "is marked &#39;in the bay&#39; and can" in twice.content.decode()
    with freeze_time("2026-05-20 17:00"):
        assert client.post(f"/visits/{visit.number}/do/finish/").status_code == 302
    visit.refresh_from_db()
    assert visit.status == AppointmentStatus.DONE
    page = client.get(f"/visits/{visit.number}/").content.decode()
    for words in ("<b>booked</b>", "<b>moved</b>", "<b>begun</b>", "<b>done</b>", "Tomas Rill"):
        assert words in page, words
    assert client.get(f"/visits/{visit.number}/do/finish/").status_code == 405
    assert client.post(f"/visits/{visit.number}/do/nonsense/").status_code == 404


def test_running_late_into_the_next_visit_is_refused_with_times_to_move_to(demo: DemoShop) -> None:
    first, second = book(demo, "overdue", 21, 8), book(demo, "in-grace", 21, 13, 0)
    client = log_in("writer")
    refused = client.post(f"/visits/{first.number}/do/late/", {"minutes": "300"})
    shown = refused.content.decode()
    assert refused.status_code == 400 and f"Visit {second.number} at 13:00 is in the way" in shown
    slots = read_slots(shown)
    assert len(slots) == 3
    moved = client.post(f"/visits/{first.number}/move/", {"slot": slots[0], "sequence": first.sequence})
    assert moved.headers["Location"] == f"/visits/{first.number}/?told=moved"
    before = first.starts_at
    first.refresh_from_db()
    assert first.starts_at >= before + timedelta(minutes=300)


def test_a_visit_is_given_up_only_with_a_reason(demo: DemoShop) -> None:
    client = log_in("writer")
    cancelled, missed = book(demo, "overdue", 21, 8), book(demo, "in-grace", 20, 11, 15)
    for visit, action, reason in (
        (cancelled, "cancel", UsualReason.WEATHER), (missed, "no-show", UsualReason.NOBODY_ANSWERED),
    ):  # fmt: skip
        with freeze_time("2026-05-20 16:00"):
            empty = client.post(f"/visits/{visit.number}/do/{action}/", {})
            assert empty.status_code == 400 and "Say why, in a few words" in empty.content.decode()
            assert client.post(f"/visits/{visit.number}/do/{action}/", {f"{action}-usual": reason}).status_code == 302
        visit.refresh_from_db()
        assert visit.status_reason == reason
        assert CoverState.objects.get(cover=visit.cover).booked_on is None
        page = client.get(f"/visits/{visit.number}/").content.decode()
        assert label(reason) in page and f"/visits/{visit.number}/do/" not in page
    early = book(demo, "overdue", 22, 8)
    refused = client.post(f"/visits/{early.number}/do/no-show/", {"no-show-reason": "not seen"})
    assert refused.status_code == 400 and "has not begun yet; cancel it instead" in refused.content.decode()


def test_the_applicator_may_work_on_a_visit_but_not_move_or_cancel_it(demo: DemoShop) -> None:
    client, visit = log_in("lift"), book(demo, "overdue", 20, 11, 15)
    page = client.get(f"/visits/{visit.number}/").content.decode()
    assert "Arrived dirty or wet" in page and "Cancel the visit" not in page and ">Move<" not in page
    assert client.get(f"/visits/{visit.number}/move/").status_code == 403
    assert client.post(f"/visits/{visit.number}/do/cancel/", {"cancel-reason": "x"}).status_code == 403
    assert client.get(f"/visits/{visit.number}/split/").status_code == 200
    visit.refresh_from_db()
    assert visit.status == AppointmentStatus.BOOKED


def test_a_visit_is_moved_by_a_button_or_to_a_named_time_and_not_over_another_change(demo: DemoShop) -> None:
    client, visit = log_in("writer"), book(demo, "overdue", 21, 8)
    other = book(demo, "in-grace", 21, 13, 0)
    page = client.get(f"/visits/{visit.number}/move/").content.decode()
    assert len(read_slots(page)) == 5
    named = {"day": "2026-05-22", "time": "09:30", "bay": "", "person": "", "sequence": visit.sequence}
    assert client.post(f"/visits/{visit.number}/move/", named).status_code == 302
    visit.refresh_from_db()
    assert visit.starts_at.astimezone(ZONE).strftime("%d %H:%M") == "22 09:30"
    # The other browser still shows it where it was.
    stale = client.post(f"/visits/{visit.number}/move/", {"slot": read_slots(page)[0], "sequence": 0})
    assert stale.status_code == 400 and "was changed meanwhile" in stale.content.decode()
    taken = {**named, "day": "2026-05-21", "time": "13:15", "bay": other.bay_id, "sequence": visit.sequence}
    refused = client.post(f"/visits/{visit.number}/move/", taken)
    shown = refused.content.decode()
    assert refused.status_code == 400 and "Tall lift is taken from" in shown
    assert 'value="13:15"' in shown
    assert len(read_slots(shown[shown.index('id="errors"') : shown.index("<h1>")])) == 3
    visit.refresh_from_db()
    assert visit.starts_at.astimezone(ZONE).strftime("%d %H:%M") == "22 09:30"


def test_a_visit_that_arrives_wet_is_split_and_the_record_says_why(demo: DemoShop) -> None:
    client, visit = log_in("lift"), book(demo, "overdue", 20, 11, 15)
    page = client.get(f"/visits/{visit.number}/split/").content.decode()
    slots = read_slots(page)
    given = {"usual": UsualReason.UNDERSIDE_WET.value, "first_part_minutes": "45", "slot": slots[-1]}
    for wrong, told in (
        ({**given, "usual": ""}, "Say what was found"),
        ({**given, "first_part_minutes": "900"}, "is not between 1 and"),
        ({**given, "slot": ""}, "That time could not be read"),
    ):
        refused = client.post(f"/visits/{visit.number}/split/", wrong)
        assert refused.status_code == 400 and told in refused.content.decode(), told
        assert Appointment.objects.count() == 1
    assert client.post(f"/visits/{visit.number}/split/", given).headers["Location"].endswith("?told=split")
    first, second = Appointment.objects.order_by("starts_at")
    assert (first.pk, second.splits_id, second.split_reason) == (visit.pk, visit.pk, UsualReason.UNDERSIDE_WET)
    assert first.work_ends_at - first.starts_at == timedelta(minutes=45)
    shown = client.get(f"/visits/{first.number}/").content.decode()
    assert f"Visit {second.number}" in shown and label(UsualReason.UNDERSIDE_WET) in shown
    assert Event.objects.filter(kind="appointment.split", subject_id=str(first.pk)).count() == 1


def split(visit: Appointment) -> Appointment:
    """Split a visit at the desk and return the part in which the work goes on."""
    client = log_in("lift")
    slots = read_slots(client.get(f"/visits/{visit.number}/split/").content.decode())
    client.post(
        f"/visits/{visit.number}/split/",
        {"usual": UsualReason.UNDERSIDE_WET.value, "first_part_minutes": "45", "slot": slots[-1]},
    )
    return Appointment.objects.get(splits=visit)


def test_whoever_cancels_one_part_of_a_split_visit_is_told_of_the_part_that_stands(demo: DemoShop) -> None:
    client, first = log_in("owner"), book(demo, "overdue", 20, 11, 15)
    second, anew = split(first), f"/vehicles/{first.vehicle.vin}/book/"
    given = {"cancel-usual": UsualReason.WEATHER.value}

    def cancel(visit: Appointment) -> str:
        told = client.post(f"/visits/{visit.number}/do/cancel/", given).headers["Location"]
        return client.get(told).content.decode().partition("<h1>")[0]

    told = cancel(first)
    assert "The work is still booked for" in told and f"/visits/{second.number}/" in told
    assert anew not in told and "is due again" not in told
    # The other way round what is due is booked no more, and the washing still is.
    Appointment.objects.filter(pk=first.pk).update(status=AppointmentStatus.BOOKED, status_reason="")
    told = cancel(second)
    assert "The first part, for washing, still stands" in told and f"/visits/{first.number}/" in told
    assert anew in told and "is due again" in told
    # With both parts gone there is nothing else to tell.
    told = cancel(first)
    assert anew in told and "still" not in told


def test_nothing_is_recorded_from_a_visit_that_was_given_up(demo: DemoShop) -> None:
    client, visit = log_in("owner"), book(demo, "overdue", 20, 11, 15)
    ways_on = (f"/vehicles/{visit.vehicle.vin}/treat/", f"/vehicles/{visit.vehicle.vin}/job-sheet.pdf")
    shown = client.get(f"/visits/{visit.number}/").content.decode()
    assert all(way in shown for way in ways_on)
    client.post(f"/visits/{visit.number}/do/cancel/", {"cancel-usual": UsualReason.WEATHER.value})
    shown = client.get(f"/visits/{visit.number}/").content.decode()
    assert not any(way in shown for way in ways_on)


def test_a_visit_asks_a_constant_number_of_queries(demo: DemoShop, django_assert_num_queries) -> None:
    client, visit = log_in("writer"), book(demo, "overdue", 21, 8)
    with django_assert_num_queries(11):
        client.get(f"/visits/{visit.number}/")
    for minutes in (5, 5, 5):
        client.post(f"/visits/{visit.number}/do/late/", {"minutes": minutes})
    with django_assert_num_queries(11):
        client.get(f"/visits/{visit.number}/")
    assert propose_slots(vehicle=visit.vehicle, cover=visit.cover, sites=[visit.site], now=NOW, moved=visit).slots, (
        "the visit can still be moved"
    )
