"""What a person does to the own log-in; what others may change of it is in the administration pages."""

from datetime import datetime

from django.contrib.auth.password_validation import validate_password
from django.db import transaction

from treatments.event_log import Happening, record_events
from treatments.models import User


@transaction.atomic
def change_own_password(*, person: User, password: str, now: datetime) -> None:
    """Give a person another password; every other session of theirs ends.

    Raises:
        ValidationError: for one that is too easy to guess.
    """
    validate_password(password, person)
    person.set_password(password)
    person.save(update_fields=["password"])
    record_events([Happening("user.password_changed", "user", str(person.pk))], actor=person, now=now)
