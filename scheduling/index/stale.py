"""Which covers must be computed again: those about which something was written down, and those whose day has come.

Read from the event log from where it was left off, so that a nightly run costs what changed and not what there is.
"""

from datetime import date

from django.db import transaction
from django.db.models import Subquery

from scheduling.covers.rules.ends import CoverStatus
from scheduling.enums import CoverChangeKind
from scheduling.models import Cover, CoverState
from treatments.event_log import mark_read, read_events
from treatments.models import Event, EventReader, Ownership
from treatments.rules.explanation import explain, to_json

READER = "scheduling.recompute"
EVENTS_AT_ONCE = 5_000
LONG_AGO = date(1900, 1, 1)

COVER_KINDS = ["cover.registered", *(f"cover.{kind}" for kind in CoverChangeKind)]
VEHICLE_KINDS = [
    "treatment.signed_off",
    "treatment.amended",
    "inspection.signed_off",
    "inspection.amended",
    "vehicle.owner_changed",
    "vehicle.place_of_use_recorded",
    "vehicle.reading_recorded",
    "vehicle.reading_withdrawn",
    "vehicle.fact_recorded",
    "vehicle.fact_withdrawn",
]
VISIT_KINDS = [f"appointment.{verb}" for verb in ("booked", "moved", "cancelled", "no_show", "begun", "done", "split")]
OWNER_KINDS = ["customer.changed"]
SITE_KINDS = ["site.changed", "site_calendar.changed", "closed_day.changed"]
# What a product is of, and what a zone is, decide what is due where it was used: on every cover.
MATERIAL_KINDS = ["product.changed", "zone.changed"]
KINDS = [*COVER_KINDS, *VEHICLE_KINDS, *VISIT_KINDS, *OWNER_KINDS, *SITE_KINDS, *MATERIAL_KINDS]


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


def mark_stale_since(position: int) -> None:
    """Mark once more what others have marked while rows were computed; the rows just written took the mark away.

    Call it after writing, in the same transaction.

    Args:
        position: that of the event log from which the rows were computed.
    """
    read = EventReader.objects.filter(name=READER).values("position")
    events = list(Event.objects.filter(kind__in=KINDS, position__gt=position, position__lte=Subquery(read)))
    if events:
        _mark_events(events)


def _mark_events(events: list[Event]) -> None:
    covers, vehicles, owners, sites = set[int](), set[int](), set[int](), set[int]()
    is_of_all = False
    for event in events:
        after = event.after or event.before or {}  # a closed day may have been taken away
        if event.kind in COVER_KINDS:
            covers.add(int(event.subject_id))
        elif event.kind in VEHICLE_KINDS:
            vehicles.add(int(event.subject_id if event.subject == "vehicle" else after["vehicle"]))
        elif event.kind in VISIT_KINDS:
            if after["cover"] is not None:
                covers.add(after["cover"])
        elif event.kind in OWNER_KINDS:
            owners.add(int(event.subject_id))
        elif event.kind in MATERIAL_KINDS:
            is_of_all = True
        else:
            sites.add(int(event.subject_id if event.subject == "site" else after["site"]))
    if owners:
        vehicles |= set(Ownership.objects.filter(customer__in=owners).values_list("vehicle_id", flat=True))
    if vehicles:
        covers |= set(Cover.objects.filter(vehicle__in=vehicles).values_list("pk", flat=True))
    if is_of_all:
        CoverState.objects.update(recheck_on=LONG_AGO)
    if sites:
        CoverState.objects.filter(site__in=sites).update(recheck_on=LONG_AGO)
    if not covers:
        return
    CoverState.objects.filter(cover__in=covers).update(recheck_on=LONG_AGO)
    known = set(CoverState.objects.filter(cover__in=covers).values_list("cover_id", flat=True))
    CoverState.objects.bulk_create(
        (
            CoverState(
                cover_id=key,
                status=CoverStatus.PENDING,
                explanations=[to_json(explain("cover.not_computed"))],
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
