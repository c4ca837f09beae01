"""Booking with a browser: by keyboard alone, by dragging, without scripts, on a telephone, and two people at once."""

import zoneinfo
from collections.abc import Callable
from datetime import date, datetime, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import BrowserContext, Page, expect

from scheduling.booking.reading import read_site_times
from scheduling.booking.services import book_visit
from scheduling.enums import VisitKind
from scheduling.models import Appointment, AppointmentStatus, Bay, CoverState
from tests.browser.conftest import OpenPage
from tests.browser.looking import SIZES
from treatments.models import Site, User, Vehicle
from treatments.queries import find_today

MOST_PRESSES = 10
WIDE, NARROW = {"viewport": SIZES[1280]}, {"viewport": SIZES[360]}


def find_week(site: Site) -> date:
    """Return a Tuesday some weeks ahead, the Wednesday after which is open too."""
    day = find_today(timezone.now(), site) + timedelta(days=14)
    (times,) = read_site_times([site], day, day + timedelta(days=60))
    while not (day.isoweekday() == 2 and {day, day + timedelta(days=1)} <= times.open_spans.keys()):
        day += timedelta(days=1)
    return day


def book_on(day: date, hour: int, vehicle: Vehicle, bay: str = "tall-lift", person: str = "lift") -> Appointment:
    site = Site.objects.get()
    start = datetime(day.year, day.month, day.day, hour, tzinfo=zoneinfo.ZoneInfo(site.time_zone))
    return book_visit(
        vehicle=vehicle, bay=Bay.objects.select_related("site").get(code=bay), starts_at=start, now=timezone.now(),
        person=User.objects.get(username=person), visit=VisitKind.ANNUAL_TOUCH_UP,
        actor=User.objects.get(username="writer"),
    )  # fmt: skip


def read_place(visit: Appointment) -> tuple[date, str, str]:
    visit.refresh_from_db()
    local = visit.starts_at.astimezone(zoneinfo.ZoneInfo(visit.site.time_zone))
    return local.date(), f"{local:%H:%M}", visit.bay.code


class Keys:
    """Presses keys and counts them."""

    def __init__(self, page: Page) -> None:
        self.page, self.count = page, 0

    def press(self, key: str) -> None:
        self.page.keyboard.press(key)
        self.count += 1

    def tab_to(self, words: str) -> None:
        while (self.page.evaluate("document.activeElement.textContent") or "").strip() != words:
            assert self.count < 40, f"{words} is not reached by Tab"
            self.press("Tab")


@pytest.fixture
def tuesday(desk: str) -> date:
    return find_week(Site.objects.get())


@pytest.fixture
def visit(tuesday: date) -> Appointment:
    return book_on(tuesday, 9, Vehicle.objects.filter(appointments__isnull=True).order_by("pk")[0])


def test_a_due_vehicle_is_booked_by_keyboard_alone(open_page: OpenPage) -> None:
    page = open_page("/due/", "writer", **WIDE)
    before = set(Appointment.objects.values_list("pk", flat=True))
    keys = Keys(page)
    keys.press("Tab")  # the link that skips to the content
    keys.press("Enter")
    keys.tab_to("Book the next due vehicle")
    keys.press("Enter")
    expect(page.locator("button.slot").first).to_be_focused()
    keys.press("Enter")
    expect(page.get_by_text("Booked: visit")).to_be_visible()
    assert keys.count <= MOST_PRESSES
    booked = Appointment.objects.exclude(pk__in=before).get()
    assert CoverState.objects.get(cover=booked.cover).booked_on is not None
    # From here Enter goes on to the next one.
    expect(page.get_by_role("link", name="Next due vehicle")).to_be_focused()
    keys.press("Enter")
    expect(page.locator("button.slot").first).to_be_focused()
    assert booked.vehicle.vin not in page.url


def test_a_booking_is_undone_by_one_press(open_page: OpenPage) -> None:
    page = open_page("/due/next/", "writer", **WIDE)
    page.locator("button.slot").first.click()
    expect(page.get_by_text("Booked: visit")).to_be_visible()
    page.get_by_role("button", name="Undo the booking").click()
    expect(page.get_by_text("Cancelled. Its place is free again")).to_be_visible()
    number = page.url.split("/visits/")[1].split("/")[0]
    assert Appointment.objects.get(number=number).status == AppointmentStatus.CANCELLED


def open_week(open_page: OpenPage, day: date, **options: object) -> Page:
    return open_page(f"/bays/?week={day:%G-W%V}&day={day}", "writer", **options)


def test_a_visit_is_dragged_to_another_day_and_time_and_put_back(
    open_page: OpenPage, visit: Appointment, tuesday: date
) -> None:
    page = open_week(open_page, tuesday, **WIDE)
    block = page.locator(f"#visit-{visit.number}")
    block.scroll_into_view_if_needed()
    wednesday = tuesday + timedelta(days=1)
    lane = page.locator(f'.bay[data-day="{wednesday}"][data-bay="{visit.bay_id}"] .lane')
    table = page.locator("#bays-table")
    first, minutes = (int(table.get_attribute(name) or 0) for name in ("data-first-minute", "data-minutes"))
    start, target = block.bounding_box(), lane.bounding_box()
    assert start and target
    page.mouse.move(start["x"] + 30, start["y"] + 10)
    page.mouse.down()
    # To half past one; a little off, since a drop falls on the next quarter of an hour.
    wanted = target["y"] + (13 * 60 + 30 - first) / minutes * target["height"] + 10
    page.mouse.move(target["x"] + 40, wanted + 2, steps=8)
    assert page.locator(".ghost").text_content() == "13:30"
    page.mouse.up()
    expect(page.get_by_text(f"Visit {visit.number} is on").first).to_be_visible()
    assert read_place(visit) == (wednesday, "13:30", "tall-lift")
    page.get_by_role("button", name="Put it back").click()
    expect(page.locator(f'.bay[data-day="{tuesday}"] #visit-{visit.number}')).to_be_visible()
    assert read_place(visit) == (tuesday, "09:00", "tall-lift")


def test_a_press_without_a_drag_opens_the_visit(open_page: OpenPage, visit: Appointment, tuesday: date) -> None:
    page = open_week(open_page, tuesday, **WIDE)
    page.locator(f"#visit-{visit.number} a").first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(visit.number)
    assert read_place(visit) == (tuesday, "09:00", "tall-lift")


def test_a_visit_is_moved_by_keyboard_and_every_step_is_said(
    open_page: OpenPage, visit: Appointment, tuesday: date
) -> None:
    page = open_week(open_page, tuesday, **WIDE)
    said, link = page.locator("#bays-said"), page.locator(f"#visit-{visit.number} a").first
    link.focus()
    page.keyboard.press("m")
    expect(said).to_contain_text("Enter puts it there")
    page.keyboard.press("ArrowDown")
    expect(said).to_have_text(f"09:15, Tuesday {tuesday.day} {tuesday:%B}, Tall lift")
    page.keyboard.press("Escape")
    expect(said).to_have_text("Left where it was.")
    assert read_place(visit) == (tuesday, "09:00", "tall-lift")
    expect(link).to_be_focused()
    page.keyboard.press("m")
    for key in ("ArrowRight", "ArrowUp", "ArrowUp", "PageUp"):
        page.keyboard.press(key)
    expect(said).to_contain_text("08:30, Wednesday")
    expect(said).to_contain_text("Low lift")
    page.keyboard.press("Enter")
    expect(said).to_contain_text(f"Visit {visit.number} is on Wednesday")
    expect(page.locator(f"#visit-{visit.number} a").first).to_be_focused()
    assert read_place(visit) == (tuesday + timedelta(days=1), "08:30", "low-lift")


def test_a_letter_moves_nothing_where_no_visit_has_the_focus(
    open_page: OpenPage, visit: Appointment, tuesday: date
) -> None:
    page = open_week(open_page, tuesday, **WIDE)
    page.keyboard.press("m")
    assert page.locator(".ghost").count() == 0
    page.locator(f"#visit-{visit.number} .move").focus()
    page.keyboard.press("Enter")  # the button does what the letter does
    assert page.locator(".ghost").count() == 1


def test_a_drop_on_a_taken_place_is_told_with_three_other_times(
    open_page: OpenPage, visit: Appointment, tuesday: date
) -> None:
    wednesday = tuesday + timedelta(days=1)
    other = book_on(wednesday, 9, Vehicle.objects.filter(appointments__isnull=True).order_by("pk")[0])
    page = open_week(open_page, tuesday, **WIDE)
    page.locator(f"#visit-{visit.number} a").first.focus()
    for key in ("m", "ArrowRight", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    errors = page.locator("#errors")
    expect(errors).to_be_focused()
    expect(errors).to_contain_text("Tall lift is taken from")
    assert read_place(visit) == (tuesday, "09:00", "tall-lift")
    assert errors.locator("button.slot").count() == 3
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_text(f"Visit {visit.number} is on").first).to_be_visible()
    assert read_place(visit) != (tuesday, "09:00", "tall-lift")
    assert read_place(other) == (wednesday, "09:00", "tall-lift")


def test_a_visit_that_somebody_else_moved_meanwhile_is_not_moved_over(
    open_page: OpenPage, visit: Appointment, tuesday: date
) -> None:
    mine, theirs = open_week(open_page, tuesday, **WIDE), open_week(open_page, tuesday, **WIDE)
    for page, key in ((theirs, "ArrowRight"), (mine, "ArrowDown")):
        page.locator(f"#visit-{visit.number} a").first.focus()
        for pressed in ("m", key, "Enter"):
            page.keyboard.press(pressed)
        expect(page.locator("#errors" if page is mine else ".notice.done")).to_be_visible()
    expect(mine.locator("#errors")).to_contain_text("changed after the page was shown")
    assert read_place(visit) == (tuesday + timedelta(days=1), "09:00", "tall-lift")
    # The week shows it where it stands now, so that the next drop counts.
    expect(mine.locator(f'.bay[data-day="{tuesday + timedelta(days=1)}"] #visit-{visit.number}')).to_be_visible()


def test_two_people_press_for_one_slot_at_the_same_moment(
    new_context: Callable[..., BrowserContext], desk: str
) -> None:
    pages = []
    for username, vehicle in zip(("writer", "owner"), Vehicle.objects.order_by("pk"), strict=False):
        page = new_context(username, **WIDE).new_page()
        page.goto(f"/vehicles/{vehicle.vin}/book/?visit=look_at_rust")
        pages.append(page)
    first, second = (page.locator("button.slot").first.inner_text() for page in pages)
    assert first.splitlines()[:2] == second.splitlines()[:2]
    before = Appointment.objects.count()
    for page in pages:
        page.evaluate("() => { document.querySelector('button.slot').click(); }")
    for page in pages:
        expect(page.locator(".notice.done, #errors").first).to_be_visible()
    told = [page.get_by_text("Booked: visit").count() for page in pages]
    assert sorted(told) == [0, 1]
    assert Appointment.objects.count() == before + 1
    loser = pages[told.index(0)]
    expect(loser.locator("#errors")).to_be_focused()
    assert loser.locator("#errors button.slot").count() == 3
    loser.locator("#errors button.slot").first.click()
    expect(loser.get_by_text("Booked: visit")).to_be_visible()
    assert Appointment.objects.count() == before + 2


def test_without_scripts_a_visit_is_moved_on_its_own_page(
    open_page: OpenPage, visit: Appointment, tuesday: date
) -> None:
    page = open_week(open_page, tuesday, java_script_enabled=False, **WIDE)
    page.locator(f"#visit-{visit.number} .move").focus()
    page.keyboard.press("Enter")
    page.get_by_label("Day").last.fill(str(tuesday + timedelta(days=1)))
    page.get_by_label("Begins at").fill("10:00")
    page.get_by_role("button", name="Move to this time").click()
    expect(page.get_by_text("Moved: it is now on")).to_be_visible()
    assert read_place(visit) == (tuesday + timedelta(days=1), "10:00", "tall-lift")


def test_a_telephone_shows_one_day_at_a_time_and_moves_by_a_form(
    open_page: OpenPage, visit: Appointment, tuesday: date
) -> None:
    page = open_week(open_page, tuesday, **NARROW)
    expect(page.locator(".day:visible")).to_have_count(1)
    expect(page.locator(f"#visit-{visit.number}")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[360]["width"]
    page.get_by_role("link", name="Day after").click()
    expect(page.locator(f"#visit-{visit.number}")).to_be_hidden()
    page.get_by_role("link", name="Day before").click()
    page.locator(f"#visit-{visit.number} .move").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Move visit")


def test_a_move_that_does_not_arrive_says_so_and_shows_the_visit_where_it_stands(
    open_page: OpenPage, visit: Appointment, tuesday: date
) -> None:
    page = open_week(open_page, tuesday, **WIDE)
    page.context.set_offline(True)
    page.locator(f"#visit-{visit.number} a").first.focus()
    for key in ("m", "ArrowRight", "Enter"):
        page.keyboard.press(key)
    expect(page.locator("#bays-said")).to_contain_text("could not be sent; nothing was changed")
    expect(page.locator(f'.bay[data-day="{tuesday}"] #visit-{visit.number}')).to_be_visible()
    page.context.set_offline(False)
    assert read_place(visit) == (tuesday, "09:00", "tall-lift")
