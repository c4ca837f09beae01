"""Reads of the stock: the lots, how each stands, what is left of them, and how far one went.

Only signed-off work that no amendment replaced counts: call ``note_material_uses`` first, so that MaterialUse knows
all of it. Where material went is read in ``use_queries``.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Case, Count, F, Q, QuerySet, Sum, When

from treatments.models import Lot, MaterialUse
from treatments.rules.stock import EXPIRES_SOON_DAYS, LotQuantities, LotStanding, judge_lot

PER_PAGE = 25


@dataclass(frozen=True, slots=True)
class LotSearch:
    """What a person looks for in the stock; empty fields ask for nothing."""

    text: str = ""
    product: int | None = None
    standing: LotStanding | None = None


@dataclass(frozen=True, slots=True)
class LotRow:
    """One lot as the stock list shows it."""

    lot: Lot
    standing: LotStanding
    quantities: LotQuantities


def list_lots(search: LotSearch, today: date) -> QuerySet[Lot]:
    """Return the lots that a search finds, by product, usable ones before others, what expires first at the head."""
    found = Lot.objects.select_related("product")
    if search.text:
        found = found.filter(Q(number__icontains=search.text) | Q(product__name__icontains=search.text))
    if search.product is not None:
        found = found.filter(product=search.product)
    if search.standing is not None:
        soon = today + timedelta(days=EXPIRES_SOON_DAYS)
        conditions = {
            LotStanding.RECALLED: Q(recalled_on__isnull=False),
            LotStanding.EXPIRED: Q(recalled_on__isnull=True, expires_on__lt=today),
            LotStanding.EXPIRES_SOON: Q(recalled_on__isnull=True, expires_on__gte=today, expires_on__lte=soon),
            LotStanding.USABLE: Q(recalled_on__isnull=True) & (Q(expires_on__isnull=True) | Q(expires_on__gt=soon)),
        }
        found = found.filter(conditions[search.standing])
    is_done_with = Case(When(Q(recalled_on__isnull=False) | Q(expires_on__lt=today), then=1), default=0)
    return found.order_by("product__name", is_done_with, F("expires_on").asc(nulls_last=True), "number", "pk")


def describe_lots(lots: list[Lot], today: date) -> list[LotRow]:
    """Return the lots with their quantities, in one query."""
    used = _count_used([lot.pk for lot in lots])
    return [
        LotRow(
            lot,
            judge_lot(lot.expires_on, lot.recalled_on, today),
            LotQuantities(lot.quantity_received_ml, used.get(lot.pk) or Decimal(0)),
        )
        for lot in lots
    ]


def _count_used(lots: list[int]) -> dict[int | None, Decimal | None]:
    used = MaterialUse.objects.filter(lot__in=lots).order_by().values("lot").annotate(used_ml=Sum("quantity_ml"))
    return dict(used.values_list("lot", "used_ml"))


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a lot went: vehicles and coats of zones."""

    vehicles: int
    zones: int


def count_reach(lot: Lot) -> Reach:
    """Return on how many vehicles and zones a lot is."""
    told = MaterialUse.objects.filter(lot=lot).aggregate(
        vehicles=Count("vehicle", distinct=True), all_zones=Sum("zones", default=0)
    )
    return Reach(told["vehicles"], told["all_zones"])
