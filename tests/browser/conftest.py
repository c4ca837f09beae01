"""A browser, a server of the desk with the demo shop in it, and pages logged in as each role.

Every test starts from the same records, whatever the test before it did to them. Other tests find the database as they
left it: empty.
"""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from pytest_django.live_server_helper import LiveServer
from pytest_django.plugin import DjangoDbBlocker

from tests.browser.chromium import find_chromium, start_browser
from tests.browser.snapshot import Snapshots
from tests.browser.stage import set_stage
from treatments.models import User

SECONDS_TO_WAIT = 10
OpenPage = Callable[..., Page]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark the tests of this folder; without a browser leave them out, except in CI, where that is an error."""
    here = Path(__file__).parent
    wanted = [item for item in items if item.path.is_relative_to(here) and "browser" in item.fixturenames]  # type: ignore[attr-defined]
    for item in wanted:
        item.add_marker(pytest.mark.browser)
        item.add_marker(pytest.mark.django_db)  # so that pytest-django makes the test database
    if find_chromium() or not wanted:
        return
    if os.environ.get("CI"):
        raise pytest.UsageError("No Chromium here, and CI must run the browser tests: install Debian's chromium.")
    config.hook.pytest_deselected(items=wanted)
    items[:] = [item for item in items if item not in wanted]
    config.stash[LEFT_OUT] = len(wanted)


LEFT_OUT = pytest.StashKey[int]()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    count = config.stash.get(LEFT_OUT, 0)
    if count:
        terminalreporter.write_line(
            f"{count} browser tests were left out: no Chromium. Install it (Debian: chromium), or name it: CHROMIUM=…"
        )


@pytest.fixture
def _django_db_helper() -> None:
    """In place of pytest-django's own, which rolls back or empties the tables; ``desk`` puts the database back."""


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    # Playwright keeps an event loop in this thread, in which Django would refuse to ask the database.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        started = start_browser(playwright)
        yield started
        started.close()


@pytest.fixture(scope="session")
def staged(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Snapshots]:
    """The database empty and with the demo shop, both kept to be put back."""
    folder = tmp_path_factory.mktemp("stage")
    snapshots = Snapshots(folder)
    with django_db_blocker.unblock():
        snapshots.keep("empty")
        set_stage(folder, timezone.now())
        snapshots.keep("demo")
        snapshots.restore("empty")
    yield snapshots
    with django_db_blocker.unblock():
        snapshots.drop()


@pytest.fixture(scope="session")
def desk_server(staged: Snapshots) -> Iterator[LiveServer]:
    server = LiveServer("127.0.0.1")
    yield server
    server.stop()


@pytest.fixture
def desk(staged: Snapshots, desk_server: LiveServer, django_db_blocker: DjangoDbBlocker) -> Iterator[str]:
    """The address of the desk, with the demo shop in its database; the test may read and write that too."""
    with django_db_blocker.unblock():
        staged.restore("demo")
        try:
            yield desk_server.url
        finally:
            staged.restore("empty")


@pytest.fixture
def new_context(browser: Browser, desk: str) -> Iterator[Callable[..., BrowserContext]]:
    """Make a browser window of its own, logged in as a person of the demo shop or as nobody."""
    made: list[BrowserContext] = []

    def make(username: str | None = None, **options: object) -> BrowserContext:
        context = browser.new_context(base_url=desk, **options)  # type: ignore[arg-type]
        made.append(context)
        context.set_default_timeout(SECONDS_TO_WAIT * 1000)
        if username:
            log_in(context, username, desk)
        return context

    yield make
    for context in made:
        context.close()


@pytest.fixture
def open_page(new_context: Callable[..., BrowserContext]) -> OpenPage:
    """Open an address of the desk as a person of the demo shop (writer, lift, warranty, owner, dealer) or as nobody."""

    def open_it(address: str, username: str | None = None, **options: object) -> Page:
        page = new_context(username, **options).new_page()
        page.goto(address)
        return page

    return open_it


def log_in(context: BrowserContext, username: str, address: str) -> None:
    """Give a browser window the session of a person, without the page that asks for a password."""
    client = Client()
    client.force_login(User.objects.get(username=username))
    name = settings.SESSION_COOKIE_NAME
    context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": address}])
