"""What a person does to the stock: a lot is received, and a recall of a lot that was marked by mistake is taken back.

Marking a lot as recalled is ``services.recall_lot``. Each service is one transaction with its event.
"""

from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from treatments.event_log import Happening, record_events
from treatments.models import Lot, Product, User
from treatments.rules.units import Volume

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
        raise ValidationError({"number": "A lot needs its number; copy it from the label."})
    if quantity is not None and not 0 < quantity.millilitres <= MOST_ML:
        raise ValidationError({"quantity": f"A quantity of {quantity.amount} can't be right: give more than 0."})
    if expires_on is not None and expires_on < received_on:
        raise ValidationError(
            {
                "expires_on": f"{expires_on} is before {received_on}, on which the lot was received: correct the year, "
                "or send a lot back that came expired."
            }
        )
    # The product's row is the turn: two people who receive the same lot at once are one after the other.
    Product.objects.select_for_update().get(pk=product.pk)
    lot = Lot.objects.filter(product=product, number__iexact=number).first()
    if lot is not None and lot.received_on is not None:
        raise ValidationError(
            {"number": f"Lot {lot.number} of {product.name} was received on {lot.received_on} already: open that one."}
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
        raise ValidationError({"reason": "Say why the recall is taken back."})
    locked = Lot.objects.select_for_update().get(pk=lot.pk)
    if locked.recalled_on is None:
        raise ValidationError(f"{locked} is not marked as recalled.")
    before = {"recalled_on": locked.recalled_on, "reason": locked.recall_reason}
    locked.recalled_on = None
    locked.recall_reason = ""
    locked.recall_recorded_at = None
    locked.full_clean()
    locked.save()
    happening = Happening("lot.recall_taken_back", "lot", str(lot.pk), before=before, after={"reason": reason.strip()})
    record_events([happening], actor=actor, now=now)
    return locked
