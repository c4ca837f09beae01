"""Taking in a rust claim; one service for the desk and for every later door."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from claims.models import Claim
from scheduling.models import Cover
from treatments.event_log import Happening, record_events
from treatments.models import User, Zone
from treatments.rules.units import Distance
from treatments.rules.words import DamageKind


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
) -> Claim:
    """Record a claim as it was reported; what it comes to is computed from the records.

    Raises:
        ValidationError: without a zone, or with a day of discovery after the report.
    """
    if not zones:
        raise ValidationError({"zones": "Name at least one zone on which rust is claimed."})
    if discovered_on and discovered_on > reported_on:
        raise ValidationError(
            {"discovered_on": f"{discovered_on} is after the report on {reported_on}; ask which day is right."}
        )
    Cover.objects.select_for_update().get(pk=cover.pk)
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
    claim.zones.set(zones)
    after = {
        "number": claim.number,
        "cover": cover.number,
        "zones": [zone.code for zone in zones],
        "reported_on": reported_on,
    }
    record_events([Happening("claim.filed", "claim", str(claim.pk), after=after)], actor=actor, now=now)
    return claim
