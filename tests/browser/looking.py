"""What is done to every page that is looked at: opening it, also in its error state, and the two sizes of screen."""

from playwright.sync_api import Page, ViewportSize

from tests.browser.pages import DeskPage

# The narrowest telephone that is in use, and a common screen on a counter.
SIZES: dict[int, ViewportSize] = {360: {"width": 360, "height": 740}, 1280: {"width": 1280, "height": 900}}


def show(page: Page, wanted: DeskPage) -> None:
    """Open a page; where it is to be spoilt, type and send its form without the browser's own checks."""
    page.goto(wanted.address)
    if not wanted.spoil:
        return
    for field, text in wanted.typed:
        page.fill(field, text)
    with page.expect_navigation():
        page.eval_on_selector(
            wanted.spoil, "form => { form.noValidate = true; (form.querySelector('button')).click(); }"
        )
