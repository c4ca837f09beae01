"""Who is asking: Django's own sessions and log-in, with the two reads of every request as queries written once.

The settings name this module as the session engine and its ``Backend`` as what logs people in.
"""

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.contrib.sessions.backends.db import SessionStore as DatabaseSessionStore
from django.contrib.sessions.models import Session
from django.db import DEFAULT_DB_ALIAS
from django.db.models import CharField, DateTimeField, Subquery
from django.utils import timezone

from treatments.models import ReferenceStamp, User
from treatments.reference import note_stamp
from treatments.standing_query import Given, StandingQuery, StandingRows

SESSION_OF_KEY = StandingRows(
    lambda: Session.objects.filter(session_key=Given(0, CharField()), expire_date__gt=Given(1, DateTimeField()))
)
PERSON_COLUMNS = [field.attname for field in User._meta.concrete_fields]
# With the stamp of what is kept, which nearly every page asks for.
STAMP = Subquery(ReferenceStamp.objects.values("stamp"))
PERSON_OF_KEY = StandingQuery(lambda: User.objects.filter(pk=Given(0)).values_list(*PERSON_COLUMNS, STAMP))


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
        rows = PERSON_OF_KEY.ask(user_id)
        if not rows:
            return None
        *values, stamp = rows[0]
        note_stamp(stamp)
        person = User.from_db(DEFAULT_DB_ALIAS, PERSON_COLUMNS, values)
        return person if self.user_can_authenticate(person) else None
