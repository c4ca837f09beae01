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
        # A folded part hides its fields.
        page.locator(field).evaluate(
            "field => { const folded = field.closest('details'); if (folded) folded.open = true; }"
        )
        is_list = page.locator(field).evaluate("field => field.tagName") == "SELECT"
        page.select_option(field, text) if is_list else page.fill(field, text)
    send = "form => { form.noValidate = true; (form.querySelector('button')).click(); }"
    if page.locator(wanted.spoil).get_attribute("data-kept") is not None:
        # Sent by its script, which puts the answer in place of the page.
        page.eval_on_selector(wanted.spoil, send)
        page.wait_for_selector("#errors")
        return
    with page.expect_navigation():
        page.eval_on_selector(wanted.spoil, send)
