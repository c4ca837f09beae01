"""The log of the uses of customers' links: noted as each is answered, read by the desk."""

from datetime import datetime

from django.db.models import Q, QuerySet

from notifications.customer_page.links import Link, find_whose_link
from notifications.enums import LinkPurpose
from notifications.models import LinkUse
from treatments.models import Customer, Vehicle


def note_link_use(link: Link, *, act: str, status: int, now: datetime) -> None:
    """Note one use of a link that opened something.

    Args:
        act: the name of the page.
        status: the status code of the answer.
    """
    LinkUse.objects.create(
        customer=link.customer, vehicle=link.vehicle, purpose=link.purpose, act=act, status=status, used_at=now
    )


def note_refused_link(token: str, purpose: LinkPurpose, *, act: str, status: int, now: datetime) -> None:
    """Note a use of a link of ours that opens nothing any more; one that was not made here is nobody's."""
    whose = find_whose_link(token, purpose)
    if whose is None:
        return
    customer, vehicle = whose
    LinkUse.objects.create(
        customer=Customer.objects.filter(pk=customer).first(),
        vehicle=Vehicle.objects.filter(pk=vehicle).first() if vehicle else None,
        purpose=purpose,
        act=act,
        status=status,
        used_at=now,
    )


def list_link_uses(vehicle: Vehicle) -> "QuerySet[LinkUse]":
    """Return the uses of links of a vehicle, and of those of its owner that are of no vehicle, the newest first."""
    owner = vehicle.ownerships.filter(until_day__isnull=True).values("customer")
    found = LinkUse.objects.filter(Q(vehicle=vehicle) | Q(vehicle__isnull=True, customer__in=owner))
    return found.select_related("customer")
