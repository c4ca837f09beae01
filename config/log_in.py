"""Who is asking: Django's own sessions and log-in, with the browser's session and its person read by one query.

The settings name this module as the session engine and its ``Backend`` as what logs people in.
"""

from contextvars import ContextVar
from typing import Any, cast

from django.contrib.auth import SESSION_KEY
from django.contrib.auth.backends import ModelBackend
from django.contrib.sessions.backends.db import SessionStore as DatabaseSessionStore
from django.db.models import CharField, DateTimeField, Subquery
from django.utils import timezone

from desk.demo.load import DEMO_PASSWORD
from desk.shared.client_address import is_on_this_machine
from treatments.models import LogIn, ReferenceStamp, User
from treatments.reference.cache import note_stamp
from treatments.shared.standing_query import Given, StandingRows

# With the stamp of what is kept, which nearly every page asks for.
LOG_IN_OF_KEY = StandingRows(
    lambda: LogIn.objects.filter(session_key=Given(0, CharField()), expire_date__gt=Given(1, DateTimeField())).annotate(
        stamp=Subquery(ReferenceStamp.objects.values("stamp"))
    ),
    "person",
    annotated=("stamp",),
)
# Read with the session that was loaded last in this request; taken once, since later it may be out of date.
_PERSON: ContextVar[User | None] = ContextVar("person of the session that was loaded", default=None)


class SessionStore(DatabaseSessionStore):
    """Sessions in the database, as Django keeps them, each with the key of its person."""

    @classmethod
    def get_model_class(cls) -> type[LogIn]:
        return LogIn

    def create_model_instance(self, data: dict[str, Any]) -> Any:
        row: Any = super().create_model_instance(data)
        row.person_id = data.get(SESSION_KEY)
        return row

    def _get_session_from_db(self) -> LogIn | None:
        # No key of Django's has the sign that no database takes in a text; a cookie may.
        is_key = "\x00" not in (self.session_key or "")
        found: list[Any] = LOG_IN_OF_KEY.ask(self.session_key, timezone.now()) if is_key else []
        if not found:
            _PERSON.set(None)
            self._session_key = None
            return None
        (row,) = found
        note_stamp(row.stamp)
        _PERSON.set(row.person)
        return cast(LogIn, row)


class Backend(ModelBackend):
    """Log-in by name and password, as Django does it; the printed password of the demo opens on this machine only."""

    def authenticate(self, request: Any, username: Any = None, password: Any = None, **kwargs: Any) -> Any:
        if password == DEMO_PASSWORD and not (request is not None and is_on_this_machine(request)):
            return None
        return super().authenticate(request, username, password, **kwargs)

    def get_user(self, user_id: Any) -> User | None:
        """Return the person of a session, or None where there is none any more or the person may not log in."""
        person = _PERSON.get()
        _PERSON.set(None)
        if person is None or str(person.pk) != str(user_id):
            person = User.objects.filter(pk=user_id).first()
        return person if person is not None and self.user_can_authenticate(person) else None
