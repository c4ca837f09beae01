"""What customers agreed to, and on which channel, at which address and by which clock each is written to."""

import zoneinfo
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.conf import settings

from notifications.enums import Channel, Purpose
from notifications.models import Consent, ContactHours, ContactPreference, Suppression
from notifications.rules.channels import Address, choose_address
from notifications.rules.quiet_hours import QuietHours
from treatments.models import Customer, Site
from treatments.rules.site_settings import find_zone

# Without a word from the customer: the contract calls for notices; nothing else is sent unasked.
UNASKED = {Purpose.CONTRACT: True, Purpose.OFFERS: False, Purpose.TEXTS: False}


def read_consents(customers: Iterable[Customer]) -> dict[int, dict[Purpose, bool]]:
    """Return by customer what each agrees to now; who never said anything is there too."""
    found = {customer.pk: {**UNASKED, Purpose.CONTRACT: not customer.messages_stopped_at} for customer in customers}
    rows = Consent.objects.filter(customer__in=found).exclude(purpose=Purpose.CONTRACT).order_by("recorded_at", "pk")
    for customer, purpose, given in rows.values_list("customer_id", "purpose", "given"):
        found[customer][Purpose(purpose)] = given
    return found


def list_statements(customer: Customer) -> list[Consent]:
    """Return what a customer agreed to or took back, the newest first, with who wrote it down."""
    rows = Consent.objects.filter(customer=customer).select_related("recorded_by")
    return list(rows.order_by("-recorded_at", "-pk"))


def list_who_agreed_to_offers() -> list[Customer]:
    """Return the customers whose last word on offers is yes, by name."""
    last: dict[int, bool] = {}
    rows = Consent.objects.filter(purpose=Purpose.OFFERS).order_by("recorded_at", "pk")
    for customer, given in rows.values_list("customer_id", "given"):
        last[customer] = given
    agreed = [customer for customer, given in last.items() if given]
    return list(Customer.objects.filter(pk__in=agreed).order_by("name", "pk"))


@dataclass(frozen=True, slots=True)
class Reach:
    """How one customer is written to.

    Attributes:
        to: None where there is no way.
        is_dead: whether the only addresses on record are not written to any more.
        zone: the customer's own time zone, None where it is that of the site.
        is_stopped: whether they want no messages.
    """

    to: Address | None
    is_dead: bool
    zone: zoneinfo.ZoneInfo | None
    is_stopped: bool


def read_reach(customers: Iterable[Customer]) -> dict[int, Reach]:
    """Return by customer how each is written to, in three queries."""
    known = {customer.pk: customer for customer in customers}
    texts = {key: agreed[Purpose.TEXTS] for key, agreed in read_consents(known.values()).items()}
    # Without a gateway nothing carries text messages.
    can_text = bool(getattr(settings, "TEXT_GATEWAY_URL", ""))
    preferences = ContactPreference.objects.in_bulk(list(known))
    addresses = {address for one in known.values() for address in (one.email, one.phone) if address}
    dead: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for channel, address in Suppression.objects.filter(lifted_at__isnull=True, address__in=addresses).values_list(
        "channel", "address"
    ):
        dead[address].add((channel, address))
    found = {}
    for key, customer in known.items():
        preference = preferences.get(key)
        theirs = dead[customer.email] | dead[customer.phone]
        to = choose_address(
            email=customer.email,
            mobile=customer.phone if texts[key] and can_text else "",
            postal=customer.address,
            prefers=Channel(preference.channel) if preference and preference.channel else None,
            dead=theirs,
        )
        zone = find_zone(preference.time_zone) if preference and preference.time_zone else None
        found[key] = Reach(to, to is None and bool(theirs), zone, customer.messages_stopped_at is not None)
    return found


@dataclass(frozen=True, slots=True)
class SiteHours:
    """When the customers of a site may be written to."""

    quiet: QuietHours = field(default_factory=QuietHours)
    most_per_week: int = 3


def read_contact_hours() -> dict[int, SiteHours]:
    """Return by site when its customers may be written to; a site that set nothing is left out: ``SiteHours()``."""
    return {
        row.site_id: SiteHours(QuietHours(row.quiet_from, row.quiet_until, row.quiet_weekdays), row.most_per_week)
        for row in ContactHours.objects.all()
    }


def find_customer_zone(reach: Reach, site: Site) -> zoneinfo.ZoneInfo:
    """Return the clock by which a customer is written to: their own, else that of the site."""
    return reach.zone or site.clock
