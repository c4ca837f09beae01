"""The frame around every page: which sections a person may open, the choice of colours, and where to come back to."""

from dataclasses import dataclass
from urllib.parse import urlsplit

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext_lazy as _

from desk.access import MAY_OPEN, may_open
from treatments.models import User

# In the order of the shop's day. A section whose page or role list does not exist is left out.
SECTIONS = {
    "due_list": _("Due"),
    "bays": _("Bays"),
    "season": _("Season"),
    "vehicles": _("Vehicles"),
    "stock": _("Stock"),
    "claims": _("Claims"),
    "reports": _("Reports"),
    "terms": _("Terms"),
    "calendars": _("Calendars"),
}
LOOK_COOKIE = "look"
LOOKS = {"": _("As the system"), "light": _("Light"), "dark": _("Dark")}


@dataclass(frozen=True, slots=True)
class Section:
    """One entry of the main navigation; ``current`` is "page" on it, "true" on a page below it, else ''."""

    address: str
    words: str
    current: str


def list_sections(user: User, path: str) -> list[Section]:
    """Return the sections that a person may open, the current one marked.

    Args:
        path: the path of the page that is shown.
    """
    found = []
    for page, words in SECTIONS.items():
        if page not in MAY_OPEN or not may_open(user, page):
            continue
        try:
            address = reverse(f"desk:{page}")
        except NoReverseMatch:
            continue
        current = "page" if path == address else "true" if path.startswith(address) else ""
        found.append(Section(address, str(words), current))
    return found


def find_look(request: HttpRequest) -> str:
    """Return the colours that a person chose: "light", "dark", or '' where the system decides."""
    look = request.COOKIES.get(LOOK_COOKIE, "")
    return look if look in LOOKS else ""


def find_page_address(request: HttpRequest) -> str:
    """Return the address under which the page that is shown can be opened again.

    A page that answers a form that was sent is left out: the one with the form is meant.
    """
    if request.method in ("GET", "HEAD"):
        return request.get_full_path()
    return find_page_before(request)


def find_page_before(request: HttpRequest) -> str:
    """Return the desk's page from which a request came, the first page where that is not known."""
    before: str = request.META.get("HTTP_REFERER", "")
    if not url_has_allowed_host_and_scheme(before, {request.get_host()}, require_https=request.is_secure()):
        return "/"
    parts = urlsplit(before)
    # One slash at the start: two would lead to another host.
    return "/" + parts.path.lstrip("/") + (f"?{parts.query}" if parts.query else "")
