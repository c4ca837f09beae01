"""The page for a form that was refused because it did not come from a fresh page of the desk.

The pages for "not yours" and "not found" are the templates 403.html and 404.html, which Django finds by name.
"""

from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import REASON_NO_CSRF_COOKIE
from django.shortcuts import render

from desk.shared.page_address import find_page_before


def refuse_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Say that nothing was saved, why that can be, and how to go on; Django calls it for a failed CSRF check."""
    context = {"no_cookie": reason == REASON_NO_CSRF_COOKIE, "back": find_page_before(request)}
    return render(request, "403_csrf.html", context, status=403)
