"""Keeps why a cover could not be computed beside the index, and goes on with the others.

What is wrong with one cover stays with it: it has a line of its own for people, and is tried again each day and
whenever something is written down about it.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

from django.db.models import QuerySet
from django.utils import timezone

from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import Cover, CoverFault, CoverState, DueItem
from scheduling.visibility import limit_to_own
from treatments.models import User
from treatments.rules.explanation import Explanation, to_json
from treatments.shared.rendering import render_all


def write_faults(faults: Mapping[int, tuple[Explanation, ...]], fine: Iterable[int], as_of: date) -> None:
    """Note which covers could not be computed and why, in the caller's transaction, and forget it of those that could.

    Nothing that was computed for such a cover before is left as if it still held: its due items go, and its state says
    why there is none.
    """
    known = set(CoverFault.objects.values_list("pk", flat=True))
    if known:
        CoverFault.objects.filter(pk__in=known & set(fine)).delete()
    if not faults:
        return
    found_at, again_on = timezone.now(), as_of + timedelta(days=1)
    sites = Cover.objects.filter(pk__in=faults).values_list("pk", "site_id", "dealership_id")
    states = []
    for cover, site, dealership in sites:
        # Pending for one that never had a state; of another the state stays, with why it may not hold.
        status, told = CoverStatus.PENDING, list(map(to_json, faults[cover]))
        state = CoverState(cover_id=cover, status=status, explanations=told, site_id=site, dealership_id=dealership)
        state.recheck_on = again_on
        states.append(state)
    CoverFault.objects.bulk_create(
        [CoverFault(cover_id=state.cover_id, explanations=state.explanations, found_at=found_at) for state in states],
        update_conflicts=True,
        unique_fields=["cover"],
        update_fields=["explanations"],
    )
    CoverState.objects.bulk_create(
        states, update_conflicts=True, unique_fields=["cover"], update_fields=["explanations", "recheck_on", *NOT_TOLD]
    )
    DueItem.objects.filter(cover__in=faults).delete()


# Empty in the state of a cover that can't be computed.
NOT_TOLD = [
    "due_opens_on", "due_last_on", "due_grace_until", "reinspection_opens_on", "touch_up_opens_on", "risk_on",
    "booked_on",
]  # fmt: skip


def list_faults_for(user: User) -> QuerySet[CoverFault]:
    """Return the covers that can't be computed and that a person may see, with their vehicles and sites."""
    faults = CoverFault.objects.select_related("cover__vehicle", "cover__site")
    return limit_to_own(user, faults, "cover__dealership")


def describe_faults(keys: Sequence[int] | None = None) -> list[str]:
    """Return a line for each cover that can't be computed, of all or of some."""
    faults = CoverFault.objects.select_related("cover__vehicle")
    if keys is not None:
        faults = faults.filter(pk__in=keys)
    return [
        f"cover {fault.cover.number}, {fault.cover.vehicle.vin}: {render_all(fault.explanations)}" for fault in faults
    ]
