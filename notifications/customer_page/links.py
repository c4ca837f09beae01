"""Signed links by which customers do something without an account: each is for one purpose and for a time.

A link is made anew wherever it is written; it stands in no table, and ``LinkUse`` only says which purpose was used.
"""

import re
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core import signing

from claims.models import Claim
from claims.queries import find_claimant
from notifications.enums import LinkPurpose
from notifications.privacy.people import ERASED_KEY
from treatments.models import Customer, Ownership, Vehicle

# Longer than from one yearly visit to the next; each message brings a fresh one.
OWN_PAGE_LASTS = timedelta(days=400)
# Links that stand on a customer's page are made anew each time that it is opened.
ON_A_PAGE_LASTS = timedelta(days=7)
LASTS: dict[LinkPurpose, timedelta | None] = {
    LinkPurpose.VEHICLE: OWN_PAGE_LASTS,
    LinkPurpose.VEHICLES: OWN_PAGE_LASTS,
    LinkPurpose.RECORD: OWN_PAGE_LASTS,
    LinkPurpose.CLAIM: OWN_PAGE_LASTS,
    LinkPurpose.CONTACT: ON_A_PAGE_LASTS,
    LinkPurpose.REPORT_RUST: ON_A_PAGE_LASTS,
    LinkPurpose.EMAIL: timedelta(days=3),
    # Whoever finds an old message must still be able to stop them.
    LinkPurpose.STOP: None,
}
# The salt keeps a token of one purpose from being read as one of another.
SALTS: dict[LinkPurpose, str] = {
    **{purpose: f"notifications.link.{purpose}" for purpose in LinkPurpose},
    LinkPurpose.VEHICLE: "notifications.own-page",
    LinkPurpose.STOP: "notifications.stop-messages",
}
OF_A_VEHICLE = (LinkPurpose.VEHICLE, LinkPurpose.RECORD, LinkPurpose.REPORT_RUST)
# Below the address of the site.
PATHS: dict[LinkPurpose, str] = {
    LinkPurpose.VEHICLE: "my/{}/",
    LinkPurpose.VEHICLES: "my/{}/vehicles/",
    LinkPurpose.RECORD: "my/{}/record/",
    LinkPurpose.CLAIM: "my/{}/claim/",
    LinkPurpose.CONTACT: "my/{}/contact/",
    LinkPurpose.REPORT_RUST: "my/{}/rust/",
    LinkPurpose.EMAIL: "my/{}/e-mail/",
    LinkPurpose.STOP: "stop/{}/",
}


# The address of a customer's link holds its key.
_SIGNED_LINK = re.compile(r"/(my|stop)/[^/\s]+/")


@dataclass(frozen=True, slots=True)
class OwnPage:
    """Whose page it is, and for which vehicle."""

    customer: Customer
    vehicle: Vehicle


@dataclass(frozen=True, slots=True)
class Link:
    """What a link is for and of whom.

    Attributes:
        vehicle: None for a link that is of the person, such as that to the contact details.
        claim: of a link to a claim.
        email: the address that a link is to confirm, with ``former_email``, the one on record when it was asked for.
    """

    purpose: LinkPurpose
    customer: Customer
    vehicle: Vehicle | None = None
    claim: Claim | None = None
    email: str = ""
    former_email: str = ""


def _make_token(purpose: LinkPurpose, content: Any) -> str:
    return signing.dumps(content, salt=SALTS[purpose])


def _make_address(purpose: LinkPurpose, token: str) -> str:
    return f"{settings.SITE_URL}/{PATHS[purpose].format(token)}"


def make_stop_token(customer: Customer) -> str:
    """Return a token that lets its bearer stop this customer's messages, and nothing else."""
    return _make_token(LinkPurpose.STOP, customer.pk)


def make_stop_address(customer: Customer) -> str:
    """Return the address of the page on which the customer stops messages."""
    return _make_address(LinkPurpose.STOP, make_stop_token(customer))


def make_own_page_token(customer: Customer, vehicle: Vehicle) -> str:
    """Return a token that lets its bearer see and book visits of a vehicle as long as the customer owns it."""
    return make_vehicle_token(LinkPurpose.VEHICLE, customer, vehicle)


def make_own_page_address(customer: Customer, vehicle: Vehicle) -> str:
    """Return the address of the customer's own page for a vehicle."""
    return _make_address(LinkPurpose.VEHICLE, make_own_page_token(customer, vehicle))


def make_vehicle_token(purpose: LinkPurpose, customer: Customer, vehicle: Vehicle) -> str:
    """Return a token for one of the purposes that are about a vehicle, good as long as the customer owns it."""
    assert purpose in OF_A_VEHICLE
    return _make_token(purpose, [customer.pk, vehicle.pk])


def make_own_vehicles_token(customer: Customer) -> str:
    """Return a token for the list of a customer's vehicles with what is due."""
    return _make_token(LinkPurpose.VEHICLES, [customer.pk])


def make_own_vehicles_address(customer: Customer) -> str:
    """Return the address of the list of a customer's vehicles with what is due, for a message about several."""
    return _make_address(LinkPurpose.VEHICLES, make_own_vehicles_token(customer))


def make_contact_token(customer: Customer) -> str:
    """Return a token that lets its bearer correct how a customer is reached."""
    return _make_token(LinkPurpose.CONTACT, [customer.pk])


def make_email_address(customer: Customer, email: str) -> str:
    """Return the address of the page on which a customer confirms a new e-mail address."""
    return _make_address(LinkPurpose.EMAIL, _make_token(LinkPurpose.EMAIL, [customer.pk, email, customer.email]))


def make_claim_token(customer: Customer, claim: Claim) -> str:
    """Return a token for the page of a claim, good for who claims and still owns the vehicle."""
    return _make_token(LinkPurpose.CLAIM, [customer.pk, claim.pk])


def make_claim_address(customer: Customer, claim: Claim) -> str:
    """Return the address of the page on which a customer follows a claim."""
    return _make_address(LinkPurpose.CLAIM, make_claim_token(customer, claim))


def read_link(token: str, purpose: LinkPurpose) -> Link | None:
    """Return what a token opens for a purpose.

    None where it was not made here, not for this purpose, is too old, or its customer does not own the vehicle any
    more: a former owner's link shows nothing, so that nobody sees the dates and visits of the next one.
    """
    try:
        content = signing.loads(token, salt=SALTS[purpose], max_age=LASTS[purpose])
    except signing.BadSignature:
        return None
    if purpose is LinkPurpose.STOP:
        customer = _list_people().filter(pk=content).first()
        return Link(purpose, customer) if customer else None
    key, *rest = content
    if purpose in OF_A_VEHICLE:
        owned = _find_owned(key, rest[0])
        return Link(purpose, owned.customer, owned.vehicle) if owned else None
    if purpose is LinkPurpose.CLAIM:
        return _read_claim_link(key, rest[0])
    customer = _list_people().filter(pk=key, ownerships__until_day__isnull=True, ownerships__isnull=False).first()
    if customer is None:
        return None
    if purpose is LinkPurpose.EMAIL:
        return Link(purpose, customer, email=rest[0], former_email=rest[1])
    return Link(purpose, customer)


def _list_people() -> Any:
    return Customer.objects.exclude(match_key__startswith=ERASED_KEY)


def _find_owned(customer: int, vehicle: int) -> Ownership | None:
    return (
        Ownership.objects.filter(vehicle=vehicle, customer=customer, until_day__isnull=True)
        .exclude(customer__match_key__startswith=ERASED_KEY)
        .select_related("customer", "vehicle")
        .first()
    )


def _read_claim_link(customer: int, key: int) -> Link | None:
    claim = Claim.objects.select_related("cover__vehicle", "cover__site").filter(pk=key).first()
    owned = _find_owned(customer, claim.cover.vehicle_id) if claim else None
    if claim is None or owned is None or find_claimant(claim) != owned.customer:
        return None
    return Link(LinkPurpose.CLAIM, owned.customer, owned.vehicle, claim)


def find_whose_link(token: str, purpose: LinkPurpose) -> tuple[int, int | None] | None:
    """Return the keys of customer and vehicle of a token that was made here, although it may open nothing any more.

    For the log of uses only. None where it was not made here, or for another purpose.
    """
    try:
        content = signing.loads(token, salt=SALTS[purpose])
    except signing.BadSignature:
        return None
    if purpose is LinkPurpose.STOP:
        return content, None
    return content[0], content[1] if purpose in OF_A_VEHICLE else None


def read_stop_token(token: str) -> Customer | None:
    """Return the customer of a token that stops messages, or None for one that was not made here."""
    link = read_link(token, LinkPurpose.STOP)
    return link.customer if link else None


def read_own_page_token(token: str) -> OwnPage | None:
    """Return whose page a token opens, None as for ``read_link``."""
    link = read_link(token, LinkPurpose.VEHICLE)
    return OwnPage(link.customer, link.vehicle) if link and link.vehicle else None


def mask_links(text: str) -> str:
    """Return a text with the keys of customers' links left out, for those who read it and are not the customer."""
    return _SIGNED_LINK.sub(r"/\1/…/", text)
