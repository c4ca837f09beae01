"""Where to come back to: the address of the page that is shown, or of the one before."""

from urllib.parse import urlsplit

from django.http import HttpRequest
from django.utils.http import url_has_allowed_host_and_scheme


def find_page_address(request: HttpRequest) -> str:
    """Return the address under which the page that is shown can be opened again.

    A page that answers a form that was sent is left out: the one with the form is meant.
    """
    if request.method in ("GET", "HEAD"):
        return request.get_full_path()
    return find_page_before(request)


def find_page_before(request: HttpRequest) -> str:
    """Return the desk's page from which a request came, the first page where that is not known."""
    before: str = request.META.get("HTTP_REFERER", "")
    if not url_has_allowed_host_and_scheme(before, {request.get_host()}, require_https=request.is_secure()):
        return "/"
    parts = urlsplit(before)
    # One slash at the start: two would lead to another host.
    return "/" + parts.path.lstrip("/") + (f"?{parts.query}" if parts.query else "")
