"""The frame around every page: which sections a person may open, and the choice of colours."""

import contextlib
from dataclasses import dataclass

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.translation import get_language, get_language_info
from django.utils.translation import gettext_lazy as _

from desk.shared.access import MAY_OPEN, may_open
from desk.shared.addresses import find_page_address
from treatments.models import User
from treatments.shared.labels import label

# In the order of the shop's day. A section whose page or role list does not exist is left out.
SECTIONS = {
    "due_list": _("Due"),
    "bays": _("Bays"),
    "season": _("Season"),
    "messages": _("Messages"),
    "vehicles": _("Vehicles"),
    "stock": _("Stock"),
    "claims": _("Claims"),
    "reports": _("Reports"),
    "statement": _("Statement"),
    "terms": _("Terms"),
    "calendars": _("Calendars"),
    "set_up": _("Set-up"),
}
LOOK_COOKIE = "look"
LOOKS = {"": _("As the system"), "light": _("Light"), "dark": _("Dark")}


@dataclass(frozen=True, slots=True)
class Section:
    """One entry of the main navigation; ``current`` is "page" on it, "true" on a page below it, else ''."""

    address: str
    words: str
    current: str


class Frame:
    """The frame around the page that answers a request; each of its parts is worked out where the page shows it."""

    def __init__(self, request: HttpRequest) -> None:
        self._request = request

    @property
    def language(self) -> str:
        return get_language() or settings.LANGUAGE_CODE

    @property
    def other_languages(self) -> list[tuple[str, str]]:
        """The languages other than the one in use, each under its own name."""
        names = [(code, get_language_info(code)["name_local"].capitalize()) for code, _name in settings.LANGUAGES]
        return [(code, name) for code, name in names if code != self.language]

    @property
    def look(self) -> str:
        """The colours that a person chose: "light", "dark", or '' where the system decides."""
        look = self._request.COOKIES.get(LOOK_COOKIE, "")
        return look if look in LOOKS else ""

    @property
    def looks(self) -> list[tuple[str, str]]:
        return [(code, str(words)) for code, words in LOOKS.items()]

    @property
    def here(self) -> str:
        """The address to come back to after choosing language or colours."""
        return find_page_address(self._request)

    @property
    def person(self) -> User | None:
        """Who is logged in."""
        user = getattr(self._request, "user", None)
        return user if isinstance(user, User) else None

    @property
    def role(self) -> str:
        return label(self.person.role) if self.person else ""

    @property
    def sections(self) -> list[Section]:
        """The sections that the person may open, the current one marked; none without a login."""
        return list_sections(self.person, self._request.path) if self.person else []


def describe_frame(request: HttpRequest) -> dict[str, Frame]:
    """Return the frame as ``frame``; a context processor."""
    return {"frame": Frame(request)}


def list_sections(user: User, path: str) -> list[Section]:
    """Return the sections that a person may open, the current one marked.

    Args:
        path: the path of the page that is shown.
    """
    found = []
    for page, words in SECTIONS.items():
        if page in MAY_OPEN and may_open(user, page):
            with contextlib.suppress(NoReverseMatch):
                address = reverse(f"desk:{page}")
                current = "page" if path == address else "true" if path.startswith(address) else ""
                found.append(Section(address, str(words), current))
    return found
