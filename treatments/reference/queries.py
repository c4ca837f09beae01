"""What the shop works with and seldom changes: its sites, zones with their areas, and products. Loads the zone
catalogue into the shop's own zones and never overwrites what the shop has changed.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from treatments.enums import ZoneKind
from treatments.models import Dealership, Product, Site, User, Zone, ZoneArea
from treatments.reference.cache import cached_reference
from treatments.rules.zone_catalogue import ZoneDescription


@cached_reference
def list_sites() -> tuple[Site, ...]:
    """Return the shop's sites, the first one first."""
    return tuple(Site.objects.order_by("pk"))


@cached_reference
def map_sites() -> Mapping[int, Site]:
    """Return the shop's sites by primary key."""
    return {site.pk: site for site in list_sites()}


def find_site_of(person: User) -> Site | None:
    """Return the site at which a person works, None for one who works at none."""
    return map_sites().get(person.site_id) if person.site_id else None


@cached_reference
def map_people() -> Mapping[int, User]:
    """Return everybody who ever could log in, by primary key, without what only the log-in asks for."""
    return {person.pk: person for person in User.objects.defer("password", "last_login", "email", "date_joined")}


@cached_reference
def map_dealerships() -> Mapping[int, Dealership]:
    """Return the dealerships by primary key."""
    return {dealership.pk: dealership for dealership in Dealership.objects.all()}


@cached_reference
def list_zones() -> tuple[Zone, ...]:
    """Return the zones in the order of the work."""
    return tuple(Zone.objects.order_by("stage", "sequence", "code"))


@cached_reference
def map_zones() -> Mapping[int, Zone]:
    """Return the zones by primary key."""
    return {zone.pk: zone for zone in list_zones()}


@cached_reference
def map_zone_names() -> Mapping[str, str]:
    """Return the names of the zones by code."""
    return {zone.code: zone.name for zone in list_zones()}


@cached_reference
def map_products() -> Mapping[int, Product]:
    """Return the products by primary key."""
    return {product.pk: product for product in Product.objects.order_by("pk")}


@cached_reference
def list_products() -> tuple[Product, ...]:
    """Return the products by name."""
    return tuple(Product.objects.order_by("name"))


@cached_reference
def list_areas() -> tuple[ZoneArea, ...]:
    """Return the area of each zone on each body style."""
    return tuple(ZoneArea.objects.order_by("zone_id", "body_style"))


def list_claimable_zones(body_style: str) -> list[Zone]:
    """Return the zones on which rust can be claimed: those of a body style, and last what is never coated.

    What is never coated is claimed by mistake only; without a body style a vehicle may have any zone.
    """
    sized = {zone for zone, style in map_areas() if style == body_style}
    never = ZoneKind.NEVER_COATED
    found = [zone for zone in list_zones() if not body_style or zone.pk in sized or zone.kind == never]
    return sorted(found, key=lambda zone: zone.kind == never)


@cached_reference
def map_areas() -> Mapping[tuple[int, str], Decimal]:
    """Return areas in m2 by the zone's primary key and the body style."""
    return {(area.zone_id, area.body_style): area.area_m2 for area in list_areas()}


@transaction.atomic
def load_zone_catalogue(*, catalogue: Sequence[ZoneDescription], now: datetime) -> int:
    """Add the zones that are not there yet; zones and areas that the shop has changed stay as they are.

    What the first catalogue of a shop brings was always there; what comes later, from its moment on.

    A zone that an older catalogue brought gets what that did not say: tools, what to guard, and on which vehicles it is
    not coated.
    """
    known = {zone.code: zone for zone in Zone.objects.all()}
    added = 0
    for described in catalogue:
        more: dict[str, Any] = {
            "tools": list(described.tools),
            "door_approaches": list(described.door_approaches),
            "to_guard": list(described.to_guard),
            "propulsions": list(described.propulsions),
            "withheld_on": list(described.withheld_on),
        }
        if described.code in known:
            zone = known[described.code]
            missing = [name for name in more if getattr(zone, name) is None]
            for name in missing:
                setattr(zone, name, more[name])
            if missing:
                zone.save(update_fields=missing)
            continue
        zone = Zone.objects.create(
            **more,
            added_at=now if known else None,
            code=described.code,
            name=described.name,
            aliases=list(described.aliases),
            kind=described.kind,
            stage=described.stage or "",
            height=described.height or "",
            sequence=described.sequence,
            suited_families=list(described.suited_families),
            access_points=[{"name": p.name, "count": p.count} for p in described.access_points],
            cautions=list(described.cautions),
            plastic=described.plastic,
        )
        ZoneArea.objects.bulk_create(
            ZoneArea(zone=zone, body_style=style, area_m2=area) for style, area in described.areas_m2
        )
        added += 1
    return added
