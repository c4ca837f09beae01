"""What a person does to the stock: a lot is received, recalled, and a recall made by mistake is taken back. Keeps
MaterialUse in step with the records: reads the event log from where it left off, or rebuilds the whole.
"""

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from treatments.event_log import Happening, mark_read, read_events, record_events
from treatments.models import (
    Event,
    EventLogHead,
    EventReader,
    Lot,
    MaterialTotal,
    MaterialUse,
    Product,
    TreatmentLine,
    User,
)
from treatments.queries import find_today
from treatments.rules.units import Volume
from treatments.shared.rendering import render_day

MOST_ML = Decimal("9999999999")


@transaction.atomic
def receive_lot(
    *,
    product: Product,
    number: str,
    received_on: date,
    quantity: Volume | None,
    expires_on: date | None,
    now: datetime,
    actor: User | None,
) -> Lot:
    """Write down that a lot came. A lot known only from work that it was used on gets its missing facts.

    Args:
        quantity: what came; None where nobody measured it, so that what is left cannot be told.
        expires_on: the last day on which the label allows its use, None where the label names none.

    Raises:
        ValidationError: without a number, for a quantity of nothing, or where the lot was received already.
    """
    number = " ".join(number.split())
    if not number:
        raise ValidationError({"number": _("A lot needs its number; copy it from the label.")})
    if quantity is not None and not 0 < quantity.millilitres <= MOST_ML:
        raise ValidationError(
            {"quantity": _("A quantity of %(amount)s can't be right: give more than 0.") % {"amount": quantity.amount}}
        )
    if expires_on is not None and expires_on < received_on:
        raise ValidationError(
            {
                "expires_on": _(
                    "%(expires_on)s is before %(received_on)s, on which the lot was received: correct the year, or "
                    "send a lot back that came expired."
                )
                % {"expires_on": render_day(expires_on), "received_on": render_day(received_on)}
            }
        )
    # The product's row is the turn: two people who receive the same lot at once are one after the other.
    Product.objects.select_for_update().get(pk=product.pk)
    lot = Lot.objects.filter(product=product, number__iexact=number).first()
    if lot is not None and lot.received_on is not None:
        raise ValidationError(
            {
                "number": _("Lot %(lot)s of %(product)s was received on %(day)s already: open that one.")
                % {"lot": lot.number, "product": product.name, "day": render_day(lot.received_on)}
            }
        )
    lot = lot or Lot(product=product, number=number)
    lot.received_on = received_on
    lot.expires_on = expires_on or lot.expires_on
    lot.quantity_received_ml = quantity.millilitres.quantize(Decimal("0.0001")) if quantity else None
    lot.full_clean()
    lot.save()
    after = {
        "product": product.pk,
        "number": lot.number,
        "received_on": received_on,
        "expires_on": lot.expires_on,
        "quantity_ml": lot.quantity_received_ml,
    }
    record_events([Happening("lot.received", "lot", str(lot.pk), after=after)], actor=actor, now=now)
    return lot


@transaction.atomic
def take_recall_back(*, lot: Lot, reason: str, now: datetime, actor: User | None) -> Lot:
    """Unmark a lot that was marked as recalled by mistake; that it was marked stays in the event log.

    Raises:
        ValidationError: without a reason, or where the lot is not recalled.
    """
    if not reason.strip():
        raise ValidationError({"reason": _("Say why the recall is taken back.")})
    locked = Lot.objects.select_for_update().get(pk=lot.pk)
    if locked.recalled_on is None:
        raise ValidationError(_("%(lot)s is not marked as recalled.") % {"lot": locked})
    before = {"recalled_on": locked.recalled_on, "reason": locked.recall_reason}
    locked.recalled_on = None
    locked.recall_reason = ""
    locked.recall_recorded_at = None
    locked.full_clean()
    locked.save()
    happening = Happening("lot.recall_taken_back", "lot", str(lot.pk), before=before, after={"reason": reason.strip()})
    record_events([happening], actor=actor, now=now)
    return locked


def check_recall(lot: Lot, reason: str, recalled_on: date, now: datetime, actor: User | None) -> None:
    """Refuse what can be no recall of a lot; nothing is written.

    Raises:
        ValidationError: without a reason, on a day to come, or where it is already recalled.
    """
    if not reason.strip():
        raise ValidationError({"reason": _("A recall needs a reason.")})
    today = find_today(now, actor.site if actor else None)
    if recalled_on > today:
        raise ValidationError(
            {
                "recalled_on": _("%(day)s has not come yet: give the day of the maker's notice, until %(today)s.")
                % {"day": render_day(recalled_on), "today": render_day(today)}
            }
        )
    if lot.recalled_on is not None:
        raise ValidationError(
            _("%(lot)s was already recalled on %(day)s.") % {"lot": lot, "day": render_day(lot.recalled_on)}
        )


@transaction.atomic
def recall_lot(*, lot: Lot, reason: str, recalled_on: date, now: datetime, actor: User | None) -> Lot:
    """Mark a lot as recalled; ``find_vehicles_with_lot`` then finds every vehicle that it went into.

    Raises:
        ValidationError: without a reason, or where it is already recalled.
    """
    check_recall(lot, reason, recalled_on, now, actor)
    changed = Lot.objects.filter(pk=lot.pk, recalled_on__isnull=True).update(
        recalled_on=recalled_on, recall_reason=reason, recall_recorded_at=now
    )
    lot.refresh_from_db()
    if not changed:
        # Somebody else was first; now it says so.
        check_recall(lot, reason, recalled_on, now, actor)
    happening = Happening("lot.recalled", "lot", str(lot.pk), after={"recalled_on": recalled_on, "reason": reason})
    record_events([happening], actor=actor, now=now)
    return lot


READER = "treatments.stock.services"
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
