"""Keeps MaterialUse in step with the records: reads the event log from where it left off, or rebuilds the whole.

Entries of the log stand in the order of their commits, so nothing that was signed off can be passed over.
"""

from collections.abc import Iterable
from typing import Any

from django.db import connection, transaction
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from treatments.event_log import mark_read, read_events
from treatments.models import Event, EventLogHead, EventReader, MaterialTotal, MaterialUse, TreatmentLine

READER = "treatments.stock.material_uses"
KINDS = ["treatment.signed_off", "treatment.amended"]
EVENTS_AT_ONCE = 2_000
BEHIND_BY = 10_000
"""After so many entries of other kinds the reader's place is moved on, so that they are not looked through again."""


def _find_standing() -> QuerySet[Any, Any]:
    """Return where the log ends, up to where it is read, and whether something is to be noted between the two."""
    read = EventReader.objects.filter(name=READER).values("position")
    coming = Event.objects.filter(position__gt=OuterRef("place"), position__lte=OuterRef("position"), kind__in=KINDS)
    standing = EventLogHead.objects.filter(pk=1).annotate(place=Coalesce(Subquery(read), 0), is_coming=Exists(coming))
    return standing.values_list("position", "place", "is_coming")


def note_material_uses(*, most: int = EVENTS_AT_ONCE) -> bool:
    """Note the uses of work that was signed off or amended since the last call; True where nothing is left to note.

    Args:
        most: how many events are worked on at most; a page asks for few, a task calls again.
    """
    head, place, is_coming = _find_standing().first() or (0, 0, False)
    if not is_coming:
        if head - place > BEHIND_BY:
            # All up to the head is committed, since the head is moved in the same transaction.
            EventReader.objects.filter(name=READER, position__lt=head).update(position=head)
        return True
    with transaction.atomic():
        events = read_events(READER, KINDS, limit=most)
        if not events:
            return True
        told = {int(event.subject_id) for event in events}
        told |= {event.before["treatment"] for event in events if event.before}
        MaterialUse.objects.filter(treatment__in=told).delete()
        _write(Q(treatment__in=told))
        mark_read(READER, events[-1])
    return len(events) < most


def note_all_material_uses() -> None:
    """Note all uses that are not noted yet."""
    while not note_material_uses():
        pass


def _write(which: Q) -> None:
    MaterialUse.objects.bulk_create(_gather(which), batch_size=500)


def _gather(which: Q) -> Iterable[MaterialUse]:
    totals = {
        (total.treatment_id, total.product_id, total.lot_id): total.quantity_ml
        for total in MaterialTotal.objects.filter(which)
    }
    rows = (
        TreatmentLine.objects.filter(
            which, product__isnull=False, treatment__signed_off_at__isnull=False, treatment__amended_by__isnull=True
        )
        .order_by()
        .values("treatment", "product", "lot", vehicle=F("treatment__vehicle"), done_on=F("treatment__done_on"))
        .annotate(quantity_ml=Sum("quantity_ml"), zones=Count("pk"))
    )
    for row in rows:
        yield MaterialUse(
            treatment_id=row["treatment"],
            product_id=row["product"],
            lot_id=row["lot"],
            vehicle_id=row["vehicle"],
            done_on=row["done_on"],
            # The total for the vehicle says what left the stock, also where zones have quantities of their own.
            quantity_ml=totals.get((row["treatment"], row["product"], row["lot"]), row["quantity_ml"]),
            zones=row["zones"],
        )


@transaction.atomic
def rebuild_material_uses() -> int:
    """Rebuild every use from the records, set by set in the database; return how many there are."""
    EventLogHead.objects.get_or_create(pk=1)
    # The log's lock keeps out whatever is signed off meanwhile; it is noted after this.
    head = EventLogHead.objects.select_for_update().get(pk=1)
    MaterialUse.objects.all().delete()
    with connection.cursor() as cursor:
        cursor.execute(_REBUILD)
    EventReader.objects.update_or_create(name=READER, defaults={"position": head.position})
    return MaterialUse.objects.count()


_REBUILD = """
    INSERT INTO treatments_materialuse (treatment_id, vehicle_id, product_id, lot_id, done_on, quantity_ml, zones)
    SELECT work.id, work.vehicle_id, line.product_id, line.lot_id, work.done_on,
    coalesce(max(total.quantity_ml), sum(line.quantity_ml)), count(*)
    FROM treatments_treatmentline line JOIN treatments_treatment work ON work.id = line.treatment_id
    LEFT JOIN treatments_materialtotal total ON total.treatment_id = work.id AND total.product_id = line.product_id
    AND (total.lot_id = line.lot_id OR (total.lot_id IS NULL AND line.lot_id IS NULL))
    WHERE line.product_id IS NOT NULL AND work.signed_off_at IS NOT NULL
    AND NOT EXISTS (SELECT 1 FROM treatments_treatment newer WHERE newer.amends_id = work.id)
    GROUP BY work.id, work.vehicle_id, line.product_id, line.lot_id, work.done_on
"""
