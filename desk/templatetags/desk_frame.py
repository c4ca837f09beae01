"""Template tags for the frame around every page: the sections a person may open, language and colours."""

import functools
from typing import Any

from django import template
from django.http import HttpRequest
from django.template import Context, engines
from django.template.loader import render_to_string
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language

from desk.frame import LOOKS, Section, find_look, find_page_address, list_other_languages, list_sections
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


@register.simple_tag(takes_context=True)
def page_address(context: Context) -> str:
    """Return the address to come back to after choosing language or colours."""
    request = _find_request(context)
    return find_page_address(request) if request else "/"


@register.simple_tag(takes_context=True)
def frame_top(context: Context, sections: list[Section], here: str) -> SafeString:
    """Return the head of the page: its sections, who is logged in, and the other languages."""
    request = _find_request(context)
    return _write_part(
        "desk/frame_top.html",
        sections=sections,
        user=context.get("user"),
        token=_write_token(context),
        has_request=request is not None,
        here=here,
        languages=list_other_languages(get_language() or ""),
    )


@register.simple_tag(takes_context=True)
def frame_foot(context: Context, look: str, here: str) -> SafeString:
    """Return the foot of the page: the choice of colours."""
    looks = [(code, str(words)) for code, words in LOOKS.items()]
    return _write_part("desk/frame_foot.html", token=_write_token(context), look=look, here=here, looks=looks)


@register.simple_tag
def kept_words(user: User) -> SafeString:
    """Return the words of the scripts that keep a form on the tablet, and the scripts themselves."""
    return _write_kept_words(user.pk, get_language())


# Long, and the same on each page that a person opens.
@functools.lru_cache(maxsize=256)
def _write_kept_words(person: int, language: str | None) -> SafeString:
    return render_to_string("desk/kept_words.html", {"person": person})


def _write_part(name: str, **values: Any) -> SafeString:
    # The part escapes its own texts.
    return mark_safe(engines["jinja2"].get_template(name).render(values))


def _write_token(context: Context) -> SafeString:
    """Return the hidden field against forged forms, as the tag of Django writes it."""
    token = context.get("csrf_token")
    if not token or token == "NOTPROVIDED":
        return SafeString()
    return format_html('<input type="hidden" name="csrfmiddlewaretoken" value="{}">', token)
