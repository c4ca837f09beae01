"""Knows which part of a split visit an appointment is, for what its customer is told: washing first, the work later."""

from collections.abc import Collection
from dataclasses import dataclass

from scheduling.booking.vehicle_reading import OPEN
from scheduling.models import Appointment


@dataclass(frozen=True, slots=True)
class VisitPart:
    """One part of a visit that was split.

    Attributes:
        is_washing: for washing and drying; else for the work.
        other: the other part where it still stands; None where it is over or was given up too.
    """

    is_washing: bool
    other: Appointment | None


def read_visit_parts(keys: Collection[int]) -> dict[int, VisitPart]:
    """Return which parts some appointments are, by primary key, in one query; those that were not split are left out.

    Args:
        keys: primary keys of appointments.
    """
    parts: dict[int, VisitPart] = {}
    later = (
        Appointment.objects.filter(splits__isnull=False)
        .select_related("splits")
        .prefetch_related("items", "splits__items")
        .order_by("pk")
    )
    found = list(later.filter(splits__in=keys) | later.filter(pk__in=keys))
    for second in found:
        first = second.splits
        assert first is not None
        parts.setdefault(second.pk, VisitPart(is_washing=False, other=_stands(first)))
    for second in found:
        if second.splits_id is not None:
            # A part from which another goes on was for washing, also where it went on from one itself.
            before = parts.get(second.splits_id)
            other = _stands(second) or (before.other if before is not None and before.is_washing else None)
            parts[second.splits_id] = VisitPart(is_washing=True, other=other)
    return {key: parts[key] for key in keys if key in parts}


def _stands(appointment: Appointment) -> Appointment | None:
    return appointment if appointment.status in OPEN else None
