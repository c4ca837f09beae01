"""What a reminder says is so on its day: a visit missed, a film not renewed, a treatment to complete.

Whether a missed visit has suspended the cover is told only where it has.
"""

import re
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from notifications.enums import MessageStatus, Step
from notifications.models import Message
from notifications.outbox import services as outbox
from notifications.reminders import services
from notifications.reminders.rules.ladder import find_news
from notifications.reminders.rules.reminders import (
    DueThing,
    MessageKind,
    choose_reminder,
    find_zones_to_complete,
)
from notifications.reminders.wording import render_consequence, render_opening, render_subject, render_thing
from scheduling.covers.rules.cover import CoverOnDay
from scheduling.covers.rules.due_item import DueKind
from scheduling.covers.rules.ends import CoverStatus
from scheduling.index.service import recompute
from scheduling.models import Cover, DueItem, TermsVersion
from scheduling.terms.rules.terms import EntryTerms, Terms
from tests.conftest import NOW, TODAY, ShopForTests
from tests.guards import past_the_guards
from tests.notifications.test_reminders import add_due_vehicle, noon, treat
from treatments.enums import FilmState, InspectionKind, ProductFamily, Propulsion, TreatmentKind, ZoneKind
from treatments.models import Inspection, Treatment, Zone
from treatments.people.customers import find_or_add_customer
from treatments.records.inspections import InspectionEntry, record_inspection
from treatments.records.rules.history import TreatmentRecord, VehicleHistory, ZoneLine
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.explanation import explain
from treatments.rules.units import Volume, VolumeUnit
from treatments.shared.rendering import render_day
from treatments.vehicles.services import add_vehicle

DAY = date(2026, 6, 10)
NAMES = {"rocker_left": "Left rocker panel", "rocker_right": "Right rocker panel", "tailgate": "Tailgate"}


def make_thing(kind: DueKind = DueKind.REINSPECTION, *, days: int = 0, **changes: object) -> DueThing:
    """Return a thing due ``days`` after DAY, its window open 60 days before, with 30 days of grace."""
    target = DAY + timedelta(days=days)
    zones = ("rocker_left", "rocker_right") if kind is DueKind.TOUCH_UP else ()
    thing = DueThing(
        f"{kind}:{days}", kind, zones, target - timedelta(days=60), target, target, target + timedelta(days=30),
        (explain("due.opens", days=60, raw_on=target),),
    )  # fmt: skip
    return replace(thing, **changes)  # type: ignore[arg-type]


VISIT, FILM = make_thing(), make_thing(DueKind.TOUCH_UP)


@pytest.mark.parametrize(
    ("things", "day", "expected"),
    [
        ([VISIT], DAY - timedelta(days=61), None),
        ([VISIT], DAY - timedelta(days=60), MessageKind.VISIT_DUE),
        ([VISIT], DAY, MessageKind.VISIT_DUE),
        ([VISIT], DAY + timedelta(days=1), MessageKind.IN_GRACE),
        ([VISIT], DAY + timedelta(days=30), MessageKind.IN_GRACE),
        ([VISIT], DAY + timedelta(days=31), MessageKind.VISIT_MISSED),
        ([FILM], DAY - timedelta(days=60), MessageKind.FILM_DUE),
        ([FILM], DAY + timedelta(days=30), MessageKind.FILM_DUE),
        ([FILM], DAY + timedelta(days=31), MessageKind.FILM_OVERDUE),
        # The film's days are over, the visit's are not: nobody has failed to come.
        ([FILM, make_thing(days=9)], DAY + timedelta(days=31), MessageKind.IN_GRACE),
        ([FILM, make_thing(days=90)], DAY + timedelta(days=31), MessageKind.VISIT_DUE),
    ],
)
def test_the_visit_decides_where_there_is_one_and_the_film_where_there_is_none(
    things: list[DueThing], day: date, expected: MessageKind | None
) -> None:
    reminder = choose_reminder(things, day)
    assert (reminder and reminder.kind) == expected


def test_a_cover_that_has_not_begun_has_missed_nothing() -> None:
    late = DAY + timedelta(days=100)
    reminder = choose_reminder([VISIT, FILM], late, ("rocker_left",))
    assert reminder is not None
    assert (reminder.kind, reminder.things, reminder.keys) == (MessageKind.TO_COMPLETE, (), ("complete:rocker_left",))
    assert [one.due_key for one in find_news(reminder, late, {VISIT.key: Step.MISSED})] == ["complete:rocker_left"]
    assert find_news(reminder, late, {"complete:rocker_left": Step.OPENS}) == ()
    begun = choose_reminder([VISIT, FILM], late, ())
    assert begun is not None
    assert begun.kind is MessageKind.VISIT_MISSED


def test_zones_are_told_by_name_and_counted() -> None:
    assert render_thing(FILM, NAMES, DAY)[0] == "Touch-up of 2 zones: Left rocker panel, Right rocker panel"
    assert render_thing(replace(FILM, zones=("tailgate",)), NAMES, DAY)[0] == "Touch-up of 1 zone: Tailgate"
    assert render_thing(VISIT, NAMES, DAY)[0] == "Reinspection"


@pytest.mark.parametrize("day", [DAY, DAY + timedelta(days=31)])
def test_a_film_that_is_due_never_says_that_nobody_came(day: date) -> None:
    reminder = choose_reminder([FILM], day)
    assert reminder is not None
    text = render_opening(reminder, "2025 Harrow Finch", day)
    assert "The protective film on 2 zones of your 2025 Harrow Finch" in text
    assert "visit" not in text + render_subject(reminder.kind, "2025 Harrow Finch")
    single = choose_reminder([replace(FILM, zones=("tailgate",))], day)
    assert single is not None
    assert "film on 1 zone of" in render_opening(single, "2025 Harrow Finch", day)


@pytest.mark.parametrize(
    ("status", "percent", "words"),
    [
        (CoverStatus.SUSPENDED, 100, "Damage found while it is suspended may not be paid."),
        (CoverStatus.IN_FORCE, 100, "Your cover stays in force."),
        (CoverStatus.IN_FORCE, 50, "Your cover stays in force, but pays 50 %"),
        (CoverStatus.PENDING, 100, ""),
    ],
)
def test_only_a_suspended_cover_is_said_to_be_suspended(status: CoverStatus, percent: int, words: str) -> None:
    late = DAY + timedelta(days=31)
    overdue, due = choose_reminder([VISIT], late), choose_reminder([VISIT], DAY)
    assert overdue is not None
    assert due is not None
    state = CoverOnDay(late, status, None, ())
    state = replace(state, percent=state.percent * percent / 100)
    assert words in render_consequence(overdue, state)
    assert ("suspended" in render_consequence(overdue, state)) is (status is CoverStatus.SUSPENDED)
    assert render_consequence(due, state) == ""


def test_the_zones_to_complete_are_those_never_coated_since_the_first_treatment() -> None:
    terms = Terms("t", 1, "T", entry=EntryTerms(required_zones=("rocker_left", "rocker_right")))
    coat = ZoneLine("rocker_left", "", ZoneKind.ENCLOSED_CAVITY, ProductFamily.CAVITY_WAX)
    other = replace(coat, zone="rocker_right")
    left_out = replace(other, family=None, not_done_reason="plug seized")
    first = TreatmentRecord("treatment 1", DAY, TreatmentKind.FIRST_TREATMENT, (coat, left_out))
    later = TreatmentRecord("treatment 2", DAY + timedelta(days=9), TreatmentKind.AFTER_REPAIR, (other,))
    history = VehicleHistory((first, later))
    assert find_zones_to_complete(terms, history, DAY + timedelta(days=8)) == ("rocker_right",)
    assert find_zones_to_complete(terms, history, DAY + timedelta(days=9)) == ()
    assert find_zones_to_complete(terms, VehicleHistory(), DAY) == ()


@pytest.fixture
def cover(shop: ShopForTests) -> Cover:
    return add_due_vehicle(shop, "11111111111111111", "lena@example.com", date(2025, 6, 10))


def write_on(day: date) -> Message | None:
    recompute(as_of=day, now=NOW)
    report = services.write_due_reminders(now=noon(day))
    return Message.objects.order_by("pk").last() if report.written else None


def send_all() -> outbox.SendReport:
    """Send what waits at the time at which the last of it may go."""
    last = max(Message.objects.values_list("due_at", flat=True))
    return outbox.send_all_due_messages(clock=lambda: last)


def visit_without_coating(shop: ShopForTests, cover: Cover, day: date) -> None:
    coatable = Zone.objects.exclude(kind=ZoneKind.NEVER_COATED)
    record_inspection(
        vehicle=cover.vehicle, site=shop.site, done_on=day, kind=InspectionKind.REINSPECTION, now=NOW,
        zones=[InspectionEntry(zone, Decimal(0), film_state=FilmState.INTACT) for zone in coatable],
        actor=None,
    )  # fmt: skip


def test_a_visit_at_which_the_film_was_not_renewed_is_no_visit_missed(shop: ShopForTests, cover: Cover) -> None:
    for year in (2026, 2027):
        visit_without_coating(shop, cover, date(year, 6, 8))
    assert Inspection.objects.count() == 2
    message = write_on(date(2027, 8, 1))
    assert message is not None
    assert message.kind == MessageKind.FILM_OVERDUE
    # The rockers' wax of 24 months was not renewed; nothing but that is told.
    assert "The protective film on 2 zones of your 2025 Harrow Finch was not renewed in time." in message.body
    assert "Touch-up of 2 zones: Left rocker panel, Right rocker panel" in message.body
    for untrue in ("was not made", "no rust protection visit", "suspended", "rocker_", "2027-"):
        assert untrue not in message.body, untrue
    assert message.subject == "Renewal of the rust protection film of your 2025 Harrow Finch is overdue"


def test_a_visit_that_was_missed_says_so_and_what_follows(cover: Cover) -> None:
    message = write_on(date(2027, 8, 1))
    assert message is not None
    assert message.kind == MessageKind.VISIT_MISSED
    assert (
        "We have no rust protection visit of your 2025 Harrow Finch on record from 11 April 2026 through 10 July 2026"
        in message.body
    )
    assert "Damage found while it is suspended may not be paid." in message.body


def test_terms_that_attach_nothing_suspend_nothing(shop: ShopForTests, cover: Cover) -> None:
    with past_the_guards():
        Cover.objects.filter(pk=cover.pk).update(terms_version=TermsVersion.objects.get(terms__code="pay-down"))
    message = write_on(date(2026, 8, 20))
    assert message is not None
    assert message.kind == MessageKind.VISIT_MISSED
    assert "Your cover stays in force." in message.body
    assert "suspended" not in message.body


def test_a_visit_message_is_withdrawn_once_the_visit_was_made_though_a_film_is_still_due(
    shop: ShopForTests, cover: Cover
) -> None:
    treat(shop, cover.vehicle, date(2026, 6, 8), TreatmentKind.ANNUAL_TOUCH_UP)
    message = write_on(date(2027, 6, 1))
    assert message is not None
    visit_without_coating(shop, cover, date(2027, 6, 2))
    recompute(as_of=date(2027, 6, 2), now=NOW)
    film = DueItem.objects.filter(cover=cover, kind=DueKind.TOUCH_UP).first()
    assert film is not None
    told = message.notices.get()
    told.pk, told.key, told.due_key, told.step = None, f"{told.key}:film", film.key, Step.OPENS
    told.save()
    assert send_all().withdrawn == 1


def add_unfinished_vehicle(shop: ShopForTests) -> Cover:
    """A vehicle whose right rocker, which the terms want done, was left out of its first treatment."""
    owner = find_or_add_customer(name="Osric Vane", contact="osric@example.com", now=NOW)
    vehicle = add_vehicle(
        vin="1M8GDM9AXKP042788", owner=owner, owned_from=date(2025, 6, 10), now=NOW, actor=None,
        description="2024 Tarn Osprey", propulsion=Propulsion.COMBUSTION,
    )  # fmt: skip
    coat(shop, vehicle, date(2025, 6, 10), TreatmentKind.FIRST_TREATMENT, ["rocker_left", "underside_middle"])
    from scheduling.covers.services import register_covers_for_new_treatments

    while register_covers_for_new_treatments(now=NOW):
        pass
    return Cover.objects.get(vehicle=vehicle)


def coat(shop: ShopForTests, vehicle: object, day: date, kind: TreatmentKind, zones: list[str]) -> None:
    from decimal import Decimal

    quart = Volume(Decimal(1), VolumeUnit.US_QUART)
    lines = [
        LineEntry(zone, shop.wax, shop.wax.lots.get(), quart)  # type: ignore[attr-defined]
        for zone in Zone.objects.filter(code__in=zones)
    ]
    record_treatment(vehicle=vehicle, site=shop.site, done_on=day, kind=kind, lines=lines, now=NOW, actor=None)


def test_a_cover_whose_treatment_was_never_finished_is_asked_to_finish_it(shop: ShopForTests) -> None:
    unfinished = add_unfinished_vehicle(shop)
    message = write_on(date(2026, 8, 1))  # long after the days of grace
    assert message is not None
    assert (message.kind, message.due_keys) == (MessageKind.TO_COMPLETE, ["complete:rocker_right"])
    assert message.subject == "The rust protection of your 2024 Tarn Osprey is not complete yet"
    assert "is not complete yet: this zone is still to be treated, and until then your cover has not begun" in (
        message.body
    )
    assert "  - Right rocker panel" in message.body
    for untrue in ("overdue", "suspended", "on record by", "rocker_right", "What is due"):
        assert untrue not in message.body, untrue
    assert write_on(date(2026, 9, 1)) is None
    coat(shop, unfinished.vehicle, date(2026, 9, 2), TreatmentKind.ANNUAL_TOUCH_UP, ["rocker_right"])
    assert Treatment.objects.count() == 2
    recompute(as_of=date(2026, 9, 2), now=NOW)
    assert send_all().withdrawn == 1
    assert Message.objects.get().status == MessageStatus.WITHDRAWN


def test_a_cover_that_is_missed_twice_is_told_of_twice(shop: ShopForTests, cover: Cover) -> None:
    assert write_on(date(2026, 7, 11)) is not None
    visit_without_coating(shop, cover, date(2026, 7, 20))
    assert write_on(date(2027, 4, 20)) is not None
    second = write_on(date(2027, 7, 20))
    assert second is not None
    assert second.kind == MessageKind.VISIT_MISSED
    assert Message.objects.filter(kind=MessageKind.VISIT_MISSED).count() == 2


def test_a_new_owner_is_told_though_the_last_one_was(shop: ShopForTests, cover: Cover) -> None:
    first = write_on(TODAY)
    assert first is not None
    buyer = find_or_add_customer(name="Cora Dunlin", contact="cora@example.com", now=NOW)
    owned = cover.vehicle.ownerships.get()
    owned.until_day = TODAY
    owned.save()
    cover.vehicle.ownerships.create(customer=buyer, from_day=TODAY, recorded_at=NOW)
    second = write_on(TODAY)
    assert second is not None
    assert (first.address, second.address) == ("lena@example.com", "cora@example.com")
    assert write_on(TODAY) is None


@pytest.mark.parametrize(("after", "leads"), [(10, "film"), (30, "film"), (31, "visit")])
def test_the_first_sentence_in_grace_has_the_dates_that_end_first(after: int, leads: str) -> None:
    things = {"film": FILM, "visit": make_thing(days=9)}
    day = DAY + timedelta(days=after)
    reminder = choose_reminder(list(things.values()), day)
    assert reminder is not None and reminder.kind is MessageKind.IN_GRACE
    opening = render_opening(reminder, "blue hatchback", day)
    told = [render_day(things[leads].last_on), render_day(things[leads].grace_until)]
    assert re.findall(r"\d{1,2} [A-Z][a-z]+ \d{4}", opening) == told
