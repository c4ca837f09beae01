"""Taking in a rust claim; one service for the desk and for every later door."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import IO

from dateutil.relativedelta import relativedelta
from django.core.files.base import ContentFile
from django.db import transaction

from claims.decisions.dossier import check_day
from claims.decisions.services import lock_claim
from claims.models import Claim, ClaimPhoto, ClaimZone
from claims.refusals import refuse
from scheduling.models import Cover
from treatments.enums import DamageKind
from treatments.event_log import Happening, record_events
from treatments.models import User, Vehicle, Zone
from treatments.records.photos import clean_photo
from treatments.rules.explanation import ZoneCode
from treatments.rules.units import Distance

# A vehicle may stand at its dealer before it is in service, hardly longer than this. Our own choice.
MOST_YEARS_UNSOLD = 2


@transaction.atomic
def file_claim(
    *,
    cover: Cover,
    zones: Sequence[Zone],
    damage: DamageKind,
    reported_on: date,
    now: datetime,
    actor: User | None,
    discovered_on: date | None = None,
    odometer: Distance | None = None,
    description: str = "",
    estimate_amount: Decimal | None = None,
    estimate_currency: str = "",
    zone_estimates: Mapping[str, Decimal] | None = None,
    same_damage_reason: str = "",
) -> Claim:
    """Record a claim as it was reported; what it comes to is computed from the records.

    Args:
        estimate_amount: for all zones together; with one zone it is that zone's.
        zone_estimates: by zone code, where the estimate is told zone by zone; their sum is then the whole.
        same_damage_reason: why it is filed although an open claim names the same damage on the same zone.

    Raises:
        ClaimError: without a zone, with a day of discovery after the report or before the vehicle can have been
            there, with estimates for other zones, or where it is the damage of a claim that is already on file.
    """
    if not zones:
        raise refuse("refused.no_zone", "zones")
    estimates = dict(zone_estimates or {})
    stray = sorted(set(estimates) - {zone.code for zone in zones})
    if stray:
        raise refuse("refused.estimates_not_claimed", "zone_estimates", zones=tuple(map(ZoneCode, stray)))
    if estimates:
        total = sum(estimates.values(), Decimal(0))
        if estimate_amount is not None and len(estimates) == len(zones) and estimate_amount != total:
            raise refuse("refused.not_the_sum", "estimate_amount", amount=estimate_amount, sum=total)
        estimate_amount = estimate_amount if estimate_amount is not None else total
    elif len(zones) == 1 and estimate_amount is not None:
        estimates = {zones[0].code: estimate_amount}
    check_day(reported_on, "reported_on", cover=cover, now=now)
    if discovered_on:
        check_day(discovered_on, "discovered_on", cover=cover, now=now)
    if discovered_on and discovered_on > reported_on:
        raise refuse("refused.after_report", "discovered_on", day=discovered_on, reported_on=reported_on)
    if discovered_on:
        _check_vehicle_was_there(cover.vehicle, discovered_on)
    Cover.objects.select_for_update().get(pk=cover.pk)
    twins = find_same_damage(cover, zones, damage, discovered_on)
    if twins and not same_damage_reason.strip():
        raise refuse("refused.same_damage", "zones", claims=tuple(twin.number for twin in twins))
    claim = Claim(
        number=f"{cover.number}-R{cover.claims.count() + 1}",
        cover=cover,
        discovered_on=discovered_on,
        reported_on=reported_on,
        damage=damage,
        description=description,
        odometer_amount=odometer.amount if odometer else None,
        odometer_unit=odometer.unit if odometer else "",
        kilometres=odometer.kilometres.quantize(Decimal("0.000001")) if odometer else None,
        estimate_amount=estimate_amount,
        estimate_currency=estimate_currency,
        recorded_by=actor,
        recorded_at=now,
    )
    claim.full_clean()
    claim.save()
    ClaimZone.objects.bulk_create(
        ClaimZone(claim=claim, zone=zone, estimate_amount=estimates.get(zone.code)) for zone in zones
    )
    after = {
        "number": claim.number,
        "cover": cover.number,
        "zones": [zone.code for zone in zones],
        "reported_on": reported_on,
        "same_damage_as": [twin.number for twin in twins],
        "same_damage_reason": same_damage_reason,
    }
    record_events([Happening("claim.filed", "claim", str(claim.pk), after=after)], actor=actor, now=now)
    return claim


def _check_vehicle_was_there(vehicle: Vehicle, discovered_on: date) -> None:
    """Refuse a day on which the vehicle can't have been built; a day that is only unlikely is a finding of the claim.

    Raises:
        ClaimError: naming the day and what it is held against.
    """
    in_service_on, model_year = vehicle.in_service_on, vehicle.model_year
    if in_service_on and discovered_on < in_service_on - relativedelta(years=MOST_YEARS_UNSOLD):
        raise refuse(
            "refused.before_service",
            "discovered_on",
            day=discovered_on,
            years=MOST_YEARS_UNSOLD,
            in_service_on=in_service_on,
        )
    if model_year and discovered_on.year < model_year - 1:
        raise refuse("refused.before_model_year", "discovered_on", day=discovered_on, model_year=str(model_year))


def find_same_damage(
    cover: Cover, zones: Sequence[Zone], damage: DamageKind, discovered_on: date | None
) -> list[Claim]:
    """Return the claims on the cover that name the same kind of damage on one of the zones.

    Rust found after an earlier claim was paid is a new damage, since that was to put the zone right.
    """
    found = Claim.objects.filter(cover=cover, damage=damage, claimed_zones__zone__in=list(zones))
    twins = []
    for claim in found.distinct().order_by("pk").prefetch_related("decisions__payments"):
        paid_on = [payment.paid_on for decision in claim.decisions.all() for payment in decision.payments.all()]
        if not paid_on or discovered_on is None or discovered_on <= max(paid_on):
            twins.append(claim)
    return twins


@transaction.atomic
def attach_claim_photo(
    *,
    claim: Claim,
    upload: IO[bytes],
    name: str,
    zone: Zone | None,
    now: datetime,
    actor: User | None,
    shown_at: int | None = None,
) -> ClaimPhoto:
    """Keep a photo sent with a claim; the same file is kept once.

    Raises:
        PhotoError: where the file is no picture or too large.
        ClaimError: where the zone is not claimed.
    """
    if zone is not None and not claim.claimed_zones.filter(zone=zone).exists():
        raise refuse("refused.zone_not_claimed", "zone", zone=ZoneCode(zone.code), claim=claim.number)
    clean = clean_photo(upload, name)
    lock_claim(claim, shown_at)
    known = ClaimPhoto.objects.filter(claim=claim, sha256=clean.sha256).first()
    if known:
        return known
    photo = ClaimPhoto(claim=claim, zone=zone, sha256=clean.sha256, recorded_at=now)
    photo.image.save(f"{clean.sha256[:16]}.jpg", ContentFile(clean.content), save=False)
    photo.save()
    after = {"photo": photo.pk, "claim": claim.number, "sha256": clean.sha256, "zone": zone.code if zone else None}
    record_events([Happening("claim.photo_added", "claim", str(claim.pk), after=after)], actor=actor, now=now)
    return photo
