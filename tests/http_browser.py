"""A browser without scripts over HTTP, for tests of a server that runs as a shop runs it.

It needs no Django, so that a run can use it before any settings are chosen.
"""

import http.cookiejar
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable
from html.parser import HTMLParser
from typing import Any

# Only so that a test which fails ends; nothing is asserted of the time that anything takes.
WAITED_SECONDS = 240


def wait_until(is_so: Callable[[], Any], what: str, every_seconds: float = 0.3) -> Any:
    until = time.monotonic() + WAITED_SECONDS
    while time.monotonic() < until:
        if found := is_so():
            return found
        time.sleep(every_seconds)
    raise AssertionError(f"Waited in vain: {what}")


class FormReader(HTMLParser):
    """Reads what the form with a given action would send as it stands."""

    def __init__(self, action: str) -> None:
        super().__init__()
        self.action, self.is_inside, self.fields = action, False, list[tuple[str, str]]()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form" and given.get("method") == "post":
            self.is_inside = given.get("action", "") == self.action
        is_chosen = given.get("type") != "checkbox" or "checked" in given
        if self.is_inside and tag == "input" and "name" in given and is_chosen:
            self.fields.append((given["name"], given.get("value", "")))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.is_inside = False


class NoRedirects(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *args: Any, **kwargs: Any) -> None:
        return None


class Browser:
    """A browser without scripts that follows nothing by itself."""

    def __init__(self, address: str) -> None:
        self.address = address
        jar = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
        self.opener = urllib.request.build_opener(jar, NoRedirects)

    def ask(self, path: str, data: bytes | None = None) -> tuple[int, str, str]:
        """Return status, where it leads, and the page; status 0 where nobody answers."""
        try:
            with self.opener.open(f"http://{self.address}{path}", data, timeout=60) as answer:
                return answer.status, "", answer.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, error.headers.get("Location", ""), error.read().decode()
        except OSError:
            return 0, "", ""

    def send(self, page: str, action: str = "", **typed: str) -> tuple[int, str, str]:
        reader = FormReader(action)
        reader.feed(self.ask(page)[2])
        fields = [(name, value) for name, value in reader.fields if name not in typed] + list(typed.items())
        return self.ask(action or page, urllib.parse.urlencode(fields).encode())
