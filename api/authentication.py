"""Log-in by token, with a lock on an address from which too many wrong ones came."""

from typing import Any

from axes.handlers.proxy import AxesProxyHandler
from django.contrib.auth.signals import user_login_failed
from rest_framework.authentication import TokenAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed, Throttled
from rest_framework.request import Request

# Counted under one name that no person has, so by address alone.
CREDENTIALS = {"username": "(token)"}


class LimitedTokenAuthentication(TokenAuthentication):
    """Django REST framework's own, counted by django-axes as the log-ins of people are."""

    def authenticate(self, request: Request) -> Any:
        if not get_authorization_header(request).lower().startswith(self.keyword.lower().encode()):
            return None
        # The request of Django, which is the one that django-axes knows.
        plain = request._request
        if not AxesProxyHandler.is_allowed(plain, CREDENTIALS):
            raise Throttled(detail="Too many wrong tokens came from this address. Try again later.")
        try:
            return super().authenticate(request)
        except AuthenticationFailed:
            user_login_failed.send(sender=__name__, credentials=CREDENTIALS, request=plain)
            raise
