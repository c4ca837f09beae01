"""From which address a request comes, also behind a proxy; for what counts log-ins by person and address. Where to
come back to: the address of the page that is shown, or of the one before.
"""

import ipaddress
from urllib.parse import urlsplit

from django.conf import settings
from django.http import HttpRequest
from django.http.request import split_domain_port
from django.utils.http import url_has_allowed_host_and_scheme

LOOPBACK_NAMES = ("localhost",)


def find_client_address(request: HttpRequest) -> str:
    """Return the address of the client: behind the proxy that the settings name, the last one that the proxy saw."""
    direct: str = request.META.get("REMOTE_ADDR", "")
    if not settings.BEHIND_HTTPS:
        return direct
    seen = request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2].strip()
    return seen if _is_address(seen) else direct


def is_loopback(host: str) -> bool:
    """Say whether a host, without its port, is this machine."""
    bare = host.strip("[]")
    return bare in LOOPBACK_NAMES or (_is_address(bare) and ipaddress.ip_address(bare).is_loopback)


def is_on_this_machine(request: HttpRequest) -> bool:
    """Say whether a request was made on this machine: by its client's address, and by the name that was asked for."""
    host = split_domain_port(request.get_host())[0]
    return is_loopback(find_client_address(request)) and is_loopback(host)


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


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
