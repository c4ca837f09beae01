"""Reads of the claims app: which claims a person may see, and what the rules find about one."""

from collections import defaultdict
from collections.abc import Iterable, Mapping

from django.db.models import Exists, OuterRef, QuerySet

from claims.models import Claim, ClaimDecision
from claims.rules.check import check_claim
from claims.rules.claim import ClaimCheck, ClaimedZone, RustClaim
from scheduling.covers.queries import CoverCase, read_cover_case
from scheduling.visibility import limit_to_own
from treatments.enums import DamageKind, ZoneKind
from treatments.models import Customer, User, Vehicle, Zone
from treatments.queries import find_owner_on
from treatments.reference.cache import cached_reference
from treatments.reference.queries import list_areas, map_zones


def list_claims_for(user: User) -> QuerySet[Claim]:
    """Return the claims that a person may see: those on covers that the person may see."""
    claims = limit_to_own(user, Claim.objects.all(), "cover__dealership")
    return claims.select_related("cover__vehicle", "cover__site").prefetch_related("zones")


def list_open_claims(vehicle: Vehicle) -> QuerySet[Claim]:
    """Return the claims on the covers of a vehicle about which no decision stands."""
    standing = ClaimDecision.objects.filter(claim=OuterRef("pk"), reopened_at__isnull=True)
    open_claims = Claim.objects.filter(~Exists(standing), cover__vehicle=vehicle)
    return open_claims.select_related("cover").order_by("number")


def find_claim(number: str) -> Claim | None:
    """Return the claim of this number with its cover, vehicle and site, None where there is none."""
    return Claim.objects.select_related("cover__vehicle", "cover__site").filter(number=number).first()


def find_claimant(claim: Claim) -> Customer | None:
    """Return who claims, and so gets the letter: who owned the vehicle on the day of the report.

    None where it had been sold to somebody who is not on record. Where nobody is on record as an owner by that day, it
    is who holds the cover.
    """
    vehicle = claim.cover.vehicle
    if owned := find_owner_on(vehicle, claim.reported_on):
        return owned.customer
    return None if vehicle.ownerships.filter(from_day__lte=claim.reported_on).exists() else claim.cover.holder


def describe_claim(claim: Claim, zones: Iterable[Zone] | None = None) -> RustClaim:
    """Return the claim as the rules see it; its zones are asked for where they are not told."""
    return RustClaim(
        number=claim.number,
        discovered_on=claim.discovered_on,
        reported_on=claim.reported_on,
        damage=DamageKind(claim.damage),
        # Sorted here, so that zones that were fetched for many claims at once are not asked for again.
        zones=tuple(
            ClaimedZone(zone.code, zone.name, ZoneKind(zone.kind), zone.added_at)
            for zone in sorted(claim.zones.all() if zones is None else zones, key=lambda zone: zone.code)
        ),
        kilometres=claim.kilometres,
    )


def read_claim_check(claim: Claim) -> ClaimCheck:
    """Apply every rule to the claim, on the records as they are known now."""
    return check_in_case(claim, read_cover_case(claim.cover))


def check_in_case(
    claim: Claim,
    case: CoverCase,
    *,
    rust_claim: RustClaim | None = None,
    zones_by_style: Mapping[str, frozenset[str]] | None = None,
) -> ClaimCheck:
    """Apply every rule to the claim in a case of its cover, under the terms that the case gives.

    Args:
        rust_claim: what is claimed, where other facts are tried out than those on record.
        zones_by_style: what ``read_zones_by_style`` gave for a batch; read for this claim where left out.
    """
    told = rust_claim or describe_claim(claim)
    return check_claim(
        told,
        case.find_terms(told.discovered_on or told.reported_on),
        case.facts,
        case.history,
        case.calendar,
        in_service_on=case.cover.vehicle.in_service_on,
        vehicle_zones=(zones_by_style or read_zones_by_style()).get(case.cover.vehicle.body_style),
    )


@cached_reference
def read_zones_by_style() -> Mapping[str, frozenset[str]]:
    """Return the zones that a vehicle has, by body style; to be read once for a batch of claims."""
    zones, codes = map_zones(), defaultdict(set)
    for area in list_areas():
        codes[area.body_style].add(zones[area.zone_id].code)
    return {style: frozenset(found) for style, found in codes.items()}
