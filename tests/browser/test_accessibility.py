"""Every page of the desk against WCAG 2.2 AA, for each role that opens it, light and dark, narrow and wide."""

import pytest
from django.test import Client
from playwright.sync_api import Page

from desk import urls
from tests.browser.axe import assert_no_violations
from tests.browser.looking import SIZES, show
from tests.browser.pages import NO_PAGES, PAGES, DeskPage
from treatments.models import User

USERNAMES = ("writer", "lift", "warranty", "owner", "dealer")


def test_every_page_of_the_desk_is_in_the_list() -> None:
    names = {pattern.name for pattern in urls.urlpatterns}
    listed = {page.name for page in PAGES}
    assert listed | set(NO_PAGES) == names
    assert not listed & set(NO_PAGES)
    assert len({page.title for page in PAGES}) == len(PAGES)


@pytest.mark.parametrize("wanted", PAGES, ids=lambda page: page.title)
def test_a_page_can_be_used_by_everybody(open_page, new_context, wanted: DeskPage) -> None:
    page = new_context(wanted.username).new_page()
    complaints = listen(page)
    show(page, wanted)
    assert find_what_touches(page) == []
    for width, size in SIZES.items():
        page.set_viewport_size(size)
        page.emulate_media(color_scheme="light")
        assert_no_violations(page, where=f"{wanted.title}, {width} px, light")
        assert_fits(page, f"{wanted.title}, {width} px")
        page.emulate_media(color_scheme="dark")
        # Only colours differ.
        assert_no_violations(
            page, tags=["color-contrast", "link-in-text-block"], where=f"{wanted.title}, {width} px, dark"
        )
    if wanted.username and not wanted.spoil and not wanted.what:
        for username in USERNAMES:
            if username != wanted.username and _may_open(username, wanted):
                other = open_page(wanted.address, username, viewport=SIZES[360])
                assert_no_violations(other, where=f"{wanted.title} as {username}")
    assert complaints == []


# What stands side by side without a gap in the text is one word to whoever copies or hears it.
TOUCHING = """() => [...document.querySelectorAll(".facts > * + *, .actions > * + *")]
    .filter(one => one.type !== "hidden" && one.previousSibling === one.previousElementSibling)
    .map(one => one.outerHTML.slice(0, 200))"""


def find_what_touches(page: Page) -> list[str]:
    found: list[str] = page.evaluate(TOUCHING)
    return found


def listen(page: Page) -> list[str]:
    """Gather what the browser complains of: errors in scripts, and what the policy of the page forbids."""
    found: list[str] = []
    page.on("pageerror", lambda error: found.append(str(error)))
    page.on("console", lambda told: found.append(told.text) if "Security Policy" in told.text else None)
    return found


def test_the_check_finds_what_is_wrong(new_context) -> None:
    """A check that finds nothing in a bad page would find nothing anywhere."""
    page = new_context().new_page()
    page.goto("/log-in/")
    page.evaluate("document.querySelector('label[for=id_username]').remove()")
    with pytest.raises(AssertionError, match="label"):
        assert_no_violations(page)
    page.evaluate("document.body.insertAdjacentHTML('beforeend', '<div id=wide>x</div>')")
    page.evaluate("document.getElementById('wide').style.width = '3000px'")
    with pytest.raises(AssertionError, match="sideways"):
        assert_fits(page, "log in")


def assert_fits(page: Page, where: str) -> None:
    """Fail where the page itself must be scrolled sideways; a table may scroll in its own box (WCAG 1.4.10)."""
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 0, f"{where}: must be scrolled sideways by {over} px"


def _may_open(username: str, wanted: DeskPage) -> bool:
    client = Client()
    client.force_login(User.objects.get(username=username))
    return client.get(wanted.address).status_code == 200
