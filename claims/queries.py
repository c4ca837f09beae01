"""Reads of the claims room: which claims a person may see, and what the rules find about one."""

from django.db.models import QuerySet

from claims.models import Claim
from claims.rules.check import check_claim
from claims.rules.claim import ClaimCheck, ClaimedZone, RustClaim
from scheduling.queries import CoverCase, list_covers_for, read_cover_case
from treatments.models import User
from treatments.rules.words import DamageKind, ZoneKind


def list_claims_for(user: User) -> QuerySet[Claim]:
    """Return the claims that a person may see: those on covers that the person may see."""
    claims = Claim.objects.filter(cover__in=list_covers_for(user))
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


def check_in_case(claim: Claim, case: CoverCase) -> ClaimCheck:
    """Apply every rule to the claim in a case of its cover, under the terms that the case gives."""
    day = claim.discovered_on or claim.reported_on
    return check_claim(
        describe_claim(claim),
        case.find_terms(day),
        case.facts,
        case.history,
        case.calendar,
        in_service_on=case.cover.vehicle.in_service_on,
    )
