"""How often customers' links may be used: so many times an hour from one address, and so many times one link."""

from hashlib import sha256
from math import ceil
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from rest_framework.throttling import SimpleRateThrottle

from desk.shared.addresses import find_client_address


class UsesFromAnAddress(SimpleRateThrottle):
    """Counts uses from one address, whatever the links, so that nobody tries many; in this process."""

    scope = "links_from_an_address"

    def get_rate(self) -> str:
        return str(settings.LINK_USES_FROM_AN_ADDRESS)

    def get_cache_key(self, request: Any, view: Any) -> str:
        return f"links-from-{find_client_address(request)}"


class UsesOfALink(SimpleRateThrottle):
    """Counts uses of one link, wherever from; in this process."""

    scope = "uses_of_a_link"

    def __init__(self, token: str) -> None:
        super().__init__()
        self._digest = sha256(token.encode()).hexdigest()

    def get_rate(self) -> str:
        return str(settings.LINK_USES_OF_A_LINK)

    def get_cache_key(self, request: Any, view: Any) -> str:
        return f"uses-of-link-{self._digest}"


def find_wait(request: HttpRequest, token: str, *, by_mail_programs: bool) -> int:
    """Count a use of a link and return after how many seconds the next may be tried; 0 where it may go on.

    Args:
        by_mail_programs: whether servers of mail open it for their users, many from one address.
    """
    view: Any = None
    asked: Any = request
    throttles: list[SimpleRateThrottle] = [UsesOfALink(token)]
    if not by_mail_programs:
        throttles.insert(0, UsesFromAnAddress())
    for throttle in throttles:
        if not throttle.allow_request(asked, view):
            return max(1, ceil(throttle.wait() or 1))
    return 0
