"""Template tags for the frame around every page: the sections a person may open, language and colours."""

from django import template
from django.conf import settings
from django.http import HttpRequest
from django.template import Context
from django.utils.translation import get_language, get_language_info

from desk.frame import LOOKS, Section, find_look, find_page_address, list_sections
from treatments.models import User

register = template.Library()


def _find_request(context: Context) -> HttpRequest | None:
    request = context.get("request")
    return request if isinstance(request, HttpRequest) else None


@register.simple_tag(takes_context=True)
def navigation(context: Context) -> list[Section]:
    """Return the sections of the desk that the person may open; none without a login."""
    request = _find_request(context)
    user = getattr(request, "user", None)
    return list_sections(user, request.path) if request and isinstance(user, User) else []


@register.simple_tag(takes_context=True)
def chosen_look(context: Context) -> str:
    """Return "light" or "dark" where the person chose one, '' where the system decides."""
    request = _find_request(context)
    return find_look(request) if request else ""


@register.simple_tag
def list_looks() -> list[tuple[str, str]]:
    """Return the choices of colours: code and words."""
    return [(code, str(words)) for code, words in LOOKS.items()]


@register.simple_tag
def other_languages() -> list[tuple[str, str]]:
    """Return the languages other than the one in use, each under its own name."""
    now = get_language()
    names = ((code, get_language_info(code)["name_local"].capitalize()) for code, _ in settings.LANGUAGES)
    return [(code, name) for code, name in names if code != now]


@register.simple_tag(takes_context=True)
def page_address(context: Context) -> str:
    """Return the address to come back to after choosing language or colours."""
    request = _find_request(context)
    return find_page_address(request) if request else "/"
