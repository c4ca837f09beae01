"""Who is asking: Django's own sessions and log-in, with the two reads of every request as queries that are written once.

The settings name this module as the session engine and its ``Backend`` as what logs people in.
"""

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.contrib.sessions.backends.db import SessionStore as DatabaseSessionStore
from django.contrib.sessions.models import Session
from django.db.models import CharField, DateTimeField
from django.utils import timezone

from treatments.models import User
from treatments.standing_query import Given, StandingRows

SESSION_OF_KEY = StandingRows(
    lambda: Session.objects.filter(session_key=Given(0, CharField()), expire_date__gt=Given(1, DateTimeField()))
)
PERSON_OF_KEY = StandingRows(lambda: User.objects.filter(pk=Given(0)))


class SessionStore(DatabaseSessionStore):
    """Sessions in the database, as Django keeps them."""

    def _get_session_from_db(self) -> Session | None:
        found = SESSION_OF_KEY.ask(self.session_key, timezone.now())
        if found:
            return found[0]
        self._session_key = None
        return None


class Backend(ModelBackend):
    """Log-in by name and password, as Django does it."""

    def get_user(self, user_id: Any) -> User | None:
        """Return the person of a session, or None where there is none any more or the person may not log in."""
        found = PERSON_OF_KEY.ask(user_id)
        return found[0] if found and self.user_can_authenticate(found[0]) else None
