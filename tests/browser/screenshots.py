"""Writes a picture of every page of the desk, at both sizes, from the demo shop.

Run it with ``python -m tests.browser.screenshots [DIR] [--dark] [--only NAME]``. It makes a database of its own in a
temporary folder and leaves nothing behind but the pictures.
"""

import argparse
import io
import os
import sys
import tempfile
from pathlib import Path

import django
from playwright.sync_api import sync_playwright


def main() -> None:
    parser = argparse.ArgumentParser(description="Write a picture of every page of the desk.")
    parser.add_argument("folder", nargs="?", type=Path, default=Path("var/screenshots"), metavar="DIR")
    parser.add_argument("--dark", action="store_true", help="also in dark colours")
    parser.add_argument("--only", default="", metavar="NAME", help="only pages whose name holds this")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as own:
        os.environ |= {"VAR_DIR": own, "DJANGO_SETTINGS_MODULE": "config.settings", "DJANGO_ALLOW_ASYNC_UNSAFE": "true"}
        os.environ.setdefault("LOG_LEVEL", "ERROR")  # the error states are meant
        for name in ("DATABASE_URL", "CELERY_BROKER_URL", "EMAIL_URL"):
            os.environ.pop(name, None)
        django.setup()
        count = write_pictures(chosen.folder, dark=chosen.dark, only=chosen.only)
    sys.stdout.write(f"{count} pictures in {chosen.folder}\n")


def write_pictures(folder: Path, *, dark: bool, only: str) -> int:
    """Write the pictures and return how many; Django must be set up."""
    from django.core.management import call_command
    from django.utils import timezone
    from pytest_django.live_server_helper import LiveServer

    from desk.demo.load import load_shop
    from tests.browser.chromium import start_browser
    from tests.browser.conftest import log_in
    from tests.browser.looking import SIZES, show
    from tests.browser.pages import PAGES
    from tests.browser.stage import add_what_pages_need
    from tests.conftest import FIXTURES

    call_command("demo", "--no-serve", stdout=io.StringIO(), stderr=io.StringIO())
    now = timezone.now()
    add_what_pages_need(load_shop(fixtures=FIXTURES, now=now), now)
    server = LiveServer("127.0.0.1")
    folder.mkdir(parents=True, exist_ok=True)
    count = 0
    with sync_playwright() as playwright:
        browser = start_browser(playwright)
        for wanted in PAGES:
            if only not in wanted.title:
                continue
            for scheme in ("light", "dark")[: 1 + dark]:
                context = browser.new_context(base_url=server.url, color_scheme=scheme)  # type: ignore[arg-type]
                if wanted.username:
                    log_in(context, wanted.username, server.url)
                page = context.new_page()
                show(page, wanted)
                for width, size in SIZES.items():
                    page.set_viewport_size(size)
                    name = f"{wanted.title}-{width}{'-dark' if scheme == 'dark' else ''}.png"
                    page.screenshot(path=folder / name, full_page=True)
                    count += 1
                context.close()
        browser.close()
    server.stop()
    return count


if __name__ == "__main__":
    main()
