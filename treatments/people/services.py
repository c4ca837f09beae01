"""What a person does to the own log-in; what others may change of it is in the administration pages."""

from django.contrib.auth.password_validation import validate_password

from treatments.models import User


def change_own_password(*, person: User, password: str) -> None:
    """Give a person another password; every other session of theirs ends.

    Raises:
        ValidationError: for one that is too easy to guess.
    """
    validate_password(password, person)
    person.set_password(password)
    person.changed_by = person
    person.save(update_fields=["password"])
