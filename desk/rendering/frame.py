"""The frame around every page: which sections a person may open, and the choice of colours."""

import contextlib
import functools
from dataclasses import dataclass

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.translation import get_language, get_language_info
from django.utils.translation import gettext_lazy as _

from desk.shared.access import MAY_OPEN, may_open
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


def list_sections(user: User, path: str) -> list[Section]:
    """Return the sections that a person may open, the current one marked.

    Args:
        path: the path of the page that is shown.
    """
    found = []
    for address, words in _list_open(user.role, user.is_superuser, get_language()):
        current = "page" if path == address else "true" if path.startswith(address) else ""
        found.append(Section(address, words, current))
    return found


@functools.lru_cache(maxsize=64)
def _list_open(role: str, is_superuser: bool, language: str | None) -> tuple[tuple[str, str], ...]:
    """Return the address and the words of each section that a role may open, in the language, which is that in use."""
    person = User(role=role, is_superuser=is_superuser)
    return tuple([(address, str(SECTIONS[page])) for page, address in _find_addresses() if may_open(person, page)])


@functools.cache
def _find_addresses() -> tuple[tuple[str, str], ...]:
    """Return the page and the address of each section that exists."""
    found = []
    for page in SECTIONS:
        if page in MAY_OPEN:
            with contextlib.suppress(NoReverseMatch):
                found.append((page, reverse(f"desk:{page}")))
    return tuple(found)


@functools.cache
def list_other_languages(now: str) -> tuple[tuple[str, str], ...]:
    """Return the languages other than the one in use, each under its own name."""
    names = ((code, get_language_info(code)["name_local"].capitalize()) for code, _name in settings.LANGUAGES)
    return tuple((code, name) for code, name in names if code != now)


def find_look(request: HttpRequest) -> str:
    """Return the colours that a person chose: "light", "dark", or '' where the system decides."""
    look = request.COOKIES.get(LOOK_COOKIE, "")
    return look if look in LOOKS else ""
