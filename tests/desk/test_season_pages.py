"""The season plan through the desk: drafted, accepted in part, planned anew, and what was promised stays."""

import re
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from freezegun import freeze_time

from scheduling import tasks as scheduling_tasks
from scheduling.booking.services import book_visit
from scheduling.enums import SeasonStep
from scheduling.index.service import recompute
from scheduling.models import Appointment, BookedBy, Cover, CustomerWish, DueItem, SeasonPlan, SeasonProposal
from scheduling.season import services as planning_services
from scheduling.season.queries import find_newest_plan, find_plan_to_come, read_season
from scheduling.season.rules.hours import QUARTER_MINUTES
from scheduling.season.rules.season import Season
from scheduling.season.services import (
    accept_proposals,
    ask_for_booking,
    ask_for_season_plan,
    book_what_was_asked_for,
    draft_season_plan,
    list_waiting_plans,
    work_season_plan_out,
)
from tests.conftest import NOW, TODAY, ShopForTests
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, at, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.enums import FactKind, FactSource, Propulsion
from treatments.models import Event, PersonTraining
from treatments.rules.explanation import explain, to_json
from treatments.vehicles.facts import record_fact

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 5, 21), date(2026, 8, 31)


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def covers(shop: ShopForTests, bays: Bays) -> list[Cover]:
    found = [
        add_due_vehicle(shop, make_vin(number), date(2025, 6, 1) + timedelta(days=number)) for number in range(1, 7)
    ]
    recompute(as_of=TODAY, now=NOW)
    return found


def draft(bays: Bays) -> SeasonPlan:
    return draft_season_plan(sites=[bays.low.site], first=FIRST, last=LAST, now=NOW, actor=bays.writer)


def open_pages(bays: Bays) -> Client:
    client = Client()
    client.force_login(bays.writer)
    return client


def count_free_minutes(season: Season, day: date) -> int:
    people = season.sites[0].people
    return sum((one.worked.get(day, 0) & ~one.taken.get(day, 0)).bit_count() * QUARTER_MINUTES for one in people)


def test_a_season_is_read_with_wishes_and_when_covers_stop(bays: Bays, covers: list[Cover]) -> None:
    owner = covers[0].vehicle.ownerships.get().customer
    CustomerWish.objects.create(customer=owner, weekdays="24", part_of_day="afternoon")
    season = read_season([bays.low.site], FIRST, LAST).season
    assert [visit.key for visit in season.visits] == [str(cover.pk) for cover in covers]
    first = season.visits[0]
    item = DueItem.objects.get(cover=covers[0], kind="reinspection")
    assert (first.opens_on, first.lapses_after, first.weekdays) == (item.opens_on, item.grace_until, frozenset({2, 4}))
    assert [visit.part_of_day for visit in season.visits[:2]] == ["afternoon", ""]
    day = date(2026, 5, 25)  # Memorial Day; the site is closed
    assert day not in season.sites[0].list_days()
    assert count_free_minutes(season, date(2026, 5, 26)) == 2 * 510
    with CaptureQueriesContext(connection) as few:
        read_season([bays.low.site], FIRST, LAST)
    book_visit(
        vehicle=covers[5].vehicle, bay=bays.low, person=bays.tomas, starts_at=at(date(2026, 5, 26), 9), now=NOW,
        actor=None, cover=covers[5],
    )  # fmt: skip
    with CaptureQueriesContext(connection) as asked:
        again = read_season([bays.low.site], FIRST, LAST).season
    assert len(asked) == len(few)
    assert str(covers[5].pk) not in {visit.key for visit in again.visits}
    assert count_free_minutes(again, date(2026, 5, 26)) < 2 * 510


def test_accepting_a_part_books_it_and_a_new_plan_keeps_what_was_promised(bays: Bays, covers: list[Cover]) -> None:
    plan = draft(bays)
    assert plan.proposals.count() == 6 and not Appointment.objects.exists()
    assert plan.totals["plan"]["lapses"] == 0
    two = list(plan.proposals.order_by("day", "pk")[:2])
    done = accept_proposals(proposals=two, now=NOW, actor=bays.writer)
    assert [one.refusal for one in done] == [None, None]
    booked = {visit.cover_id: (visit.bay_id, visit.starts_at) for visit in Appointment.objects.all()}
    # To the minute, bay and person that were planned.
    for one in two:
        visit = Appointment.objects.get(cover=one.cover)
        assert (visit.bay_id, visit.person_id) == (one.bay_id, one.person_id)
        assert visit.starts_at == at(one.day, one.begins_at.hour, one.begins_at.minute)
    assert {visit.booked_by for visit in Appointment.objects.all()} == {"season_plan"}
    assert Event.objects.filter(kind="appointment.booked").count() == 2  # the room above tells the customers
    # A second press books nothing twice.
    again = accept_proposals(proposals=two, now=NOW, actor=bays.writer)
    assert all(one.refusal for one in again) and Appointment.objects.count() == 2
    newer = draft(bays)
    assert newer.proposals.count() == 4
    assert not newer.proposals.filter(cover__in=booked).exists()
    accept_proposals(proposals=list(newer.proposals.all()), now=NOW, actor=bays.writer)
    assert Appointment.objects.count() == 6
    kept = {visit.cover_id: (visit.bay_id, visit.starts_at) for visit in Appointment.objects.filter(cover__in=booked)}
    assert kept == booked
    assert set(DueItem.objects.filter(kind="reinspection").values_list("status", flat=True)) == {"booked"}


def test_a_vehicle_that_needs_a_certificate_is_planned_for_who_holds_it_and_can_be_booked(
    bays: Bays, covers: list[Cover]
) -> None:
    electric = covers[:2]
    for cover in electric:
        record_fact(
            vehicle=cover.vehicle, kind=FactKind.PROPULSION, day=TODAY, source=FactSource.SEEN_ON_VEHICLE,
            propulsion=Propulsion.BATTERY, now=NOW, actor=None,
        )  # fmt: skip

    def list_people() -> set[int | None]:
        return set(draft(bays).proposals.filter(cover__in=electric).values_list("person", flat=True))

    assert list_people() == {None}
    certificate = PersonTraining.objects.create(
        person=bays.jora, training="high_voltage", expires_on=FIRST - timedelta(days=1), recorded_at=NOW
    )
    assert list_people() == {None}
    certificate.expires_on = LAST
    certificate.save()
    assert list_people() == {bays.jora.pk}
    proposals = list(SeasonPlan.objects.first().proposals.filter(cover__in=electric))  # type: ignore[union-attr]
    done = accept_proposals(proposals=proposals, now=NOW, actor=bays.writer)
    assert [one.refusal for one in done] == [None, None]
    booked = Appointment.objects.filter(cover__in=electric)
    # As planned, not at another time of the day because the planned one was refused.
    assert {(visit.cover_id, visit.person_id, visit.starts_at) for visit in booked} == {
        (one.cover_id, bays.jora.pk, at(one.day, one.begins_at.hour, one.begins_at.minute)) for one in proposals
    }


def test_a_day_that_filled_meanwhile_is_refused_with_its_reason_and_the_others_are_booked(
    bays: Bays, covers: list[Cover]
) -> None:
    plan = draft(bays)
    proposals = list(plan.proposals.order_by("day", "pk"))
    SeasonProposal.objects.filter(pk=proposals[0].pk).update(day=date(2026, 6, 13))  # a Saturday
    done = accept_proposals(proposals=list(plan.proposals.order_by("-day", "pk")), now=NOW, actor=bays.writer)
    refused = [one for one in done if one.refusal]
    assert [one.proposal.pk for one in refused] == [proposals[0].pk]
    assert refused[0].refusal == explain("season.no_bay_any_more", day=date(2026, 6, 13))
    assert SeasonProposal.objects.get(pk=proposals[0].pk).status == "refused" and Appointment.objects.count() == 5


def test_what_a_worker_booked_before_it_died_is_not_booked_or_refused_again(bays: Bays, covers: list[Cover]) -> None:
    two = list(draft(bays).proposals.order_by("day", "pk")[:2])
    assert ask_for_booking(proposals=two, now=NOW, actor=bays.writer) == 2
    assert ask_for_booking(proposals=two, now=NOW, actor=bays.writer) == 0
    # Two workers at once: what the other has taken is left to it until its lease is over.
    SeasonProposal.objects.filter(pk=two[0].pk).update(leased_until=NOW + timedelta(minutes=1))
    assert book_what_was_asked_for(clock=lambda: NOW) == 1
    assert set(SeasonProposal.objects.filter(asked_at=NOW).values_list("status", flat=True)) == {
        "being_booked",
        "accepted",
    }
    one = SeasonProposal.objects.get(pk=two[0].pk)
    begins = at(one.day, one.begins_at.hour, one.begins_at.minute)
    booked = book_visit(
        vehicle=one.cover.vehicle, bay=one.bay, person=one.person, starts_at=begins, now=NOW, actor=bays.writer,
        cover=one.cover, booked_by=BookedBy.SEASON_PLAN,
    )  # fmt: skip
    assert book_what_was_asked_for(clock=lambda: NOW + timedelta(minutes=2)) == 1
    one.refresh_from_db()
    assert (one.status, one.appointment) == ("accepted", booked) and Appointment.objects.count() == 2


@pytest.mark.parametrize(
    ("first", "last", "says"),
    [(date(2026, 5, 1), LAST, "is past"), (LAST, FIRST, "not between"), (FIRST, date(2028, 1, 1), "not between")],
)
def test_a_season_that_can_not_be_is_refused(
    bays: Bays, covers: list[Cover], first: date, last: date, says: str
) -> None:
    with pytest.raises(ValidationError, match=says):
        draft_season_plan(sites=[bays.low.site], first=first, last=last, now=NOW, actor=None)
    assert not SeasonPlan.objects.exists()
    bays.low.site.bays.update(in_use=False)
    with pytest.raises(ValidationError, match="No bay is on record"):
        draft(bays)


@freeze_time(NOW)
def test_the_pages_draft_count_and_book(
    bays: Bays, covers: list[Cover], tasks_run_here: None, django_capture_on_commit_callbacks: Any
) -> None:
    client = open_pages(bays)
    assert b"No plan yet" in client.get("/season/").content
    site = bays.low.site.code
    bad = client.post("/season/", {"first_day": "2026-05-01", "last_day": "2026-08-31", "sites": [site]})
    assert b"is past; a season begins today" in bad.content and not SeasonPlan.objects.exists()
    assert b'value="2026-08-31"' in bad.content
    asked_for = {"first_day": "2026-05-21", "last_day": "2026-08-31", "sites": [site]}
    with django_capture_on_commit_callbacks(execute=True) as tasks:
        made = client.post("/season/", asked_for)
        assert made.status_code == 302 and SeasonPlan.objects.count() == 1
        assert made.headers["Location"] == "/season/progress/"
        page = client.get("/season/progress/").content.decode()
        assert 'http-equiv="refresh"' in page and 'value="0"' in page
        assert 'http-equiv="refresh"' not in client.get("/season/progress/?still=1").content.decode()
        SeasonPlan.objects.update(step=SeasonStep.PLANNING)
        assert f'value="{SeasonStep.PLANNING}"' in client.get("/season/progress/").content.decode()
        waits = client.get("/season/").content.decode()
        assert "is being made" in waits and "No plan yet" in waits
        again = client.post("/season/", asked_for)
        assert b"A plan is being made already" in again.content and SeasonPlan.objects.count() == 1
    # Asked in vain, nobody is nudged.
    assert sum(scheduling_tasks.work_season_plan_out in task.args for task in tasks if isinstance(task, partial)) == 1
    assert client.get("/season/progress/").headers["Location"] == "/season/"
    led = client.get("/season/progress/", headers={"HX-Request": "true"})
    assert led.headers["HX-Redirect"] == "/season/"
    assert "The plan is made." in client.get("/season/", headers={"HX-Request": "true"}).content.decode()
    page = client.get("/season/").content.decode()
    assert "First come, first served" in page and "Accept what is ticked" in page
    keys = re.findall(r'name="proposal" value="(\d+)"', page)
    assert keys
    asked = client.post("/season/accept/", {"proposal": keys, "week": "2026-05-18"}).content.decode()
    assert "Nothing is booked yet." in asked and not Appointment.objects.exists()
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post("/season/accept/", {"proposal": keys, "week": "2026-05-18", "book": "yes"})
        booking = answer.headers["Location"]
        assert not Appointment.objects.exists() and f'max="{len(keys)}"' in client.get(booking).content.decode()
        # A second press asks for nothing twice.
        client.post("/season/accept/", {"proposal": keys, "week": "2026-05-18", "book": "yes"})
    done = client.get(booking)
    assert Appointment.objects.count() == len(keys) == len(done.context["booked"])
    assert client.get("/season/booking/?asked=x").headers["Location"] == "/season/"
    left = SeasonProposal.objects.filter(status="open").first()
    if left:
        client.post("/season/accept/", {"proposal": [left.pk], "leave-out": "yes", "week": ""})
        left.refresh_from_db()
        assert left.status == "left_out"
    wrong = client.get("/season/?week=soon").content.decode()
    assert "is not a day such as" in wrong and wrong.index("is not a day such as") < wrong.index("<h1>")


def test_a_plan_is_worked_out_once_and_a_lost_or_failed_one_is_told(
    bays: Bays, covers: list[Cover], monkeypatch: pytest.MonkeyPatch
) -> None:
    def ask(now: datetime) -> SeasonPlan:
        return ask_for_season_plan(sites=[bays.low.site], first=FIRST, last=LAST, now=now, actor=bays.writer)

    plan = ask(NOW)
    assert find_newest_plan() is None and find_plan_to_come() == plan
    with pytest.raises(ValidationError, match="A plan is being made already"):
        ask(NOW)
    soon, later = NOW + timedelta(minutes=1), NOW + timedelta(minutes=5)
    assert list_waiting_plans(soon) == [] and list_waiting_plans(later) == [plan]  # its task was lost
    SeasonPlan.objects.update(leased_until=soon)
    assert not work_season_plan_out(plan=plan, now=NOW) and not plan.proposals.exists()  # another worker was first
    assert work_season_plan_out(plan=plan, now=later) and plan.proposals.count() == 6
    assert not work_season_plan_out(plan=plan, now=later) and plan.proposals.count() == 6
    assert find_newest_plan() == plan and find_plan_to_come() is None
    # One that fails says why, the one before still counts, and the next may be asked for at once.
    failing = ask(later)
    with monkeypatch.context() as patched:
        patched.setattr(planning_services, "read_season", lambda *_: {}["a season"])
        with pytest.raises(KeyError):
            work_season_plan_out(plan=failing, now=later)
    failing.refresh_from_db()
    assert failing.failure == [to_json(explain("fault.program", error="KeyError"))]
    assert find_newest_plan() == plan and find_plan_to_come() == failing
    page = open_pages(bays).get("/season/").content.decode()
    assert "could not be made" in page and "Accept what is ticked" in page
    # One whose worker died keeps nobody waiting for ever.
    lost = ask(later)
    with pytest.raises(ValidationError):
        ask(later + timedelta(minutes=29))
    assert list_waiting_plans(later + timedelta(minutes=29)) == [lost]
    newest = ask(later + timedelta(minutes=31))
    lost.refresh_from_db()
    assert lost.failure and find_plan_to_come() == newest
    # One that kills each worker that takes it up is not taken up for ever.
    last = later + timedelta(minutes=62)
    assert list_waiting_plans(last) == []
    newest.refresh_from_db()
    assert newest.failure and newest.finished_at == last


@freeze_time(NOW)
def test_the_page_counts_one_vehicle_as_one(bays: Bays, covers: list[Cover]) -> None:
    plan, client = draft(bays), open_pages(bays)
    for visits, in_english, in_french in ((1, "1 vehicle,", "1 véhicule,"), (2, "2 vehicles,", "2 véhicules,")):
        plan.totals["visits"] = visits
        plan.save()
        assert f"<h2>{in_english} " in client.get("/season/").content.decode()
        assert f"<h2>{in_french} " in client.get("/season/", headers={"accept-language": "fr"}).content.decode()


@freeze_time(NOW)
def test_the_page_asks_a_constant_number_of_queries(bays: Bays, covers: list[Cover]) -> None:
    draft(bays)
    client = open_pages(bays)
    client.get("/season/")
    with CaptureQueriesContext(connection) as asked:
        client.get("/season/")
    SeasonProposal.objects.exclude(pk=SeasonProposal.objects.order_by("day", "pk")[0].pk).delete()
    with CaptureQueriesContext(connection) as fewer:
        client.get("/season/")
    assert len(asked) == len(fewer)
