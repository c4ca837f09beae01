"""Signed addresses that a customer can open without an account, and their reading back.

They hold no personal data, only numbers of rows, and say nothing without the signature of this installation.
"""

from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings
from django.core import signing

from treatments.models import Customer, Ownership, Vehicle

STOP_SALT = "notifications.stop-messages"
OWN_PAGE_SALT = "notifications.own-page"
# Longer than from one yearly visit to the next; each message brings a fresh one.
OWN_PAGE_LASTS = timedelta(days=400)


def make_stop_token(customer: Customer) -> str:
    """Return a token that lets its bearer stop this customer's messages, and nothing else."""
    return signing.dumps(customer.pk, salt=STOP_SALT)


def make_stop_address(customer: Customer) -> str:
    """Return the address of the page on which the customer stops messages."""
    return f"{settings.SITE_URL}/stop/{make_stop_token(customer)}/"


def read_stop_token(token: str) -> Customer | None:
    """Return the customer of a token, or None for a token that was not made here."""
    try:
        key = signing.loads(token, salt=STOP_SALT)
    except signing.BadSignature:
        return None
    return Customer.objects.filter(pk=key).first()


def make_own_page_token(customer: Customer, vehicle: Vehicle) -> str:
    """Return a token that lets its bearer see and book visits of a vehicle as long as the customer owns it."""
    return signing.dumps([customer.pk, vehicle.pk], salt=OWN_PAGE_SALT)


def make_own_page_address(customer: Customer, vehicle: Vehicle) -> str:
    """Return the address of the customer's own page for a vehicle."""
    return f"{settings.SITE_URL}/my/{make_own_page_token(customer, vehicle)}/"


@dataclass(frozen=True, slots=True)
class OwnPage:
    """Whose page it is, and for which vehicle."""

    customer: Customer
    vehicle: Vehicle


def read_own_page_token(token: str) -> OwnPage | None:
    """Return whose page a token opens; None where it is not from here, too old, or the vehicle has another owner now.

    A former owner's link shows nothing, so that nobody sees the dates and visits of the next one.
    """
    try:
        customer, vehicle = signing.loads(token, salt=OWN_PAGE_SALT, max_age=OWN_PAGE_LASTS)
    except signing.BadSignature:
        return None
    owned = (
        Ownership.objects.filter(vehicle=vehicle, customer=customer, until_day__isnull=True)
        .exclude(customer__match_key__startswith="erased ")
        .select_related("customer", "vehicle")
        .first()
    )
    return OwnPage(owned.customer, owned.vehicle) if owned else None
