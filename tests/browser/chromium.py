"""Where the browser is and how it starts: the system's Chromium, an empty profile, nothing in the background."""

import os
import shutil

from playwright.sync_api import Browser, Playwright

FLAGS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def find_chromium() -> str | None:
    """Return the path of the browser: the one that CHROMIUM names, else the one that the system has."""
    return shutil.which(os.environ.get("CHROMIUM", "chromium"))


def start_browser(playwright: Playwright) -> Browser:
    """Start the browser with a new, empty profile."""
    path = find_chromium()
    assert path, "No Chromium here; install Debian's chromium, or name one with CHROMIUM."
    return playwright.chromium.launch(executable_path=path, args=FLAGS)
