"""The due list in a browser: searching as one types, going back, choosing by keyboard, and a network that is gone."""

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from notifications.models import Message
from tests.browser.axe import assert_no_violations

OpenPage = Callable[..., Page]


def count_cards(page: Page) -> int:
    return page.locator("article.due").count()


def test_the_list_narrows_as_one_types_and_back_widens_it_again(open_page: OpenPage) -> None:
    page = open_page("/due/", "writer")
    whole = count_cards(page)
    assert whole > 3
    page.locator("#q").press_sequentially("petra", delay=20)
    expect(page.locator("article.due")).to_have_count(1)
    expect(page.locator("#found")).to_have_text("1 vehicle is shown.")
    assert page.url.endswith("/due/?q=petra")
    expect(page.locator("#q")).to_be_focused()
    assert_no_violations(page)
    page.locator("#urgency").select_option("in_grace")
    expect(page.locator("#found")).to_have_text("No vehicle is shown.")
    assert page.url.endswith("/due/?q=petra&urgency=in_grace")
    expect(page.locator("#counts [aria-current]")).to_have_attribute("href", re.compile("in_grace"))
    # What is shown is what would be kept.
    assert page.locator("#query-to-keep").input_value() == "q=petra&urgency=in_grace"
    page.reload()
    assert page.locator("#q").input_value() == "petra"
    expect(page.locator("#found")).to_have_text("No vehicle is shown.")
    page.go_back()
    expect(page.locator("#found")).to_have_text("1 vehicle is shown.")
    page.go_back()
    expect(page.locator("article.due")).to_have_count(whole)


def test_without_scripts_the_list_is_searched_and_covers_are_chosen(new_context) -> None:
    page = new_context("writer", java_script_enabled=False).new_page()
    page.goto("/due/")
    page.fill("#q", "petra")
    page.get_by_role("button", name="Show").click()
    expect(page.locator("article.due")).to_have_count(1)
    assert "q=petra" in page.url
    page.locator("#booked").select_option("not_booked")
    page.fill("#q", "")
    page.get_by_role("button", name="Show").click()
    page.wait_for_url("**booked=not_booked**")
    page.get_by_role("link", name="Choose all on this page").click()
    page.wait_for_url("**chosen=all**")
    assert page.locator("input[name=cover]:checked").count() == count_cards(page) > 1
    page.get_by_role("button", name="Remind those chosen …").click()
    page.get_by_role("button", name=re.compile("Write .* reminders")).click()
    expect(page.locator("main")).to_contain_text("reminders are written.")
    assert Message.objects.exists()


def test_owners_are_reminded_by_keyboard_alone(open_page: OpenPage) -> None:
    page = open_page("/due/", "writer")
    first = page.locator("input[name=cover]").first
    first.focus()
    page.keyboard.press("Space")
    assert first.is_checked()
    page.get_by_role("link", name="Choose all on this page").focus()
    page.keyboard.press("Enter")
    assert page.locator("input[name=cover]:checked").count() == count_cards(page)
    page.get_by_role("button", name="Remind those chosen …").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/due/chosen/**")
    assert not Message.objects.exists()
    page.get_by_role("button", name=re.compile("Write .* reminders")).focus()
    page.keyboard.press("Enter")
    page.wait_for_load_state()
    expect(page.locator("main")).to_contain_text("reminders are written")
    assert Message.objects.exists()


def test_a_search_without_network_says_so_and_leaves_the_list(open_page: OpenPage) -> None:
    page = open_page("/due/", "writer")
    whole = count_cards(page)
    page.context.set_offline(True)
    page.locator("#q").press_sequentially("petra")
    expect(page.locator("#request-failed")).to_contain_text("could not be reached")
    assert count_cards(page) == whole
    page.context.set_offline(False)
    page.locator("#q").press_sequentially(" ")
    page.locator("#q").press("Enter")
    expect(page.locator("article.due")).to_have_count(1)
    expect(page.locator("#request-failed")).to_be_hidden()


def test_a_login_that_ran_out_while_searching_leads_to_the_log_in_and_back(open_page: OpenPage) -> None:
    page = open_page("/due/", "writer")
    page.context.clear_cookies()
    page.locator("#q").press_sequentially("petra")
    page.wait_for_url("**/log-in/**")
    assert "next=/due/" in page.url
    assert page.get_by_role("heading", name="Log in").count() == 1
