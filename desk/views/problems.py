"""The page for a form that was refused because it did not come from a fresh page of the desk.

The pages for "not yours" and "not found" are the templates 403.html and 404.html, which Django finds by name.
"""

from urllib.parse import urlsplit

from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import REASON_NO_CSRF_COOKIE
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme


def refuse_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Say that nothing was saved, why that can be, and how to go on; Django calls it for a failed CSRF check."""
    context = {"no_cookie": reason == REASON_NO_CSRF_COOKIE, "back": _find_page_before(request)}
    return render(request, "403_csrf.html", context, status=403)


def _find_page_before(request: HttpRequest) -> str:
    """Return the desk's page with the form, to be opened afresh; the first page where that is not known."""
    before: str = request.META.get("HTTP_REFERER", "")
    if not url_has_allowed_host_and_scheme(before, {request.get_host()}, require_https=request.is_secure()):
        return "/"
    parts = urlsplit(before)
    # One slash at the start: two would lead to another host.
    return "/" + parts.path.lstrip("/") + (f"?{parts.query}" if parts.query else "")
