"""Who may log in: Django's own log-in by name and password, but for the printed password of the demo."""

from typing import Any

from django.contrib.auth.backends import ModelBackend

from desk.demo.load import DEMO_PASSWORD
from desk.shared.addresses import is_on_this_machine


class Backend(ModelBackend):
    """Log-in by name and password, as Django does it; the printed password of the demo opens on this machine only."""

    def authenticate(self, request: Any, username: Any = None, password: Any = None, **kwargs: Any) -> Any:
        if password == DEMO_PASSWORD and not (request is not None and is_on_this_machine(request)):
            return None
        return super().authenticate(request, username, password, **kwargs)
