"""The rebuildable index: it says what the rules say, costs what changed, and survives a worker that dies."""

from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from desk.demo.load import DemoShop
from scheduling.covers.queries import read_cover_cases, read_short_cases
from scheduling.covers.rules.cover import NO_MORE_COVER
from scheduling.covers.rules.dates import CLOSED_DAY
from scheduling.covers.services import end_cover, move_terms, waive_due_item
from scheduling.index import service
from scheduling.index.service import read_run_report, recompute, start_run, work_on_run
from scheduling.index.writing import ITEM_COLUMNS, STATE_COLUMNS, compute_rows
from scheduling.models import (
    ClosedDay,
    Cover,
    CoverState,
    DueItem,
    RecomputeRange,
    RecomputeRun,
    SiteCalendar,
    TermsVersion,
)
from tests.conftest import NOW
from tests.demo_records import load_demo
from treatments.models import Site, User
from treatments.people.customers import make_customer
from treatments.records.inspections import record_inspection
from treatments.records.odometer_readings import record_reading
from treatments.rules.explanation import Explanation, from_json, to_json
from treatments.rules.units import Distance, DistanceUnit
from treatments.vehicles.services import change_owner, record_place_of_use


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


def read_index() -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    states = CoverState.objects.order_by("cover_id").values_list(*STATE_COLUMNS)
    items = DueItem.objects.order_by("cover_id", "key").values_list(*ITEM_COLUMNS)
    return list(states), list(items)


def change_much(demo: DemoShop) -> None:
    """Leave every kind of change on the demo's covers, some of them dated in the days to come."""
    covers = list(Cover.objects.order_by("pk").select_related("vehicle", "site"))
    day = demo.day
    cases = read_cover_cases(covers)
    due = next(case for case in cases if any(item.needs_doing for item in case.read_due_items(day)))
    key = next(item.key for item in due.read_due_items(day) if item.needs_doing)
    waive_due_item(cover=due.cover, due_key=key, day=day, reason="flood", now=NOW, actor=None)
    other = TermsVersion.objects.exclude(pk=covers[1].terms_version_id).first()
    assert other is not None
    move_terms(
        cover=covers[1], to_version=other, day=day + timedelta(days=40), reason="asked", now=NOW, actor=None
    )  # fmt: skip
    end_cover(cover=covers[2], day=day + timedelta(days=20), reason="scrapped", now=NOW, actor=None)
    buyer = make_customer(name="Bo Heron", contact="bo@example.org", now=NOW, email="bo@example.org", phone="")
    buyer.save()
    change_owner(
        vehicle=covers[3].vehicle, customer=buyer, from_day=day - timedelta(days=5), told_on=None, now=NOW, actor=None,
        corrosivity="C5",
    )  # fmt: skip
    moves_on = day + timedelta(days=30)
    record_place_of_use(vehicle=covers[5].vehicle, corrosivity="CX", from_day=moves_on, now=NOW, actor=None)
    distance = Distance(Decimal(190_000), DistanceUnit.KILOMETRE)
    record_reading(vehicle=covers[4].vehicle, day=day, distance=distance, now=NOW, actor=None)


def test_the_index_says_what_the_rules_say_on_any_day(demo: DemoShop) -> None:
    change_much(demo)
    cases = {case.cover.pk: case for case in read_cover_cases(Cover.objects.select_related("vehicle", "site"))}
    found = {case.cover.pk: case for case in read_short_cases(Cover.objects.select_related("site"))}
    assert found.keys() == cases.keys()
    for after in (-400, 0, 21, 41, 100, 500, 2000):
        day = demo.day + timedelta(days=after)
        for key, case in cases.items():
            row, items = compute_rows(found[key], {}, day)
            told = dict(zip(STATE_COLUMNS, row, strict=True))
            state = case.read_state(day)
            assert (told["status"], told["since"], told["percent"], told["explanations"]) == (
                state.status, state.since, state.percent, list(map(to_json, state.explanations)),
            )  # fmt: skip
            wanted = [item for item in case.read_due_items(day) if item.needs_doing]
            if state.status in NO_MORE_COVER:
                wanted = []
            assert sorted((row[1], row[5], row[9]) for row in items) == sorted(
                (item.key, item.dates.target_on, list(map(to_json, item.reasons))) for item in wanted
            )


def test_a_short_history_tells_the_same_states_and_due_items(demo: DemoShop, django_assert_num_queries: Any) -> None:
    change_much(demo)
    covers = list(Cover.objects.select_related("vehicle", "site"))
    whole = read_cover_cases(covers)
    few = [cover for cover in covers if cover.pk in (covers[0].pk, covers[-1].pk)]
    with CaptureQueriesContext(connection) as captured:
        read_short_cases(few)
    with django_assert_num_queries(len(captured)):
        short = read_short_cases(covers)
    assert read_short_cases([]) == []
    for after in (-4000, -400, 0, 21, 41, 100, 500, 2000):
        day = demo.day + timedelta(days=after)
        for case, brief in zip(whole, short, strict=True):
            assert brief.cover is case.cover and brief.facts == case.facts
            assert brief.read_state(day) == brief.assess(day).state == case.read_state(day)
            items = case.read_due_items(day)
            assert brief.read_due_items(day) == items
            opened = [item for item in items if item.needs_doing and item.dates.opens_on <= day]
            assert brief.list_open_items(day) == case.list_open_items(day) == opened
            assert brief.foresee_distance(day) == case.foresee_distance(day)


def test_night_after_night_the_index_stays_what_a_whole_rebuild_gives(demo: DemoShop) -> None:
    change_much(demo)
    computed = 0
    for after in (1, 2, 15, 21, 45, 120, 400):
        day = demo.day + timedelta(days=after)
        computed += recompute(as_of=day, now=NOW).covers
        nightly = read_index()
        CoverState.objects.all().delete()
        DueItem.objects.all().delete()
        whole = recompute(as_of=day, now=NOW)
        assert whole.covers == Cover.objects.count()
        assert read_index() == nightly, day
    assert computed < 7 * Cover.objects.count()


def test_only_what_was_written_down_or_has_come_due_is_computed(demo: DemoShop) -> None:
    recompute(as_of=demo.day, now=NOW)
    runs = RecomputeRun.objects.count()
    assert recompute(as_of=demo.day, now=NOW).covers == 0
    assert RecomputeRun.objects.count() == runs
    cover = Cover.objects.order_by("pk")[0]
    site = Site.objects.get()
    record_inspection(
        vehicle=cover.vehicle, site=site, done_on=demo.day, kind="reinspection", zones=[], now=NOW, actor=None
    )
    done = recompute(as_of=demo.day, now=NOW)
    assert (done.covers, done.states_written) == (1, 1)
    assert CoverState.objects.get(cover=cover).last_seen_on == demo.day
    soonest = CoverState.objects.filter(recheck_on__isnull=False).order_by("recheck_on")[0].recheck_on
    assert soonest is not None and soonest > demo.day
    assert recompute(as_of=soonest - timedelta(days=1), now=NOW).covers == 0
    come = CoverState.objects.filter(recheck_on=soonest).count()
    assert recompute(as_of=soonest, now=NOW).covers == come
    # An earlier day asks for answers that the index no longer holds.
    assert recompute(as_of=demo.day, now=NOW).covers == Cover.objects.count()


def test_a_closed_day_entered_in_the_admin_moves_the_dates(demo: DemoShop) -> None:
    recompute(as_of=demo.day, now=NOW)
    User.objects.create_superuser("root", "root@example.org", "a long password")
    client = Client()
    client.force_login(User.objects.get(username="root"))
    item = DueItem.objects.filter(kind="reinspection", target_on__gt=demo.day).order_by("target_on")[0]
    calendar = SiteCalendar.objects.get()
    answer = client.post(
        "/admin/scheduling/closedday/add/",
        {"site": calendar.site_id, "day": item.target_on.isoformat(), "reason": "stocktaking"},
    )
    assert answer.status_code == 302 and ClosedDay.objects.filter(day=item.target_on).exists()
    recompute(as_of=demo.day, now=NOW)
    moved = DueItem.objects.get(pk=item.pk)
    assert moved.target_on > item.target_on
    why = from_json(moved.reasons[0]).params["moved"]
    assert isinstance(why, Explanation) and why.code == "due.moved.open_day"
    assert (why.params["closed"], why.params["moved_on"]) == (CLOSED_DAY, moved.target_on)
    ClosedDay.objects.get(day=item.target_on)
    client.post(f"/admin/scheduling/closedday/{ClosedDay.objects.get(day=item.target_on).pk}/delete/", {"post": "yes"})
    recompute(as_of=demo.day, now=NOW)
    assert DueItem.objects.get(pk=item.pk).target_on == item.target_on


class Killed(BaseException):
    """Ends a worker as a kill does: nothing catches it."""


def test_the_range_of_a_worker_that_died_is_computed_by_the_next_and_none_twice(
    demo: DemoShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(service, "COVERS_IN_A_RANGE", 3)
    wanted = read_index()
    CoverState.objects.all().delete()
    DueItem.objects.all().delete()
    run = start_run(as_of=demo.day, now=NOW)
    assert run.ranges.count() > 2
    write, calls = service.write_index, []

    def write_and_die(*args: object) -> object:
        calls.append(args)
        done = write(*args)  # type: ignore[arg-type]
        if len(calls) == 2:
            raise Killed
        return done

    monkeypatch.setattr(service, "write_index", write_and_die)
    with pytest.raises(Killed):
        work_on_run(run=run, now=NOW)
    assert RecomputeRange.objects.filter(run=run, finished_at__isnull=False).count() == 1
    assert CoverState.objects.count() == 3  # the second range was written and taken back
    # The next scan goes on with the same run instead of starting another.
    assert start_run(as_of=demo.day, now=NOW) == run
    rest = work_on_run(run=run, now=NOW)
    assert rest.covers == Cover.objects.count() - 3
    assert read_run_report(run).covers == Cover.objects.count()
    assert read_index() == wanted
    run.refresh_from_db()
    assert run.finished_at is not None


def test_a_range_asks_a_constant_number_of_queries(demo: DemoShop, monkeypatch: pytest.MonkeyPatch) -> None:
    counts = []
    for covers in (1, 100):
        monkeypatch.setattr(service, "COVERS_IN_A_RANGE", covers)
        run = start_run(as_of=demo.day - timedelta(days=400), now=NOW)
        RecomputeRange.objects.filter(run=run).exclude(pk=run.ranges.all()[0].pk).delete()
        with CaptureQueriesContext(connection) as captured:
            work_on_run(run=run, now=NOW)
        counts.append(len([query for query in captured.captured_queries if query["sql"].startswith("SELECT")]))
        recompute(as_of=demo.day, now=NOW)
    # Terms, sites and zones are read once; SQLite and PostgreSQL write the rows in batches of their own.
    assert max(counts) - min(counts) <= 3, counts


@pytest.mark.full
@pytest.mark.django_db(transaction=True)
def test_several_processes_share_a_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    demo = load_demo(tmp_path, timezone.now())
    wanted = read_index()
    monkeypatch.setattr(service, "COVERS_IN_A_RANGE", 1)
    CoverState.objects.all().delete()
    DueItem.objects.all().delete()
    call_command("recompute", "--as-of", demo.day.isoformat(), "--processes", "3", verbosity=0)
    assert read_index() == wanted
