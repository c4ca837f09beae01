"""Adds and corrects customers: one name with one contact is one customer, whatever case and spacing. What a person
does to the own log-in; what others may change of it is in the administration pages.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from treatments.event_log import Happening, record_events
from treatments.models import Customer, User


def make_match_key(name: str, contact: str) -> str:
    """Return the key under which one name with one contact is one customer, whatever case and spacing."""
    return f"{' '.join(name.casefold().split())}|{' '.join(contact.casefold().split())}"


def make_customer(*, name: str, contact: str, now: datetime, **details: Any) -> Customer:
    """Return an unsaved customer; a contact with an @ is taken as the e-mail, else as the telephone."""
    contact = contact.strip()
    customer = Customer(
        name=" ".join(name.split()),
        contact=contact,
        match_key=make_match_key(name, contact),
        created_at=now,
        **details,
    )
    if "@" in contact:
        customer.email = customer.email or contact
    elif contact:
        customer.phone = customer.phone or contact[:40]
    return customer


def find_or_add_customer(
    *, name: str, contact: str, now: datetime, language: str = "", actor: User | None = None, **details: Any
) -> Customer:
    """Return the customer of this name and contact, added if new; also where somebody else adds it at the same time.

    Args:
        language: in which the customer wants to be written to, '' where nobody asked: then it stays as on record.
    """
    same = Customer.objects.filter(match_key=make_match_key(name, contact))
    known = same.first()
    if known:
        if language and language != known.language:
            change_customer(known, {"language": language}, now=now, actor=actor)
        return known
    if language:
        details["language"] = language
    customer = make_customer(name=name, contact=contact, now=now, **details)
    # The database tells whether it is the only one, when it is written.
    customer.full_clean(validate_unique=False)
    try:
        with transaction.atomic():
            customer.save()
    except IntegrityError:
        known = same.first()
        if known is None:
            raise
        return known
    return customer


@transaction.atomic
def change_customer(customer: Customer, details: Mapping[str, str], *, now: datetime, actor: User | None) -> None:
    """Change how a customer is reached or in which language, and record it.

    Raises:
        ValidationError: where another customer has this name and contact.
    """
    before = {name: getattr(customer, name) for name in details}
    for name, value in details.items():
        setattr(customer, name, value)
    if "email" in details or "phone" in details:
        _choose_contact(customer)
    customer.full_clean(validate_unique=False)
    if Customer.objects.filter(match_key=customer.match_key).exclude(pk=customer.pk).exists():
        raise ValidationError(
            _("%(name)s with the contact %(contact)s is on record as another customer: record a change of owner.")
            % {"name": customer.name, "contact": customer.contact}
        )
    customer.save()
    happening = Happening("customer.changed", "customer", str(customer.pk), before=before, after=dict(details))
    record_events([happening], actor=actor, now=now)


def _choose_contact(customer: Customer) -> None:
    """Keep the contact as it was entered while it is still right, else take the e-mail or the telephone."""
    if customer.contact not in (customer.email, customer.phone) or not customer.contact:
        customer.contact = customer.email or customer.phone
    customer.match_key = make_match_key(customer.name, customer.contact)


def change_own_password(*, person: User, password: str) -> None:
    """Give a person another password; every other session of theirs ends.

    Raises:
        ValidationError: for one that is too easy to guess.
    """
    validate_password(password, person)
    person.set_password(password)
    person.changed_by = person
    person.save(update_fields=["password"])
