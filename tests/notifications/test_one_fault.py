"""Nightly runs, tasks and services that go through many: one record that fails leaves the others done, and is told."""

from collections.abc import Callable, Iterator
from datetime import date
from io import StringIO

import pytest
from celery import current_app
from django.core.management import call_command
from django.core.management.base import CommandError
from freezegun import freeze_time

from notifications.enums import MessageStatus
from notifications.invitations.services import write_invitations
from notifications.models import Message
from notifications.outbox.services import send_all_due_messages
from notifications.reminders.services import write_due_reminders
from scheduling.booking.many import propose_many
from scheduling.booking.services import book_visit, move_visit
from scheduling.covers.queries import read_cover_cases
from scheduling.covers.services import register_covers_for_new_treatments
from scheduling.index.service import recompute
from scheduling.models import Cover, CoverFault, DueItem
from scheduling.season.services import draft_season_plan
from scheduling.terms.preview import preview_covers
from tests.conftest import NOW, TODAY, ShopForTests
from tests.poison import POISONS, add_cover_elsewhere
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, at, set_up_bays
from treatments.models import Site

pytestmark = pytest.mark.slow

FIRST = date(2025, 6, 10)


@pytest.fixture
def bays(shop: ShopForTests) -> Iterator[Bays]:
    with freeze_time(NOW):
        yield set_up_bays(shop)


@pytest.fixture
def others(shop: ShopForTests, bays: Bays) -> list[Cover]:
    """Covers of one site, on both sides of the one that is put in later."""
    return [add_due_vehicle(shop, vin, FIRST) for vin in ("11111111111111111", "22222222222222222")]


@pytest.fixture
def poisoned(others: list[Cover]) -> list[Cover]:
    """For each poison a cover of another site that was due before it was put in."""
    covers = [add_cover_elsewhere(others[0], f"zz-{n}", f"4444444444444444{n}") for n in range(len(POISONS))]
    recompute(as_of=TODAY, now=NOW, whole=True)
    assert DueItem.objects.filter(cover__in=covers).values("cover").distinct().count() == len(POISONS)
    for cover, poison in zip(covers, POISONS.values(), strict=True):
        poison(cover)
    return covers


def read_items(covers: list[Cover]) -> list[tuple[object, ...]]:
    return sorted(DueItem.objects.filter(cover__in=covers).values_list("cover", "key", "target_on", "status"))


def test_a_recompute_marks_what_it_cannot_compute(others: list[Cover], poisoned: list[Cover]) -> None:
    before = read_items(others)
    report = recompute(as_of=TODAY, now=NOW, whole=True)
    assert (
        set(report.failed) == {cover.pk for cover in poisoned} == set(CoverFault.objects.values_list("pk", flat=True))
    )
    assert read_items(others) == before and not read_items(poisoned)
    # The next day they are tried again, and those that were put right are as they were.
    Site.objects.filter(pk=poisoned[0].site_id).update(country="US")
    assert poisoned[0].pk not in recompute(as_of=date(2026, 5, 21), now=NOW).failed
    assert read_items(poisoned[:1]) and not CoverFault.objects.filter(cover=poisoned[0]).exists()


def test_reminders_are_written_to_the_others(others: list[Cover], poisoned: list[Cover]) -> None:
    report = write_due_reminders(now=NOW)
    assert set(Message.objects.values_list("cover", flat=True)) == {cover.pk for cover in others}
    assert report.written == len(others)
    assert {told.partition(":")[0] for told in report.failed} == {cover.number for cover in poisoned}


def test_invitations_are_written_about_the_others(others: list[Cover], bays: Bays) -> None:
    visits = [
        book_visit(
            vehicle=cover.vehicle, bay=bays.low, person=bays.tomas, starts_at=at(date(2026, 6, 9), hour), now=NOW,
            actor=bays.writer, cover=cover,
        )
        for cover, hour in zip(others, (8, 13), strict=True)
    ]  # fmt: skip
    assert write_invitations(now=NOW).written == len(visits)
    Message.objects.update(status=MessageStatus.SENT, sent_at=NOW)
    # Nobody can read any more what the customer of the first was told.
    Message.objects.filter(appointment=visits[0]).update(calendar="BEGIN:VCALENDAR")
    for visit, hour in zip(visits, (8, 13), strict=True):
        visit.refresh_from_db()
        move_visit(
            appointment=visit, bay=bays.low, person=bays.tomas, starts_at=at(date(2026, 6, 10), hour), now=NOW,
            actor=bays.writer,
        )  # fmt: skip
    report = write_invitations(now=NOW)
    assert [told.partition(":")[0] for told in report.failed] == [f"visit {visits[0].number}"]
    assert Message.objects.filter(appointment=visits[1], status=MessageStatus.WAITING).count() == report.written == 1


def test_messages_are_sent_to_the_others(others: list[Cover]) -> None:
    recompute(as_of=TODAY, now=NOW, whole=True)
    write_due_reminders(now=NOW)
    first = Message.objects.order_by("due_at", "pk")[0]
    Message.objects.filter(pk=first.pk).update(calendar="no calendar")
    report = send_all_due_messages(clock=lambda: NOW)
    assert (report.sent, len(report.to_be_retried)) == (len(others) - 1, 1)
    first.refresh_from_db()
    assert (first.status, first.attempts, first.why["code"]) == (MessageStatus.WAITING, 1, "fault.program")


def test_covers_of_the_others_are_registered(shop: ShopForTests, bays: Bays, others: list[Cover]) -> None:
    # The number that the next cover would get is taken.
    third = add_cover_elsewhere(others[0])
    next_vehicle = third.vehicle_id + 1
    Cover.objects.bulk_create(
        [Cover(number=f"C{next_vehicle:06d}-1", vehicle=third.vehicle, terms_version=third.terms_version,
               site=third.site, sold_on=FIRST, registered_on=FIRST, ended_on=FIRST, end_reason="x", recorded_at=NOW)]
    )  # fmt: skip
    with pytest.raises(Cover.DoesNotExist):
        add_due_vehicle(shop, "55555555555555555", FIRST)
    assert add_due_vehicle(shop, "66666666666666666", FIRST).vehicle.vin == "66666666666666666"
    assert register_covers_for_new_treatments(now=NOW) == 0


def test_times_are_proposed_for_the_others(others: list[Cover], poisoned: list[Cover]) -> None:
    covers = list(Cover.objects.select_related("vehicle", "site").order_by("pk"))
    wanted = {one.cover.pk: one for one in propose_many(covers=covers, now=NOW)}
    assert all(wanted[cover.pk].slot is not None for cover in others)
    assert all(wanted[cover.pk].slot is None and wanted[cover.pk].reasons for cover in poisoned)


def test_a_season_is_planned_for_the_others(bays: Bays, others: list[Cover], poisoned: list[Cover]) -> None:
    sites = list(Site.objects.order_by("pk"))
    for site in sites[1:]:
        site.bays.create(code="one", name="one", kind="lift")
    plan = draft_season_plan(sites=sites, first=date(2026, 5, 25), last=date(2026, 7, 31), now=NOW, actor=bays.writer)
    assert plan.failure is None
    assert {cover.pk for cover in others} <= set(plan.proposals.values_list("cover", flat=True))


def test_a_preview_of_terms_compares_the_others(others: list[Cover], poisoned: list[Cover]) -> None:
    terms = read_cover_cases(others[:1])[0].find_terms(TODAY)
    found = preview_covers(terms, Cover.objects.select_related("vehicle", "site"), as_of=TODAY)
    assert found.covers == len(others)
    # What terms can't be read is compared with no others either.
    assert {one.number for one in found.failed} == {cover.number for cover in poisoned}


def run_daily() -> None:
    with pytest.raises(CommandError, match=f"{2 * len(POISONS)} things failed|{len(POISONS)} things failed"):
        call_command("run_daily", stdout=StringIO(), stderr=StringIO())


def run_recompute() -> None:
    with pytest.raises(CommandError, match=f"{len(POISONS)} covers failed"):
        call_command("recompute", "--all", stdout=StringIO(), stderr=StringIO())


def list_tasks() -> list[str]:
    """Return the names of the tasks that a worker has, and that are given nothing."""
    import_tasks()
    ours = ("treatments.", "scheduling.", "claims.", "notifications.")
    takes_a_key = {"scheduling.work_on_recompute", "scheduling.work_season_plan_out", "notifications.send_messages"}
    return sorted(name for name in current_app.tasks if name.startswith(ours) and name not in takes_a_key)


def import_tasks() -> None:
    current_app.loader.import_default_modules()


def run_task(name: str) -> Callable[[], None]:
    def run() -> None:
        current_app.tasks[name].apply(throw=True)

    return run


def test_every_scheduled_task_ends_and_does_the_others(
    others: list[Cover], poisoned: list[Cover], tasks_run_here: None, django_capture_on_commit_callbacks: Callable
) -> None:
    names = list_tasks()
    assert len(names) >= 9
    for name in names:
        with django_capture_on_commit_callbacks(execute=True):
            run_task(name)()
    assert set(Message.objects.filter(cover__isnull=False).values_list("cover", flat=True)) == {o.pk for o in others}
    assert read_items(others)


@pytest.mark.parametrize("run", [run_daily, run_recompute])
def test_a_nightly_command_does_the_others_and_ends_with_a_status(
    others: list[Cover], poisoned: list[Cover], run: Callable[[], None]
) -> None:
    before = read_items(others)
    run()
    assert read_items(others) == before
    if run is run_daily:
        assert set(Message.objects.values_list("cover", flat=True)) == {cover.pk for cover in others}
        assert set(Message.objects.values_list("status", flat=True)) == {MessageStatus.SENT}
