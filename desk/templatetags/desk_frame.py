"""Template tags for the frame around every page: the sections a person may open, language and colours."""

import functools
import re
from typing import Any

from django import template
from django.http import HttpRequest
from django.template import Context
from django.template.loader import render_to_string
from django.utils.html import escape, format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language

from desk.rendering.frame import LOOKS, Section, find_look, list_other_languages, list_sections
from desk.rendering.parts import write_part
from desk.rendering.telling import tell
from desk.shared.page_address import find_page_address
from treatments.enums import say
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
    user, language = context.get("user"), get_language() or ""
    name = role = ""
    if isinstance(user, User):
        name, role = user.get_full_name() or user.username, user.role
    parts = _mould_top(tuple(sections), name, role, _find_request(context) is not None, language)
    return _fill(parts, _write_token(context), here)


@register.simple_tag(takes_context=True)
def frame_foot(context: Context, look: str, here: str) -> SafeString:
    """Return the foot of the page: the choice of colours."""
    return _fill(_mould_foot(look, get_language() or ""), _write_token(context), here)


# Head and foot are the same on each page that a person opens, but for these two.
_TOKEN, _HERE = "\ue000", "\ue001"
_HOLES = re.compile(f"([{_TOKEN}{_HERE}])")


@functools.lru_cache(maxsize=512)
def _mould_top(
    sections: tuple[Section, ...], name: str, role: str, has_request: bool, language: str
) -> tuple[str, ...]:
    return _mould(
        "desk/frame_top.html", sections=sections, name=name, role=tell(say(role)) if role else "",
        has_request=has_request,
        languages=list_other_languages(language),
    )  # fmt: skip


@functools.lru_cache(maxsize=16)
def _mould_foot(look: str, language: str) -> tuple[str, ...]:
    looks = [(code, str(words)) for code, words in LOOKS.items()]
    return _mould("desk/frame_foot.html", look=look, looks=looks)


def _mould(template: str, **values: Any) -> tuple[str, ...]:
    """Return a part cut at the places of the token and of the page's own address."""
    return tuple(_HOLES.split(write_part(template, {"token": _TOKEN, "here": _HERE, **values})))


def _fill(parts: tuple[str, ...], token: str, here: str) -> SafeString:
    holes = {_TOKEN: token, _HERE: escape(here)}
    # The part escapes its own texts.
    return mark_safe("".join([holes.get(part, part) for part in parts]))


@register.simple_tag
@functools.cache
def frame_styles() -> SafeString:
    """Return the links to the styles of every page."""
    return render_to_string("desk/frame_styles.html")


@register.simple_tag
@functools.lru_cache(maxsize=8)
def frame_scripts(look: str) -> SafeString:
    """Return the links to the styles that come after a page's own, and to the scripts of every page."""
    return render_to_string("desk/frame_scripts.html", {"look": look})


@register.simple_tag
def request_failed() -> SafeString:
    """Return the place, hidden at first, where a script tells that the desk did not answer."""
    return _write_request_failed(get_language())


@functools.lru_cache(maxsize=8)
def _write_request_failed(language: str | None) -> SafeString:
    return write_part("desk/request_failed.html", {})


@register.simple_tag(takes_context=True)
def kept_words(context: Context) -> SafeString:
    """Return the words of the scripts that keep a form on the tablet, and the scripts; nothing without a login."""
    user = context.get("user")
    return _write_kept_words(user.pk, get_language()) if isinstance(user, User) else SafeString()


# Long, and the same on each page that a person opens.
@functools.lru_cache(maxsize=256)
def _write_kept_words(person: int, language: str | None) -> SafeString:
    return render_to_string("desk/kept_words.html", {"person": person})


def _write_token(context: Context) -> SafeString:
    """Return the hidden field against forged forms, as the tag of Django writes it."""
    token = context.get("csrf_token")
    if not token or token == "NOTPROVIDED":
        return SafeString()
    return format_html('<input type="hidden" name="csrfmiddlewaretoken" value="{}">', token)
