"""Reads of the claims room: which claims a person may see, and what the rules find about one."""

from django.db.models import QuerySet

from claims.models import Claim
from claims.rules.check import check_claim
from claims.rules.claim import ClaimCheck, ClaimedZone, RustClaim
from scheduling.queries import list_covers_for, read_cover_case
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
        zones=tuple(ClaimedZone(zone.code, zone.name, ZoneKind(zone.kind)) for zone in claim.zones.order_by("code")),
        kilometres=claim.kilometres,
    )


def read_claim_check(claim: Claim) -> ClaimCheck:
    """Apply every rule to the claim, on the records as they are known now."""
    case = read_cover_case(claim.cover)
    day = claim.discovered_on or claim.reported_on
    return check_claim(
        describe_claim(claim),
        case.find_terms(day),
        case.facts,
        case.history,
        case.calendar,
        in_service_on=claim.cover.vehicle.in_service_on,
    )
