"""Has a worker see at once to what follows from a form: the due list, and what customers hear.

In the full size beat's short scans look for the same rows every minute or so, and this does nothing.
"""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.core.exceptions import MiddlewareNotUsed
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from desk.tasks import follow_up
from treatments.shared.long_work import nudge

# The names of addresses of the desk that only let somebody in or out.
OF_LOG_IN = ("log_in", "log_in_code", "log_out")


def follow_up_on_forms(get_response: Callable[[HttpRequest], HttpResponseBase]) -> Any:
    """Middleware: after a form was taken, nudge a worker to bring the due list up to date and tell customers."""
    if not settings.FOLLOW_UP_ON_FORMS:
        raise MiddlewareNotUsed("beat's scans do it")

    def answer(request: HttpRequest) -> HttpResponseBase:
        response = get_response(request)
        if request.method == "POST" and response.status_code < 400 and not _is_of_log_in(request):
            nudge(follow_up)
        return response

    return answer


def _is_of_log_in(request: HttpRequest) -> bool:
    """Say whether a form is one of coming in or going out, from which nothing follows."""
    return request.resolver_match is not None and request.resolver_match.url_name in OF_LOG_IN
