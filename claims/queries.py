"""Reads of the claims room: which claims a person may see, and what the rules find about one."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db import DEFAULT_DB_ALIAS
from django.db.models import CharField, Exists, OuterRef, QuerySet

from claims.models import Claim, ClaimDecision, ClaimPhoto, ClaimRequest, WhatThereIs
from claims.rules.check import check_claim
from claims.rules.claim import ClaimCheck, ClaimedZone, RustClaim
from scheduling.covers.queries import CoverCase, list_covers_for, read_cover_case
from scheduling.models import Cover
from treatments.enums import DamageKind, ZoneKind
from treatments.models import Customer, User, Vehicle, Zone
from treatments.models.people import Role
from treatments.queries import find_owner_on
from treatments.reference.cache import keep_reading
from treatments.reference.queries import list_areas, map_sites, map_zones
from treatments.shared.standing_query import Given, StandingQuery, list_columns, put_related


def list_claims_for(user: User) -> QuerySet[Claim]:
    """Return the claims that a person may see: those on covers that the person may see."""
    claims = Claim.objects.all()
    if user.role == Role.DEALERSHIP:
        claims = claims.filter(cover__in=list_covers_for(user))
    return claims.select_related("cover__vehicle", "cover__site").prefetch_related("zones")


OF_CLAIM, OF_COVER, OF_VEHICLE = list_columns(Claim), list_columns(Cover), list_columns(Vehicle)


def _list_what_there_is() -> "QuerySet[Claim]":
    """Return claims with each claimed zone and whether there are requests, photos, and decisions of the cover.

    Most claims have nothing but zones when they are looked at, so the rest is only read where there is some.
    """
    return Claim.objects.annotate(
        has_requests=Exists(ClaimRequest.objects.filter(claim=OuterRef("pk"))),
        has_photos=Exists(ClaimPhoto.objects.filter(claim=OuterRef("pk"))),
        has_decisions=Exists(ClaimDecision.objects.filter(claim__cover=OuterRef("cover"))),
    ).order_by("claimed_zones__zone_id")


OF_WHAT_THERE_IS = (
    "has_requests", "has_photos", "has_decisions", "claimed_zones__zone_id", "claimed_zones__estimate_amount",
)  # fmt: skip
CLAIM_OF_NUMBER = StandingQuery(
    lambda: (
        _list_what_there_is()
        .filter(number=Given(0, CharField()))
        .values_list(
            *OF_WHAT_THERE_IS,
            *OF_CLAIM,
            *(f"cover__{column}" for column in OF_COVER),
            *(f"cover__vehicle__{column}" for column in OF_VEHICLE),
        )
    )
)
WHAT_THERE_IS = StandingQuery(lambda: _list_what_there_is().filter(pk=Given(0)).values_list(*OF_WHAT_THERE_IS))


def find_claim(number: str) -> Claim | None:
    """Return the claim of this number with its cover, vehicle and site and what there is, None where there is none."""
    rows = CLAIM_OF_NUMBER.ask(number)
    if not rows:
        return None
    row = rows[0][len(OF_WHAT_THERE_IS) :]
    until = len(OF_CLAIM) + len(OF_COVER)
    claim = Claim.from_db(DEFAULT_DB_ALIAS, OF_CLAIM, row[: len(OF_CLAIM)])
    cover = Cover.from_db(DEFAULT_DB_ALIAS, OF_COVER, row[len(OF_CLAIM) : until])
    put_related(cover, "vehicle", Vehicle.from_db(DEFAULT_DB_ALIAS, OF_VEHICLE, row[until:]))
    put_related(cover, "site", map_sites()[cover.site_id])
    put_related(claim, "cover", cover)
    claim.there_is = _describe_what_there_is(rows)
    return claim


def find_claimant(claim: Claim) -> Customer | None:
    """Return who claims, and so gets the letter: who owned the vehicle on the day of the report.

    None where it had been sold to somebody who is not on record. Where nobody is on record as an owner by that day, it
    is who holds the cover.
    """
    vehicle = claim.cover.vehicle
    if owned := find_owner_on(vehicle, claim.reported_on):
        return owned.customer
    return None if vehicle.ownerships.filter(from_day__lte=claim.reported_on).exists() else claim.cover.holder


def find_what_there_is(claim: Claim) -> WhatThereIs:
    """Return what was written about a claim besides the claim itself, as it is now."""
    return _describe_what_there_is(WHAT_THERE_IS.ask(claim.pk))


def _describe_what_there_is(rows: Sequence[Sequence[Any]]) -> WhatThereIs:
    requests, photos, decisions = rows[0][:3]  # a claim without zones has a row too
    return WhatThereIs({row[3]: row[4] for row in rows if row[3] is not None}, requests, photos, decisions)


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


@keep_reading
def read_zones_by_style() -> Mapping[str, frozenset[str]]:
    """Return the zones that a vehicle has, by body style; to be read once for a batch of claims."""
    zones, codes = map_zones(), defaultdict(set)
    for area in list_areas():
        codes[area.body_style].add(zones[area.zone_id].code)
    return {style: frozenset(found) for style, found in codes.items()}
