"""Django's sessions in the database; the settings name this module as the session engine."""

from django.contrib.sessions.backends.db import SessionStore as DatabaseSessionStore


class SessionStore(DatabaseSessionStore):
    """Sessions as Django keeps them; a key that PostgreSQL takes in no text is nobody's instead of an error."""

    def _validate_session_key(self, key: str | None) -> bool:
        return bool(key) and "\x00" not in str(key) and super()._validate_session_key(key)  # type: ignore[misc]
