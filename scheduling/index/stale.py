"""Which covers must be computed again: those about which something was written down, and those whose day has come.

Read from the event log from where it was left off, so that a nightly run costs what changed and not what there is.
"""

from collections import defaultdict
from datetime import date

from django.db import transaction

from scheduling.models import Cover, CoverChangeKind, CoverState
from scheduling.rules.ends import CoverStatus
from treatments.event_log import mark_read, read_events
from treatments.models import Event, Ownership

READER = "scheduling.recompute"
EVENTS_AT_ONCE = 5_000
LONG_AGO = date(1900, 1, 1)

COVER_KINDS = ["cover.registered", *(f"cover.{kind}" for kind in CoverChangeKind)]
VEHICLE_KINDS = [
    "treatment.signed_off",
    "treatment.amended",
    "inspection.recorded",
    "inspection.photo_added",
    "vehicle.owner_changed",
    "vehicle.reading_recorded",
]
VISIT_KINDS = [f"appointment.{verb}" for verb in ("booked", "moved", "cancelled", "no_show", "begun", "done", "split")]
OWNER_KINDS = ["customer.changed"]
SITE_KINDS = ["site.changed", "site_calendar.changed", "closed_day.changed"]
KINDS = [*COVER_KINDS, *VEHICLE_KINDS, *VISIT_KINDS, *OWNER_KINDS, *SITE_KINDS]


def mark_stale() -> int:
    """Mark the covers about which something was written down since the last call; return how many events told so."""
    total = 0
    while True:
        with transaction.atomic():
            events = read_events(READER, KINDS, limit=EVENTS_AT_ONCE)
            if not events:
                return total
            _mark_events(events)
            mark_read(READER, events[-1])
            total += len(events)


def _mark_events(events: list[Event]) -> None:
    told: dict[str, set[int]] = defaultdict(set)
    for event in events:
        after = event.after or event.before or {}  # a closed day may have been taken away
        if event.kind in COVER_KINDS:
            told["cover"].add(int(event.subject_id))
        elif event.kind in VEHICLE_KINDS:
            told["vehicle"].add(int(event.subject_id if event.subject == "vehicle" else after["vehicle"]))
        elif event.kind in VISIT_KINDS:
            if after["cover"] is not None:
                told["cover"].add(after["cover"])
        elif event.kind in OWNER_KINDS:
            told["owner"].add(int(event.subject_id))
        else:
            told["site"].add(int(event.subject_id if event.subject == "site" else after["site"]))
    vehicles = told["vehicle"]
    if told["owner"]:
        vehicles |= set(Ownership.objects.filter(customer__in=told["owner"]).values_list("vehicle_id", flat=True))
    covers = told["cover"]
    if vehicles:
        covers |= set(Cover.objects.filter(vehicle__in=vehicles).values_list("pk", flat=True))
    if told["site"]:
        CoverState.objects.filter(site__in=told["site"]).update(recheck_on=LONG_AGO)
    if not covers:
        return
    CoverState.objects.filter(cover__in=covers).update(recheck_on=LONG_AGO)
    known = set(CoverState.objects.filter(cover__in=covers).values_list("cover_id", flat=True))
    CoverState.objects.bulk_create(
        (
            CoverState(
                cover_id=key,
                status=CoverStatus.PENDING,
                sentence="Not computed yet.",
                recheck_on=LONG_AGO,
                site_id=site,
                dealership_id=dealership,
            )
            for key, site, dealership in Cover.objects.filter(pk__in=covers - known).values_list(
                "pk", "site_id", "dealership_id"
            )
        ),
        batch_size=1_000,
    )
