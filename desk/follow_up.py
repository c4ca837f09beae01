"""Sees to what follows from a form that was sent where no worker does: the due list, and what customers hear.

With a broker, beat's short scans look for the same rows every minute or so, and this does nothing.
"""

import logging
from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.exceptions import MiddlewareNotUsed
from django.db import Error
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone

from notifications.tasks import tell_without_workers
from scheduling.index.service import recompute_what_changed
from scheduling.services import register_covers_for_new_treatments
from treatments.queries import find_shop_day

logger = logging.getLogger(__name__)

# A change of a site's hours may concern thousands of covers, for which nobody shall wait; the daily run sees to them.
MOST_AT_ONCE = 500


def follow_up_on_forms(get_response: Callable[[HttpRequest], HttpResponseBase]) -> Any:
    """Middleware: after a form was taken, bring the due list up to date and tell customers of changed visits."""
    if not settings.CELERY_TASK_ALWAYS_EAGER:
        raise MiddlewareNotUsed("workers do it")

    def answer(request: HttpRequest) -> HttpResponseBase:
        response = get_response(request)
        if request.method == "POST" and response.status_code < 400:
            now = timezone.now()
            _try(lambda: follow_up(now))
            _tell_when_answered(response)
        return response

    return answer


def _tell_when_answered(response: HttpResponseBase) -> None:
    """Tell customers once the answer is on its way, since a mail server may be slow."""
    close = response.close

    def tell_and_close() -> None:
        _try(tell_without_workers)
        close()

    response.close = tell_and_close  # type: ignore[method-assign]


def follow_up(now: datetime) -> None:
    """Bring the due list up to date with what was written down; the look is short where there is nothing."""
    register_covers_for_new_treatments(now=now)
    recompute_what_changed(as_of=find_shop_day(now), most=MOST_AT_ONCE)


def _try(what: Callable[[], None]) -> None:
    """Do it; what was sent is recorded already, so a failure is logged and left to the daily run."""
    try:
        what()
    except (Error, OSError):
        logger.exception("What follows from a form is left to the next daily run.")
