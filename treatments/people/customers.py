"""Adds customers: one name with one contact is one customer, whatever case and spacing."""

from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from treatments.models import Customer


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


def find_or_add_customer(*, name: str, contact: str, now: datetime, **details: Any) -> Customer:
    """Return the customer of this name and contact, added if new; also where somebody else adds it at the same time."""
    same = Customer.objects.filter(match_key=make_match_key(name, contact))
    known = same.first()
    if known:
        return known
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
