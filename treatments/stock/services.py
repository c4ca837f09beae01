"""What a person does to the stock: a lot is received, recalled, and a recall made by mistake is taken back.

Each service is one transaction with its event.
"""

from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from treatments.event_log import Happening, record_events
from treatments.models import Lot, Product, User
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
