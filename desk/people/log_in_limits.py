"""What stands in the way of a log-in: a lock after too many wrong passwords, and codes that are yet to be set up."""

from collections.abc import Callable
from datetime import datetime
from math import ceil
from typing import Any

from axes.signals import user_locked_out
from django.conf import settings
from django.dispatch import receiver
from django.forms import Form
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rest_framework.throttling import SimpleRateThrottle

from desk.shared.addresses import find_client_address
from treatments.event_log.access import record_lock
from treatments.people.log_in_codes import CodeCheck

# In the session of a person who must set codes up before anything else.
MUST_SET_UP = "must_set_codes_up"
MAY_DO_MEANWHILE = ("desk:log_out", "desk:set_language", "desk:choose_look")


class LogInsOfAnAddress(SimpleRateThrottle):
    """Counts log-ins from one address, whatever the names, in this process."""

    scope = "log_in"

    def get_rate(self) -> str:
        return str(settings.LOG_INS_OF_AN_ADDRESS)

    def get_cache_key(self, request: Any, view: Any) -> str:
        return f"log-ins-of-{find_client_address(request)}"


def is_too_often(request: Any) -> bool:
    """Count a log-in from an address, and say whether there were too many of late."""
    view: Any = None
    return not LogInsOfAnAddress().allow_request(request, view)


def answer_locked(request: HttpRequest, credentials: Any = None, *args: Any, **kwargs: Any) -> HttpResponse:
    """Say that log-ins wait for a while, to a person or to a machine; django-axes calls it."""
    minutes = int(settings.AXES_COOLOFF_TIME.total_seconds() // 60)
    if request.path.startswith("/api/"):
        problem = {
            "type": "about:blank",
            "title": "Too Many Requests",
            "status": 429,
            "detail": f"Too many wrong tokens from this address. Wait {minutes} minutes.",
            "instance": request.get_full_path(),
        }
        answer: HttpResponse = JsonResponse(problem, status=429, content_type="application/problem+json")
    else:
        answer = render(request, "people/log_in_locked.html", {"minutes": minutes}, status=429)
    answer["Retry-After"] = str(minutes * 60)
    return answer


def answer_wrong_code(request: HttpRequest, form: Form, check: CodeCheck, now: datetime) -> HttpResponse:
    """Say why a code did not open and when the next is looked at: 400, or 429 where this one was not looked at."""
    waits = max(1, ceil((check.locked_until - now).total_seconds())) if check.locked_until else 0
    told = _render_wait(waits)
    if check.is_used:
        error = _("This code was used already. Wait for the next one that your app shows, and type that.")
    elif not check.is_looked_at:
        error = _("After a wrong code the next must wait. This one was not looked at. Try again in %(wait)s.")
    else:
        error = _("This is not the right code. Try again in %(wait)s, with the code that your app then shows.")
    form.add_error("code", error % {"wait": told})
    status = 400 if check.is_looked_at else 429
    answer = render(request, "people/log_in_code.html", {"form": form}, status=status)
    if waits:
        answer["Retry-After"] = str(waits)
    return answer


def _render_wait(seconds: int) -> str:
    if seconds < 60:
        return ngettext("%(count)d second", "%(count)d seconds", seconds) % {"count": seconds}
    minutes = ceil(seconds / 60)
    return ngettext("%(count)d minute", "%(count)d minutes", minutes) % {"count": minutes}


@receiver(user_locked_out)
def note_lock(sender: Any, request: Any = None, username: str | None = None, **kwargs: Any) -> None:
    """Record that log-ins of a person from an address were locked for a while, once for each lock."""
    # Counted only by the failure that locks, not by those that the lock keeps out.
    if getattr(request, "axes_failures_since_start", None) is not None:
        record_lock(name=username or "", address=find_client_address(request), now=timezone.now())


def ask_for_codes_to_be_set_up(get_response: Callable[[HttpRequest], HttpResponseBase]) -> Any:
    """Middleware: who must log in with codes and has none yet sets them up before anything else."""

    def answer(request: HttpRequest) -> HttpResponseBase:
        # Without a session's cookie there is nothing to be read.
        if settings.SESSION_COOKIE_NAME in request.COOKIES and request.session.get(MUST_SET_UP):
            allowed = {reverse(name) for name in MAY_DO_MEANWHILE}
            if request.path not in allowed and not request.path.startswith(reverse("desk:codes")):
                return redirect("desk:codes")
        return get_response(request)

    return answer
