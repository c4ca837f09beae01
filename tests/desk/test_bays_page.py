"""The week of the bays and the set-up: what stands where, what needs a hand, and what a drop writes."""

import re
from datetime import datetime
from html import unescape
from pathlib import Path

import pytest
from django.test import Client
from freezegun import freeze_time

from desk.demo.load import DemoShop
from scheduling.bays.services import close_bay, note_absence
from scheduling.booking.changing import cancel_visit
from scheduling.models import Absence, Appointment, Bay, BayClosure, PersonHours, PersonSkill, SiteHours, WorkDuration
from tests.conftest import NOW
from tests.demo_records import load_demo
from tests.desk.test_booking_pages import read_slots
from tests.desk.test_pages import log_in
from tests.desk.test_visit_pages import ZONE, book
from treatments.models import Event, User

WEEK = {"week": "2026-W21"}


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    with freeze_time(NOW):
        yield load_demo(tmp_path, NOW)


def drop(client: Client, visit: Appointment, day: str, minute: int, bay: str = "tall-lift", **more: object) -> object:
    given = {
        "number": visit.number, "sequence": visit.sequence, "bay": Bay.objects.get(code=bay).pk, "to_day": day,
        "minute": minute, **WEEK, **more,
    }  # fmt: skip
    return client.post("/bays/drop/", given, headers={"X-Asked-By": "bays"})


def read_start(visit: Appointment) -> str:
    visit.refresh_from_db()
    return f"{visit.starts_at.astimezone(ZONE):%a %H:%M} {visit.bay.code}"


def test_the_week_shows_visits_where_they_stand_and_what_is_closed(demo: DemoShop) -> None:
    visit = book(demo, "overdue", 21, 9, 15)
    given_up = book(demo, "in-grace", 22, 8)
    cancel_visit(appointment=given_up, reason="the weather", now=NOW, actor=None)
    bay = Bay.objects.get(code="floor")
    close_bay(
        bay=bay, starts_at=datetime(2026, 5, 22, 10, 0, tzinfo=ZONE), ends_at=datetime(2026, 5, 22, 12, 0, tzinfo=ZONE),
        reason="new floor", now=NOW, actor=None,
    )  # fmt: skip
    page = log_in("lift").get("/bays/", WEEK).content.decode()
    block = page[page.index(f'id="visit-{visit.number}"') - 200 :][:900]
    # An hour and a quarter below eight o'clock, the first hour shown.
    assert "down-1 stepdown-3" in block and visit.vehicle.plate in block
    assert given_up.number not in page
    assert "Bay closed: new floor" in page
    assert re.findall(r'<section class="day[^"]*"\s+aria-label="([^"]+)"', page) == [
        "Monday 18 May", "Tuesday 19 May", "Wednesday 20 May", "Thursday 21 May", "Friday 22 May",
    ]  # fmt: skip
    assert re.findall(r'class="day today chosen"[^>]+aria-label="([^"]+)"', page) == ["Wednesday 20 May"]
    assert "data-movable" not in page  # an applicator moves none
    chosen = log_in("writer").get("/bays/", {"day": "2026-05-21"}).content.decode()
    assert re.findall(r'class="day chosen"[^>]+aria-label="([^"]+)"', chosen) == ["Thursday 21 May"]
    assert 'data-movable="yes"' in chosen
    holiday = log_in("writer").get("/bays/", {"week": "2026-W22"}).content.decode()
    assert "Closed: a public holiday" in holiday and "No visit is booked in this week." in holiday
    monday, tuesday = holiday.split('<section class="day')[1:3]
    assert "Closed: a public holiday" in monday and ">free<" not in monday and ">free<" in tuesday
    for wrong in ({"week": "2026-W99"}, {"week": "x"}, {"day": "2026-02-30"}, {"day": "0001-01-01"}, {"site": "none"}):
        answer = log_in("writer").get("/bays/", wrong)
        assert answer.status_code == 200 and 'id="errors"' in answer.content.decode(), wrong
    assert log_in("dealer").get("/bays/").status_code == 403


def test_a_bay_that_is_closed_all_day_is_not_called_free(demo: DemoShop) -> None:
    floor = Bay.objects.get(code="floor")
    for first, last, day in ((22, 23, 22), (21, 21, 21)):
        closes, opens = datetime(2026, 5, first, 0, 0, tzinfo=ZONE), datetime(2026, 5, last, 10, 0, tzinfo=ZONE)
        close_bay(bay=floor, starts_at=closes, ends_at=opens, reason="new floor", now=NOW, actor=None)
        page = log_in("lift").get("/bays/", {"day": f"2026-05-{day}"}).content.decode()
        cells = [cell for cell in page.split('data-bay="') if cell.startswith(f'{floor.pk}"')]
        (shown,) = (cell for cell in cells if f'data-day="2026-05-{day}"' in cell)
        assert (">free<" in shown) == (first == last), day


def test_a_visit_is_dropped_elsewhere_and_put_back(demo: DemoShop) -> None:
    client, visit = log_in("writer"), book(demo, "overdue", 21, 8)
    moved = drop(client, visit, "2026-05-22", 9 * 60 + 30, "low-lift")
    shown = moved.content.decode()
    assert moved.status_code == 200 and "<html" not in shown
    assert read_start(visit) == "Fri 09:30 low-lift"
    assert f"Visit {visit.number} is on Friday 22 May at 09:30 now, Low lift." in shown
    back = read_slots(shown)
    assert len(back) == 1
    again = client.post("/bays/drop/", {"number": visit.number, "sequence": visit.sequence, "slot": back[0], **WEEK})
    assert again.status_code == 302  # without a script the whole page follows
    assert f"moved={visit.number}" in again.headers["Location"]
    assert read_start(visit) == "Thu 08:00 tall-lift"


def test_a_drop_that_can_not_stand_says_why_and_changes_nothing(demo: DemoShop) -> None:
    client, visit, other = log_in("writer"), book(demo, "overdue", 21, 8), book(demo, "in-grace", 22, 8)
    taken = drop(client, visit, "2026-05-22", 9 * 60)
    shown = taken.content.decode()
    assert taken.status_code == 409 and "Tall lift is taken from" in shown
    assert len(read_slots(shown)) == 3
    stale = drop(client, visit, "2026-05-22", 13 * 60, sequence=7)
    assert stale.status_code == 409 and "was changed meanwhile" in stale.content.decode()
    for day, minute, bay, told in (
        ("2026-05-22", 9 * 60, "floor", "has no lift"), ("2026-05-23", 9 * 60, "tall-lift", "is closed on"),
        ("2026-05-22", 12 * 60 + 15, "tall-lift", "is not open at"), ("2026-05-18", 9 * 60, "tall-lift", "is past"),
        ("2026-05-22", 16 * 60, "tall-lift", "would not be done on that day"),
        ("soon", 9 * 60, "tall-lift", "could not be read"), ("2026-05-22", 9999, "tall-lift", "outside of the day"),
    ):  # fmt: skip
        refused = drop(client, visit, day, minute, bay)
        assert refused.status_code == 400 and told in refused.content.decode(), told
    assert read_start(visit) == "Thu 08:00 tall-lift" and read_start(other) == "Fri 08:00 tall-lift"
    assert drop(log_in("lift"), visit, "2026-05-22", 13 * 60).status_code == 403
    assert drop(client, visit, "2026-05-22", 13 * 60).status_code == 200
    assert read_start(visit) == "Fri 13:00 tall-lift"


def test_a_drop_takes_who_is_free_where_the_own_person_is_not(demo: DemoShop) -> None:
    visit, other = book(demo, "overdue", 21, 8), book(demo, "in-grace", 22, 8)
    assert other.person == visit.person
    assert drop(log_in("writer"), visit, "2026-05-22", 8 * 60, "low-lift").status_code == 200
    visit.refresh_from_db()
    assert visit.person is not None and visit.person != other.person


def test_visits_that_can_not_stay_and_those_left_open_stand_on_top(demo: DemoShop) -> None:
    closed, away, old = book(demo, "overdue", 21, 8), book(demo, "in-grace", 22, 8), book(demo, "due-soon", 20, 11, 15)
    page = log_in("writer").get("/bays/").content.decode()
    assert "To be moved" not in page and "Say what became of them" not in page
    span = {"ends_at": datetime(2026, 5, 22, 9, 0, tzinfo=ZONE), "now": NOW, "actor": None}
    close_bay(bay=closed.bay, starts_at=datetime(2026, 5, 21, 7, 0, tzinfo=ZONE), reason="broken", **span)
    note_absence(person=away.person, starts_at=datetime(2026, 5, 22, 7, 0, tzinfo=ZONE), **span)
    page = log_in("writer").get("/bays/").content.decode()
    top = page[page.index("To be moved") : page.index("bays-table")]
    assert f"{closed.number}</a>: Tall lift is closed then" in top
    assert f"{away.number}</a>: Tall lift is closed then; " in top and "is away then" in top
    assert "bay closed: move it" in page
    with freeze_time("2026-05-21 11:00"):
        page = log_in("writer").get("/bays/").content.decode()
        assert f"{old.number}</a>" in page[page.index("Say what became of them") :]


def test_the_week_asks_a_constant_number_of_queries(demo: DemoShop, django_assert_num_queries) -> None:
    client = log_in("writer")
    with django_assert_num_queries(14):
        client.get("/bays/", WEEK)
    for key, day in (("overdue", 21), ("in-grace", 22), ("due-soon", 20)):
        book(demo, key, day, 13)
    with django_assert_num_queries(14):
        assert "<article" in client.get("/bays/", WEEK).content.decode()


def set_up(action: str, **given: object) -> object:
    return log_in("owner").post(f"/set-up/do/{action}/", {"site": "quay-street", **given})


def test_the_owner_sets_up_what_the_site_has_to_work_with(demo: DemoShop) -> None:
    owner = log_in("owner")
    assert owner.get("/set-up/").status_code == 200
    assert log_in("writer").get("/set-up/").status_code == 403
    assert log_in("writer").post("/set-up/do/hours/", {}).status_code == 403
    backwards = set_up("hours", **{"hours-from_1_1": "12:00", "hours-to_1_1": "08:00"})
    assert backwards.status_code == 400 and "The end is not after the beginning." in backwards.content.decode()
    half = set_up("hours", **{"hours-from_1_1": "12:00"})
    assert half.status_code == 400 and "Give both times" in half.content.decode()
    assert set_up("hours").status_code == 400 and SiteHours.objects.count() == 10
    good = {"hours-from_1_1": "07:00", "hours-to_1_1": "11:00", "hours-from_1_2": "11:30", "hours-to_1_2": "16:00"}
    assert set_up("hours", **good).status_code == 302
    assert [str(row.opens_at) for row in SiteHours.objects.all()] == ["07:00:00", "11:30:00"]
    bay = {"name": "Side bay", "code": "side", "kind": "ground", "in_use": "on"}
    assert set_up("bay", **{f"bay-new-{key}": value for key, value in bay.items()}).status_code == 302
    side = Bay.objects.get(code="side")
    twice = set_up("bay", **{f"bay-new-{key}": value for key, value in bay.items()})
    assert twice.status_code == 400 and Bay.objects.filter(code="side").count() == 1
    renamed = {f"bay-{side.pk}-{key}": value for key, value in {**bay, "name": "Yard"}.items()}
    assert set_up("bay", row=side.pk, **renamed).status_code == 302
    assert Bay.objects.get(code="side").name == "Yard"
    assert set_up("bay", row=999999, **renamed).status_code == 404
    lift = User.objects.get(username="lift")
    assert set_up("skills", row=lift.pk, **{f"skills-{lift.pk}-skills": ["inspecting"]}).status_code == 302
    assert [row.skill for row in PersonSkill.objects.filter(person=lift)] == ["inspecting"]
    hours = {f"hours-{lift.pk}-from_2_1": "09:00", f"hours-{lift.pk}-to_2_1": "12:00"}
    assert set_up("person-hours", row=lift.pk, **hours).status_code == 302
    assert [(row.weekday, str(row.starts_at)) for row in PersonHours.objects.filter(person=lift)] == [(2, "09:00:00")]
    duration = WorkDuration.objects.get(visit="reinspection", body_style="")
    values = {"bay_kind": "lift", "skill": "inspecting", "wash_and_dry_minutes": "15", "minutes_per_zone": "0"}
    given = {f"duration-{duration.pk}-{key}": value for key, value in {**values, "standing_minutes": "0"}.items()}
    none = set_up("duration", row=duration.pk, **{**given, f"duration-{duration.pk}-work_minutes": "0"})
    assert none.status_code == 400
    given[f"duration-{duration.pk}-work_minutes"] = "40"
    assert set_up("duration", row=duration.pk, **given).status_code == 302
    duration.refresh_from_db()
    assert duration.work_minutes == 40
    assert set_up("nonsense").status_code == 404
    written = set(Event.objects.filter(happened_at=NOW).values_list("kind", flat=True))
    assert written >= {
        "site_hours.changed", "bay.added", "bay.changed", "person.skills_changed", "person_hours.changed",
        "work_duration.changed",
    }  # fmt: skip


def test_a_bay_is_closed_and_opened_again_on_the_clock_of_the_site(demo: DemoShop) -> None:
    visit = book(demo, "overdue", 21, 8)
    times = {"closure-starts_at": "2026-05-21T07:00", "closure-ends_at": "2026-05-21T12:00"}
    backwards = {**times, "closure-ends_at": "2026-05-20T12:00", "closure-reason": "x", "closure-bay": visit.bay_id}
    refused = set_up("close", **backwards)
    assert refused.status_code == 400 and "is not after" in refused.content.decode()
    assert set_up("close", **{**times, "closure-bay": visit.bay_id}).status_code == 400
    closed = set_up("close", **{**times, "closure-reason": "lift examined", "closure-bay": visit.bay_id})
    assert "to_be_moved=1" in closed.headers["Location"]
    shown = log_in("owner").get(closed.headers["Location"]).content.decode()
    assert "1 visit stands there and has to be moved" in shown
    closure = BayClosure.objects.get()
    assert closure.starts_at == datetime(2026, 5, 21, 7, 0, tzinfo=ZONE)
    assert set_up("reopen", row=closure.pk).status_code == 302
    assert not BayClosure.objects.exists()
    away = {"absence-starts_at": "2026-05-21T07:00", "absence-ends_at": "2026-05-21T12:00"}
    away["absence-person"] = visit.person_id
    assert "to_be_moved=1" in set_up("absence", **away).headers["Location"]
    assert set_up("back", row=Absence.objects.get().pk).status_code == 302
    assert not Absence.objects.exists()
    kinds = Event.objects.filter(kind__in=["bay.closed", "bay.opened", "person.away", "person.back"])
    assert [event.kind for event in kinds] == ["bay.closed", "bay.opened", "person.away", "person.back"]


def test_the_set_up_names_the_field_and_takes_no_number_that_no_shop_has(demo: DemoShop) -> None:
    duration, bay = WorkDuration.objects.get(visit="reinspection", body_style=""), Bay.objects.first()
    assert bay is not None
    minutes = {
        "bay_kind": "lift", "skill": "inspecting", "wash_and_dry_minutes": "15", "minutes_per_zone": "0",
        "standing_minutes": "0", "work_minutes": "40",
    }  # fmt: skip
    of_bay = {"name": bay.name, "code": bay.code, "kind": bay.kind, "in_use": "on"}
    other = Bay.objects.exclude(pk=bay.pk).filter(site=bay.site).first()
    assert other is not None
    for action, part, row, values, wrong, told in (
        ("duration", "duration", duration.pk, minutes, {"work_minutes": "0"}, "Work, minutes: 0 minutes: write 1 to"),
        (
            "duration",
            "duration",
            duration.pk,
            minutes,
            {"standing_minutes": "99999"},
            "99,999 minutes: write 0 to",
        ),
        ("duration", "duration", duration.pk, minutes, {"work_minutes": ""}, "Work, minutes: This field is required."),
        ("bay", "bay", bay.pk, of_bay, {"most_height_mm": "0"}, "Tallest vehicle, mm: 0 mm: write 1 to"),
        ("bay", "bay", bay.pk, of_bay, {"most_mass_kg": "2147483648"}, "2,147,483,648 kg: write 1 to 100,000 kg"),
        (
            "bay",
            "bay",
            bay.pk,
            of_bay,
            {"code": other.code},
            f"in addresses: {other.code} is the short name",
        ),
    ):
        given = {f"{part}-{row}-{name}": value for name, value in {**values, **wrong}.items()}
        refused = set_up(action, row=row, **given)
        page = unescape(refused.content.decode())
        assert refused.status_code == 400 and told in page, wrong
        assert "Constraint" not in page and f'value="{next(iter(wrong.values()))}"' in page
        fine = {f"{part}-{row}-{name}": value for name, value in values.items()}
        assert set_up(action, row=row, **fine).status_code == 302
    times = {"closure-starts_at": "2026-05-21T07:00", "closure-ends_at": "2026-05-21T12:00", "closure-bay": bay.pk}
    for wrong, told in (
        ({"closure-ends_at": "2026-05-21T06:30"}, "Until: 21 May 2026 06:30 is not after 21 May 2026 07:00"),
        ({"closure-ends_at": "9999-12-31T23:59"}, "31 December 9999 is out of reach: write a day from"),
        ({"closure-starts_at": "0001-01-01T00:00"}, "is out of reach: write a day from"),
    ):
        refused = set_up("close", **{**times, "closure-reason": "x", **wrong})
        assert refused.status_code == 400 and told in unescape(refused.content.decode()), wrong
    for _press in (1, 2):
        assert set_up("close", **times, **{"closure-reason": "lift examined"}).status_code == 302
    assert BayClosure.objects.count() == 1
    away = {"absence-starts_at": "2026-05-21T07:00", "absence-ends_at": "2026-05-21T12:00"}
    away["absence-person"] = str(User.objects.get(username="lift").pk)
    for _press in (1, 2):
        assert set_up("absence", **away).status_code == 302
    assert Absence.objects.count() == 1


def test_the_set_up_opens_one_form_at_a_time_and_asks_a_constant_number_of_queries(
    demo: DemoShop, django_assert_num_queries
) -> None:
    owner, lift = log_in("owner"), User.objects.get(username="lift")
    with django_assert_num_queries(14):
        page = owner.get("/set-up/").content.decode()
    assert f'name="skills-{lift.pk}-skills"' not in page
    PersonHours.objects.create(person=lift, weekday=2, starts_at="09:00", ends_at="12:00")
    Bay.objects.create(site=demo.site, code="side", name="Side bay", kind="ground")
    with django_assert_num_queries(14):
        page = owner.get("/set-up/", {"open": f"skills-{lift.pk}"}).content.decode()
    assert f'name="skills-{lift.pk}-skills"' in page and 'value="09:00"' in page
    assert "Side bay" in page


@pytest.mark.django_db
@pytest.mark.parametrize("is_staff", [True, False])
def test_without_a_site_the_set_up_says_how_to_begin(is_staff: bool) -> None:
    owner = User.objects.create(username="first", role="owner", is_staff=is_staff, is_superuser=is_staff)
    client = Client()
    client.force_login(owner)
    page = client.get("/set-up/")
    assert page.status_code == 200 and "No site yet" in page.content.decode()
    assert ("/admin/treatments/site/add/" in page.content.decode()) == is_staff
    assert 'aria-current="page">Set-up' in page.content.decode()
