"""The page on which anybody checks a document by the code on it: genuine or not, unchanged or not, and the cover today.

It names no person and no vehicle; whoever asks too often from one address waits.
"""

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe
from rest_framework.throttling import SimpleRateThrottle

from desk.shared.addresses import find_client_address
from notifications.documents.certificate_words import render_heading
from notifications.documents.checks import check_document
from treatments.queries import find_today


class ChecksOfAnAddress(SimpleRateThrottle):
    """Counts checks from one address, whatever the codes, in this process."""

    scope = "document_check"

    def get_rate(self) -> str:
        return str(settings.DOCUMENT_CHECKS_OF_AN_ADDRESS)

    def get_cache_key(self, request: Any, view: Any) -> str:
        return f"document-checks-of-{find_client_address(request)}"


@require_safe
def verify(request: HttpRequest, code: str) -> HttpResponse:
    """Show what is to be said of the document with this code."""
    view: Any = None
    throttle: Any = ChecksOfAnAddress()
    asked: Any = request
    if not throttle.allow_request(asked, view):
        answer = render(request, "verify/too_often.html", status=429)
        answer["Retry-After"] = str(int(throttle.wait() or 60) + 1)
        return _keep_out_of_caches(answer)
    now = timezone.now()
    found = check_document(code, lambda site: find_today(now, site))
    context: dict[str, Any] = {"found": found}
    if found is not None and found.cover is not None:
        context["heading"] = render_heading(found.cover)
    return _keep_out_of_caches(render(request, "verify/document.html", context, status=200 if found else 404))


def _keep_out_of_caches(response: HttpResponse) -> HttpResponse:
    response["Referrer-Policy"] = "same-origin"
    response["X-Robots-Tag"] = "noindex, nofollow"
    response["Cache-Control"] = "private, no-store"
    return response
