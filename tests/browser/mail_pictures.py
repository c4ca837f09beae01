"""Writes a picture of every mail at both sizes, light and dark, in both languages, and its texts beside it.

Run it with ``python -m tests.browser.mail_pictures [DIR] [--only NAME]``; it needs no database.
"""

import argparse
import os
import sys
import tempfile
from pathlib import Path

import django
from playwright.sync_api import sync_playwright


def main() -> None:
    parser = argparse.ArgumentParser(description="Write a picture of every mail.")
    parser.add_argument("folder", nargs="?", type=Path, default=Path("var/mails"), metavar="DIR")
    parser.add_argument("--only", default="", metavar="NAME", help="only mails whose name holds this")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as own:
        os.environ |= {"VAR_DIR": own, "DJANGO_SETTINGS_MODULE": "config.settings"}
        django.setup()
        count = write_pictures(chosen.folder, only=chosen.only)
    sys.stdout.write(f"{count} pictures in {chosen.folder}\n")


def write_pictures(folder: Path, *, only: str) -> int:
    """Write the pictures and texts and return how many pictures; Django must be set up."""
    from django.conf import settings

    from notifications.enums import Channel
    from notifications.mail.rendering import render_message
    from tests.browser.chromium import start_browser
    from tests.browser.looking import SIZES
    from tests.browser.mail_set import list_mails

    folder.mkdir(parents=True, exist_ok=True)
    count = 0
    with sync_playwright() as playwright:
        browser = start_browser(playwright)
        for language, _name in settings.LANGUAGES:
            for name, content in list_mails(language):
                if only not in name:
                    continue
                whole = render_message(content)
                texts = [whole["subject"], whole["body"]]
                texts += [render_message(content, channel)["body"] for channel in (Channel.TEXT, Channel.LETTER)]
                (folder / f"{name}-{language}.txt").write_text("\n\n=====\n\n".join(texts), encoding="utf-8")
                for scheme in ("light", "dark"):
                    page = browser.new_page(color_scheme=scheme)  # type: ignore[arg-type]
                    page.set_content(whole["html"])
                    for width, size in SIZES.items():
                        page.set_viewport_size(size)
                        page.screenshot(path=folder / f"{name}-{language}-{width}-{scheme}.png", full_page=True)
                        count += 1
                    page.close()
        browser.close()
    return count


if __name__ == "__main__":
    main()
