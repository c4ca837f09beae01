"""The form by the lift in a browser whose network goes: what was typed stays, and arrives exactly once."""

import os
import re
import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client

from tests.conftest import ShopForTests
from tests.desk.lift import VIN, Lift, draw_picture, raise_lift
from treatments.models import Inspection, Photo, SentForm, Treatment

# Playwright's loop makes Django think that it is asked from asynchronous code, which it is not.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
playwright = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium")
FLAGS = [
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here"),
]
TREAT, INSPECT = f"/vehicles/{VIN}/treat/", f"/vehicles/{VIN}/inspect/"
QUANTITY = "[name='c-rocker_left-0-quantity']"


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def lift(shop: ShopForTests) -> Lift:
    return raise_lift(shop)


@pytest.fixture
def tablet(chromium: Any, live_server: Any, lift: Lift) -> Iterator[Any]:
    """A page of a tablet on which the applicator is logged in; what goes wrong in its scripts fails the test."""
    context = chromium.new_context(base_url=live_server.url, viewport={"width": 800, "height": 1100})
    log_in(context, live_server, lift.log_in())
    page = context.new_page()
    page.set_default_timeout(10_000)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    yield page
    context.set_offline(False)
    context.close()
    assert not faults


def log_in(context: Any, live_server: Any, client: Client) -> None:
    context.clear_cookies()
    context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}])


def type_treatment(page: Any) -> None:
    page.goto(TREAT)
    zone = page.locator("#zone-rocker_left")
    zone.locator("input[value=done]").check()
    page.fill(QUANTITY, "0.2")
    page.fill("#id_note", "typed by the lift")


def read_kept(page: Any) -> list[str]:
    kept: list[str] = page.evaluate("Object.keys(localStorage)")
    return kept


def test_typed_without_network_it_stays_and_is_sent_once(tablet: Any) -> None:
    page, context = tablet, tablet.context
    type_treatment(page)
    context.set_offline(True)
    page.fill("#id_note", "typed without network")
    page.click(".send button")
    page.wait_for_selector(".k-waiting")
    assert "not sent yet" in page.inner_text("#kept-line")
    assert not Treatment.objects.exists()
    context.set_offline(False)
    page.wait_for_url("**/treatments/*/")
    treatment = Treatment.objects.get()
    assert treatment.note == "typed without network" and treatment.lines.get().zone.code == "rocker_left"
    assert SentForm.objects.count() == 1 and read_kept(page) == []


def test_after_a_reload_what_was_typed_is_back_under_its_key(tablet: Any) -> None:
    page = tablet
    type_treatment(page)
    key = page.input_value("[name=form_key]")
    page.reload()
    page.wait_for_selector(".k-typing")
    assert "is back on the page" in page.inner_text("#kept-line")
    assert page.input_value(QUANTITY) == "0.2" and page.input_value("[name=form_key]") == key
    page.click("text=start anew")
    page.wait_for_function("document.querySelector('#id_note').value === ''")
    assert page.input_value("[name=form_key]") != key and read_kept(page) == []


def test_where_the_answer_was_lost_it_is_recorded_once(tablet: Any) -> None:
    page = tablet
    type_treatment(page)
    answers: list[int] = []

    def lose_first(route: Any) -> None:
        # The desk gets it, the tablet never hears so.
        if route.request.method == "POST" and not answers:
            answers.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.route(re.compile(re.escape(TREAT)), lose_first)
    page.click(".send button")
    page.wait_for_selector(".k-waiting")
    assert answers == [200] and Treatment.objects.count() == 1
    page.evaluate("window.dispatchEvent(new Event('online'))")
    page.wait_for_url("**/treatments/*/")
    assert Treatment.objects.count() == SentForm.objects.count() == 1 and read_kept(page) == []


def test_a_session_that_ended_meanwhile_loses_nothing(tablet: Any, live_server: Any, lift: Lift) -> None:
    page = tablet
    type_treatment(page)
    page.context.clear_cookies()
    page.click(".send button")
    page.wait_for_selector(".k-stuck")
    assert "You are logged out" in page.inner_text("#kept-line")
    # Another person logs in first: it is not theirs to send, nor to see.
    log_in(page.context, live_server, lift.log_in("writer"))
    page.goto(TREAT)
    assert page.input_value(QUANTITY) == "" and not Treatment.objects.exists()
    log_in(page.context, live_server, lift.log_in())
    page.goto("/vehicles/")  # any page of the desk sends what waits
    page.wait_for_selector(".k-sent")
    assert "Sent at" in page.inner_text(".k-sent")
    assert Treatment.objects.get().applicator == lift.applicator and read_kept(page) == []


def test_refused_it_shows_why_and_keeps_the_rest(tablet: Any) -> None:
    page = tablet
    type_treatment(page)
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
    assert Treatment.objects.count() == 1


def test_logging_out_leaves_nothing_on_a_shared_tablet(tablet: Any) -> None:
    page = tablet
    type_treatment(page)
    page.context.set_offline(True)
    page.click(".send button")
    page.wait_for_selector(".k-waiting")
    asked: list[str] = []
    page.once("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
    page.click("text=Log out")
    assert asked and "not sent yet" in asked[0] and len(read_kept(page)) == 1  # thought better of it
    page.route(re.compile(re.escape(TREAT)), lambda route: route.abort())
    page.context.set_offline(False)
    page.once("dialog", lambda dialog: dialog.accept())
    page.click("text=Log out")
    page.wait_for_url("**/log-in/")
    assert read_kept(page) == [] and not Treatment.objects.exists()


def test_photos_taken_without_network_go_with_their_form(tablet: Any) -> None:
    page, context = tablet, tablet.context
    page.goto(INSPECT)
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
    line = Inspection.objects.get().lines.get()
    assert (str(line.rusted_area_percent.normalize()), Photo.objects.count()) == ("8", 2)
    assert page.evaluate("window.deskKept.photos.all()") == [] and read_kept(page) == []
