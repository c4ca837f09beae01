"""The frame in a browser: errors take the focus, colours and language are chosen, the API page obeys the policy."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.test_accessibility import listen

OpenPage = Callable[..., Page]
GROUND = "getComputedStyle(document.body).backgroundColor"


def test_errors_take_the_focus_and_lead_to_their_fields(open_page: OpenPage) -> None:
    page = open_page("/log-in/")
    page.eval_on_selector("main form", "form => { form.noValidate = true; }")
    page.get_by_role("button", name="Log in").click()
    summary = page.get_by_role("alert").filter(has_text="You are not logged in")
    expect(summary).to_be_focused()
    above = page.evaluate("document.querySelector('.errors').compareDocumentPosition(document.querySelector('h1'))")
    assert above & 4  # Node.DOCUMENT_POSITION_FOLLOWING: the heading comes after it
    assert page.title().startswith("Error:")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#id_username")).to_be_focused()


@pytest.mark.parametrize("scripts", [True, False])
def test_chosen_colours_hold_whatever_the_system_says(new_context, scripts: bool) -> None:
    page = new_context(java_script_enabled=scripts, color_scheme="light").new_page()
    page.goto("/log-in/")
    light = page.locator("body").evaluate(f"() => {GROUND}") if scripts else ""
    page.get_by_role("button", name="Dark").click()
    assert page.locator("html").get_attribute("data-look") == "dark"
    assert page.get_by_role("button", name="Dark").get_attribute("aria-pressed") == "true"
    if scripts:
        dark = page.evaluate(GROUND)
        assert dark != light
        page.emulate_media(media="print")
        assert page.evaluate(GROUND) != dark  # paper is white
        page.emulate_media(media="screen", color_scheme="dark")
        page.get_by_role("button", name="Light").click()
        assert page.evaluate(GROUND) == light
        page.get_by_role("button", name="As the system").click()
        assert page.evaluate(GROUND) == dark


def test_the_language_is_changed_on_the_page_itself(open_page: OpenPage) -> None:
    page = open_page("/vehicles/?q=a", "writer")
    page.get_by_role("button", name="Français").click()
    assert page.url.endswith("/vehicles/?q=a")
    assert page.locator("html").get_attribute("lang") == "fr"
    page.get_by_role("button", name="English").click()
    assert page.locator("html").get_attribute("lang") == "en"


def test_the_page_of_the_api_draws_itself_under_the_policy(open_page: OpenPage, new_context) -> None:
    page = new_context("owner").new_page()
    complaints = listen(page)
    page.goto("/api/v1/docs/")
    expect(page.locator(".opblock").first).to_be_visible()
    assert complaints == []
