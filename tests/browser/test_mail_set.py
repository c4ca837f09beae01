"""Every mail can be read on a telephone and on a screen, light and dark, in both languages, and without its picture."""

import pytest
from django.conf import settings
from playwright.sync_api import Browser

from notifications.mail.content import MailContent
from notifications.mail.rendering import render_message
from tests.browser.axe import assert_no_violations
from tests.browser.looking import SIZES
from tests.browser.mail_set import list_mails

pytestmark = [pytest.mark.browser, pytest.mark.slow]

LOOK = """() => {
  const wide = [...document.querySelectorAll('body *')].filter(
    part => part.getBoundingClientRect().right > document.documentElement.clientWidth + 0.5);
  const cut = [...document.querySelectorAll('td, th, p, li, a')].filter(part => part.scrollWidth > part.clientWidth + 1
    && getComputedStyle(part).display !== 'inline');
  return {
    overflow: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    wide: wide.map(part => part.outerHTML.slice(0, 90)), cut: cut.map(part => part.outerHTML.slice(0, 90)),
    ground: getComputedStyle(document.body).backgroundColor,
    small: [...document.querySelectorAll('td, th, p, li, a, h2')].filter(
      part => part.innerText.trim() && parseFloat(getComputedStyle(part).fontSize) < 14).length,
  };
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("language", [code for code, _name in settings.LANGUAGES])
def test_every_mail_fits_and_can_be_read(browser: Browser, language: str, scheme: str) -> None:
    context = browser.new_context(color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    wrong: dict[str, object] = {}
    for name, content in list_mails(language):
        page.set_content(render_message(content)["html"])
        for width, size in SIZES.items():
            page.set_viewport_size(size)
            seen = page.evaluate(LOOK)
            is_dark = seen.pop("ground") == "rgb(18, 24, 23)"
            if seen != {"overflow": 0, "wide": [], "cut": [], "small": 0} or is_dark != (scheme == "dark"):
                wrong[f"{name} {width}"] = seen
        assert_no_violations(page, where=f"{name} {language} {scheme}")
    context.close()
    assert wrong == {}
    assert asked == []


def test_the_longest_words_break_and_do_not_widen_a_mail(browser: Browser) -> None:
    mails: dict[str, MailContent] = dict(list_mails("fr"))
    content = mails["five-mixed"]
    long = "Kraftfahrzeughaftpflichtversicherung" * 4
    html = render_message(content)["html"].replace(content.vehicles[0].name, long).replace("C000010-1", long)
    page = browser.new_page(viewport=SIZES[360])
    page.set_content(html)
    assert long in page.inner_text("body")
    assert page.evaluate(LOOK)["overflow"] == 0
    page.close()
