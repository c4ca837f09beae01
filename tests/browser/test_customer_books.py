"""A customer's main job with a browser on a telephone: from the link in a mail to a visit in the calendar and back."""

import pytest
from icalendar import Calendar
from playwright.sync_api import Page, expect

from notifications.models import Message
from scheduling.models import Appointment, AppointmentStatus
from tests.browser.axe import assert_no_violations
from tests.browser.conftest import OpenPage
from tests.browser.looking import SIZES
from tests.browser.pages import find_due_cover, own_due


@pytest.mark.parametrize("scripts", [True, False])
def test_a_customer_books_moves_and_cancels_on_a_telephone(open_page: OpenPage, scripts: bool) -> None:
    cover = find_due_cover()
    page: Page = open_page(
        f"/my/{own_due()[0]}/", viewport=SIZES[360], java_script_enabled=scripts, accept_downloads=True
    )
    # Three presses: the time, the question, done.
    page.get_by_role("link", name="ready").first.click()
    expect(page.get_by_role("heading", name="Book this time?")).to_be_visible()
    page.get_by_role("button", name="Book the visit").click()
    expect(page.get_by_role("status").filter(has_text="It is booked")).to_be_visible()
    visit = Appointment.objects.get(cover=cover, status=AppointmentStatus.BOOKED)
    assert visit.booked_by == "customer" and visit.sequence == 0
    with page.expect_download() as download:
        page.get_by_role("link", name="Add to calendar").click()
    (event,) = Calendar.from_ical(download.value.path().read_bytes()).walk("VEVENT")
    assert event.decoded("dtstart") == visit.starts_at
    page.get_by_role("link", name="Move", exact=True).click()
    page.get_by_role("link", name="ready").last.click()
    page.get_by_role("button", name="Move the visit").click()
    expect(page.get_by_role("status").filter(has_text="It is moved")).to_be_visible()
    before = visit.starts_at
    visit.refresh_from_db()
    assert visit.starts_at != before
    page.get_by_role("link", name="Cancel the visit").click()
    page.get_by_label("Why?").fill("ill")
    page.get_by_role("button", name="Cancel the visit").click()
    expect(page.get_by_role("status").filter(has_text="It is cancelled")).to_be_visible()
    visit.refresh_from_db()
    assert (visit.status, visit.status_reason) == ("cancelled", "ill")
    expect(page.get_by_role("heading", name="Choose a time")).to_be_visible()
    assert list(Message.objects.filter(appointment=visit).order_by("pk").values_list("kind", flat=True)) == [
        "visit_booked", "visit_moved", "visit_cancelled",
    ]  # fmt: skip
    if scripts:
        assert_no_violations(page)


def test_the_day_that_was_not_understood_takes_the_focus_and_leads_to_its_field(open_page: OpenPage) -> None:
    page: Page = open_page(f"/my/{own_due()[0]}/?from=tomorrow", viewport=SIZES[360])
    expect(page.get_by_role("alert").filter(has_text="tomorrow")).to_be_focused()
    page.get_by_role("alert").get_by_role("link").click()
    expect(page.get_by_label("Not before")).to_be_focused()
