"""Signed addresses that a customer can open without an account, and their reading back."""

from django.conf import settings
from django.core import signing

from treatments.models import Customer

STOP_SALT = "notifications.stop-messages"


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
