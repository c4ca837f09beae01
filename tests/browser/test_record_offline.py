"""The form by the lift in a browser whose network goes: what was typed stays, and arrives exactly once."""

import re
from collections.abc import Callable, Iterator

import pytest
from django.utils import timezone
from playwright.sync_api import BrowserContext, Page, Route, expect

from tests.browser.conftest import log_in
from tests.desk.lift import draw_picture
from treatments.models import Inspection, Photo, SentForm, Treatment, User, Vehicle
from treatments.vehicles.services import correct_vehicle

QUANTITY = "[name='c-rocker_left-0-quantity']"


@pytest.fixture
def vin(desk: str) -> str:
    """A car of the demo shop on which nothing was done today."""
    return Vehicle.objects.filter(body_style="car", treatments__isnull=False).order_by("pk")[0].vin


@pytest.fixture
def tablet(new_context: Callable[..., BrowserContext]) -> Iterator[Page]:
    """A page of a tablet on which the applicator is logged in; a fault in its scripts fails the test."""
    page = new_context("lift", viewport={"width": 800, "height": 1100}).new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    yield page
    page.context.set_offline(False)
    assert not faults


def change_person(page: Page, username: str, desk: str) -> None:
    page.context.clear_cookies()
    log_in(page.context, username, desk)


def list_typed() -> list[Treatment]:
    """Return what came of the forms that a test typed."""
    return list(Treatment.objects.filter(note__startswith="typed"))


def type_treatment(page: Page, vin: str) -> None:
    page.goto(f"/vehicles/{vin}/treat/")
    zone = page.locator("#zone-rocker_left")
    if zone.get_attribute("open") is None:
        zone.locator("summary").first.click()
    zone.locator("input[value=done]").check()
    page.fill(QUANTITY, "0.2")
    page.fill("#id_note", "typed by the lift")


def read_kept(page: Page) -> list[str]:
    kept: list[str] = page.evaluate("Object.keys(localStorage)")
    return kept


def test_typed_without_network_it_stays_and_is_sent_once(tablet: Page, vin: str) -> None:
    page, context = tablet, tablet.context
    type_treatment(page, vin)
    context.set_offline(True)
    page.fill("#id_note", "typed without network")
    page.click(".send button")
    page.wait_for_selector(".k-waiting")
    assert "not sent yet" in page.inner_text("#kept-line")
    assert not list_typed()
    context.set_offline(False)
    page.wait_for_url("**/treatments/*/")
    (treatment,) = list_typed()
    assert treatment.note == "typed without network" and treatment.lines.get().zone.code == "rocker_left"
    assert SentForm.objects.count() == 1 and read_kept(page) == []


def test_after_a_reload_what_was_typed_is_back_under_its_key(tablet: Page, vin: str) -> None:
    page = tablet
    type_treatment(page, vin)
    key = page.input_value("[name=form_key]")
    page.reload()
    page.wait_for_selector(".k-typing")
    assert "is back on the page" in page.inner_text("#kept-line")
    assert page.input_value(QUANTITY) == "0.2" and page.input_value("[name=form_key]") == key
    page.click("text=start anew")
    # Not wait_for_function: it evaluates a string in the page, which the page's policy of content refuses.
    expect(page.locator("#id_note")).to_have_value("")
    assert page.input_value("[name=form_key]") != key and read_kept(page) == []


def test_a_second_product_on_a_zone_stays_too(tablet: Page, vin: str) -> None:
    page = tablet
    type_treatment(page, vin)
    zone = page.locator("#zone-rocker_left")
    zone.locator("button[name=more]").click()
    second = zone.locator("[name='c-rocker_left-1-material']")
    assert second.input_value() == "" and page.evaluate("document.activeElement.name") == "c-rocker_left-1-material"
    second.select_option(index=2)
    page.fill("[name='c-rocker_left-1-quantity']", "0.1")
    page.reload()
    page.wait_for_selector(".k-typing")
    assert page.input_value("[name='c-rocker_left-1-quantity']") == "0.1"
    page.focus("#id_humidity")
    page.keyboard.press("Enter")  # the form is sent, not a third product asked for
    page.wait_for_url("**/treatments/*/")
    (treatment,) = list_typed()
    assert [str(line.quantity_amount.normalize()) for line in treatment.lines.order_by("pk")] == ["0.2", "0.1"]


def test_where_the_answer_was_lost_it_is_recorded_once(tablet: Page, vin: str) -> None:
    page = tablet
    type_treatment(page, vin)
    answers: list[int] = []

    def lose_first(route: Route) -> None:
        # The desk gets it, the tablet never hears so.
        if route.request.method == "POST" and not answers:
            answers.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.route(re.compile(rf"/vehicles/{vin}/treat/$"), lose_first)
    page.click(".send button")
    page.wait_for_selector(".k-waiting")
    assert answers == [200] and len(list_typed()) == 1
    page.evaluate("window.dispatchEvent(new Event('online'))")
    page.wait_for_url("**/treatments/*/")
    assert len(list_typed()) == SentForm.objects.count() == 1 and read_kept(page) == []


def test_what_changed_meanwhile_is_told_and_what_was_typed_arrives_once(tablet: Page, vin: str) -> None:
    page, context = tablet, tablet.context
    type_treatment(page, vin)
    context.set_offline(True)
    page.click(".send button")
    page.wait_for_selector(".k-waiting")
    vehicle = Vehicle.objects.get(vin=vin)
    correct_vehicle(vehicle=vehicle, plate="FEN 77", now=timezone.now(), actor=None)
    context.set_offline(False)
    page.wait_for_selector("#errors")
    assert "the vehicle was corrected" in page.inner_text("#errors") and not list_typed()
    assert page.input_value(QUANTITY) == "0.2" and page.input_value("#id_note") == "typed by the lift"
    page.click(".send button")
    page.wait_for_url("**/treatments/*/")
    assert len(list_typed()) == SentForm.objects.count() == 1 and read_kept(page) == []


def test_a_session_that_ended_meanwhile_loses_nothing(tablet: Page, vin: str, desk: str) -> None:
    page = tablet
    type_treatment(page, vin)
    page.context.clear_cookies()
    page.click(".send button")
    page.wait_for_selector(".k-stuck")
    assert "You are logged out" in page.inner_text("#kept-line")
    # Another person logs in first: it is not theirs to send, nor to see.
    change_person(page, "writer", desk)
    page.goto(f"/vehicles/{vin}/treat/")
    assert page.input_value(QUANTITY) == "" and not list_typed()
    change_person(page, "lift", desk)
    page.goto("/vehicles/")  # any page of the desk sends what waits
    page.wait_for_selector(".k-sent")
    assert "Sent at" in page.inner_text(".k-sent")
    assert [work.applicator for work in list_typed()] == [User.objects.get(username="lift")]
    assert read_kept(page) == []


def test_refused_it_shows_why_and_keeps_the_rest(tablet: Page, vin: str) -> None:
    page = tablet
    type_treatment(page, vin)
    page.fill(QUANTITY, "a lot")
    page.click(".send button")
    page.wait_for_selector("#errors")
    assert "not a number" in page.inner_text("#errors")
    assert page.evaluate("document.activeElement.id") == "errors"
    page.click("#errors a")
    assert page.evaluate("document.activeElement.name") == "c-rocker_left-0-quantity"
    assert page.input_value("#id_note") == "typed by the lift"
    page.fill(QUANTITY, "0.2")
    page.click(".send button")
    page.wait_for_url("**/treatments/*/")
    assert len(list_typed()) == 1


def test_logging_out_leaves_nothing_on_a_shared_tablet(tablet: Page, vin: str) -> None:
    page = tablet
    type_treatment(page, vin)
    page.context.set_offline(True)
    page.click(".send button")
    page.wait_for_selector(".k-waiting")
    asked: list[str] = []
    page.once("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
    page.click("text=Log out")
    assert asked and "not sent yet" in asked[0] and len(read_kept(page)) == 1  # thought better of it
    page.route(re.compile(rf"/vehicles/{vin}/treat/$"), lambda route: route.abort())
    page.context.set_offline(False)
    page.once("dialog", lambda dialog: dialog.accept())
    page.click("text=Log out")
    page.wait_for_url("**/log-in/")
    assert read_kept(page) == [] and not list_typed()


def test_photos_taken_without_network_go_with_their_form(tablet: Page, vin: str) -> None:
    page, context = tablet, tablet.context
    page.goto(f"/vehicles/{vin}/inspect/")
    photos = page.locator("#id_p-rocker_left-photos")
    photos.set_input_files([{"name": "not.jpg", "mimeType": "image/jpeg", "buffer": b"no picture"}])
    page.wait_for_selector(".photo-told.field-error")
    assert "not.jpg: not a picture" in page.inner_text(".photo-told.field-error")
    photos.set_input_files([{"name": "a.jpg", "mimeType": "image/jpeg", "buffer": draw_picture().getvalue()}])
    page.wait_for_selector("[data-photos=rocker_left] img")
    context.set_offline(True)
    photos.set_input_files([{"name": "b.png", "mimeType": "image/png", "buffer": draw_picture("PNG").getvalue()}])
    page.wait_for_selector("text=b.png: kept on this tablet")
    page.locator("#zone-rocker_left input[name$='-step'][value='8']").check()
    assert page.inner_text("#zone-rocker_left [data-grade]") == "Ri 4"
    page.click(".send button")
    page.wait_for_selector(".k-waiting")
    context.set_offline(False)
    page.wait_for_url("**/inspections/*/")
    line = Inspection.objects.latest("pk").lines.get()
    assert (line.rusted_area_percent, Photo.objects.filter(line=line).count()) == (8, 2)
    assert page.evaluate("window.deskKept.photos.all()") == [] and read_kept(page) == []


def test_a_figure_that_is_asked_about_when_the_network_is_back_loses_nothing(tablet: Page, vin: str) -> None:
    page, context = tablet, tablet.context
    type_treatment(page, vin)
    context.set_offline(True)
    page.fill("#id_odometer", "999999")
    page.click(".send button")
    page.wait_for_selector(".k-waiting")
    context.set_offline(False)
    confirm = page.locator("[name=odometer_confirmed]")
    confirm.wait_for()
    assert not list_typed() and len(read_kept(page)) == 1
    assert page.input_value("#id_odometer") == "999999" and page.input_value(QUANTITY) == "0.2"
    # Left unanswered, it is all there when the form is opened again, and is asked about again.
    page.goto(f"/vehicles/{vin}/treat/")
    assert page.input_value("#id_odometer") == "999999" and page.input_value(QUANTITY) == "0.2"
    page.click(".send button")
    confirm.check()
    page.click(".send button")
    page.wait_for_url("**/treatments/*/")
    (treatment,) = list_typed()
    assert treatment.odometer_amount == 999_999 and read_kept(page) == []


def test_the_rest_of_a_group_is_filled_in_without_network(tablet: Page, vin: str) -> None:
    page = tablet
    page.goto(f"/vehicles/{vin}/inspect/")
    rest = page.locator(".rest").filter(has=page.locator("button")).first
    codes = (rest.get_attribute("data-zones") or "").split()
    first, others = codes[0], codes[1:]
    page.locator(f"#zone-{first} input[name$='-film'][value=thin]").check(force=True)
    page.context.set_offline(True)
    rest.locator("button").click()
    chosen = """codes => codes.map(code => ["step", "film"].map(
        name => document.querySelector(`[name="i-${code}-${name}"]:checked`).value))"""
    assert others and page.evaluate(chosen, others) == [["0", "intact"]] * len(others)
    assert page.evaluate(chosen, [first]) == [["", "thin"]]
    assert rest.locator("[role=status]").inner_text().count(",") == len(others) - 1
    outside = page.locator("input[name$='-film'][value=intact]:checked").count()
    assert outside == len(others)
    rest.locator("button").click()
    assert rest.locator("[role=status]").inner_text() == rest.locator("[role=status]").get_attribute("data-told-none")
