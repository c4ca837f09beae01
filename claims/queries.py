"""Reads of the claims room: which claims a person may see, and what the rules find about one."""

from collections import defaultdict
from collections.abc import Mapping

from django.db.models import QuerySet

from claims.models import Claim
from claims.rules.check import check_claim
from claims.rules.claim import ClaimCheck, ClaimedZone, RustClaim
from scheduling.queries import CoverCase, list_covers_for, read_cover_case
from treatments.models import User, ZoneArea
from treatments.models.people import Role
from treatments.rules.words import DamageKind, ZoneKind


def list_claims_for(user: User) -> QuerySet[Claim]:
    """Return the claims that a person may see: those on covers that the person may see."""
    claims = Claim.objects.all()
    if user.role == Role.DEALERSHIP:
        claims = claims.filter(cover__in=list_covers_for(user))
    return claims.select_related("cover__vehicle", "cover__site").prefetch_related("zones")


def describe_claim(claim: Claim) -> RustClaim:
    """Return the claim as the rules see it."""
    return RustClaim(
        number=claim.number,
        discovered_on=claim.discovered_on,
        reported_on=claim.reported_on,
        damage=DamageKind(claim.damage),
        # Sorted here, so that zones that were fetched for many claims at once are not asked for again.
        zones=tuple(
            ClaimedZone(zone.code, zone.name, ZoneKind(zone.kind))
            for zone in sorted(claim.zones.all(), key=lambda zone: zone.code)
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


def read_zones_by_style() -> dict[str, frozenset[str]]:
    """Return the zones that a vehicle has, by body style; in one query, to be kept for a batch of claims."""
    zones: dict[str, set[str]] = defaultdict(set)
    for style, code in ZoneArea.objects.values_list("body_style", "zone__code"):
        zones[style].add(code)
    return {style: frozenset(codes) for style, codes in zones.items()}
