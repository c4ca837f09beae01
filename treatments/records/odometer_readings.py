"""Odometer readings: written down by themselves or with signed-off work, withdrawn with the work that gave them."""

from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from treatments.event_log import Happening, record_events
from treatments.models import OdometerReading, User, Vehicle
from treatments.rules.units import Distance


@transaction.atomic
def record_reading(
    *, vehicle: Vehicle, day: date, distance: Distance, now: datetime, actor: User | None, source: str = ""
) -> OdometerReading:
    """Keep an odometer reading as entered, with its value in km; the same reading on a day is kept once."""
    reading = add_reading(vehicle=vehicle, day=day, distance=distance, now=now, source=source)
    if not reading.by_itself:
        reading.by_itself = True
        reading.save(update_fields=["by_itself"])
    after = {"reading": reading.pk, "day": day, "kilometres": reading.kilometres}
    happening = Happening("vehicle.reading_recorded", "vehicle", str(vehicle.pk), after=after)
    record_events([happening], actor=actor, now=now)
    return reading


def add_reading(*, vehicle: Vehicle, day: date, distance: Distance, now: datetime, source: str = "") -> OdometerReading:
    """Return the reading of this figure on this day, added where there is none; call it in a transaction."""
    # Locked, so that an amendment that withdraws the same reading waits for this one or is seen.
    standing = OdometerReading.objects.select_for_update().filter(withdrawn_at__isnull=True)
    reading, _ = standing.get_or_create(
        vehicle=vehicle,
        day=day,
        kilometres=distance.kilometres.quantize(Decimal("0.000001")),
        defaults={
            "amount": distance.amount,
            "unit": distance.unit,
            "source": source,
            "recorded_at": now,
        },
    )
    return reading


def withdraw_reading(reading: OdometerReading, *, now: datetime) -> list[Happening]:
    """Let a reading count no longer, unless it was written down by itself or other signed-off work gives it too.

    Call it in the transaction of the amendment, once the newer version is written, and record what it returns.
    """
    locked = OdometerReading.objects.select_for_update().get(pk=reading.pk)
    stands = {"signed_off_at__isnull": False, "amended_by__isnull": True}
    if (
        locked.by_itself
        or locked.treatment_set.filter(**stands).exists()
        or locked.inspection_set.filter(**stands).exists()
    ):
        return []
    locked.withdrawn_at = now
    locked.save(update_fields=["withdrawn_at"])
    after = {"reading": locked.pk, "day": locked.day, "kilometres": locked.kilometres}
    return [Happening("vehicle.reading_withdrawn", "vehicle", str(locked.vehicle_id), after=after)]
