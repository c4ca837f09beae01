"""Reads of the stock: the lots, how each stands, what is left of them, and how far one went. Reads where material
went: every visit on which a lot or a product was used, with its zones and the vehicle's owner.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Case, Count, F, Q, QuerySet, Sum, When

from treatments.models import Lot, MaterialUse, Ownership, Treatment, TreatmentLine
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


BATCH = 500


@dataclass(frozen=True, slots=True)
class UseSearch:
    """Which uses of material are looked for.

    Attributes:
        text: any part of a lot's number.
        without_lot: also work with the product whose lot nobody wrote down, which may be of the lot.
        used_from, used_until: days of the treatment, both included.
    """

    lot: int | None = None
    text: str = ""
    product: int | None = None
    without_lot: bool = False
    used_from: date | None = None
    used_until: date | None = None

    @property
    def asks_for_something(self) -> bool:
        return self.lot is not None or bool(self.text) or self.product is not None


@dataclass(frozen=True, slots=True)
class OwnerNow:
    """Who owns a vehicle now, since which day, and how to reach them."""

    name: str
    email: str
    phone: str
    contact: str
    since: date


@dataclass(frozen=True, slots=True)
class Use:
    """One visit on which the material was used, and who owns the vehicle now.

    Attributes:
        treatment: the key of the treatment.
        materials: the lots with their products, each once.
        zone_names: a name for each coat.
    """

    treatment: int
    done_on: date
    site_name: str
    vin: str
    plate: str
    description: str
    materials: tuple[str, ...]
    zone_names: tuple[str, ...]
    owner: OwnerNow | None


@dataclass(frozen=True, slots=True)
class UsesPage:
    """A page of uses, newest first; ``after`` asks for the next one, '' where there is none."""

    uses: list[Use]
    after: str = ""


def read_uses(search: UseSearch, *, after: str = "", size: int = PER_PAGE) -> UsesPage:
    """Return a page of the visits on which the material was used, newest first.

    Args:
        after: what the page before gave; a text that is none asks for the first page.
    """
    lots = _find_lots(search)
    places = _list_places(search, lots, _read_place(after), size + 1)
    shown = places[:size]
    following = f"{shown[-1][0]}_{shown[-1][1]}" if len(places) > size else ""
    return UsesPage(_fill(shown, search, lots), following)


def walk_uses(search: UseSearch) -> Iterator[Use]:
    """Yield every visit on which the material was used, newest first, read in batches."""
    lots = _find_lots(search)
    after: Place | None = None
    while places := _list_places(search, lots, after, BATCH):
        yield from _fill(places, search, lots)
        after = places[-1]


Place = tuple[date, int]
"""Where a list goes on: after the visit of this day and key."""


def _read_place(text: str) -> Place | None:
    day, _, key = text.partition("_")
    try:
        return date.fromisoformat(day), int(key[:18])
    except ValueError:
        return None


def _find_lots(search: UseSearch) -> list[int]:
    """Return the lots of which a part of the number is given.

    They are few beside their uses: found first, so that the uses are read by their index.
    """
    if not search.text or search.lot is not None:
        return []
    return list(Lot.objects.filter(number__icontains=search.text).order_by().values_list("pk", flat=True))


def _narrow(search: UseSearch, lots: list[int]) -> Q:
    """Return what a line or a use must be, which name product and lot alike."""
    if search.lot is not None:
        return Q(lot=search.lot)
    wanted = Q() if search.product is None else Q(product=search.product)
    if search.text:
        named = Q(lot__in=lots)
        if search.without_lot and search.product is not None:
            named |= Q(lot__isnull=True)
        return wanted & named
    return wanted if search.without_lot else wanted & Q(lot__isnull=False)


def _list_places(search: UseSearch, lots: list[int], after: Place | None, size: int) -> list[Place]:
    found = MaterialUse.objects.filter(_narrow(search, lots))
    if search.used_from is not None:
        found = found.filter(done_on__gte=search.used_from)
    if search.used_until is not None:
        found = found.filter(done_on__lte=search.used_until)
    if after is not None:
        day, key = after
        # The day apart, so that the index is entered there.
        found = found.filter(done_on__lte=day).exclude(done_on=day, treatment__gte=key)
    found = found.order_by("-done_on", "-treatment_id")
    return list(found.values_list("done_on", "treatment_id").distinct()[:size])


def _fill(places: list[Place], search: UseSearch, lots: list[int]) -> list[Use]:
    if not places:
        return []
    keys = [key for _day, key in places]
    treatments = Treatment.objects.select_related("vehicle", "site").in_bulk(keys)
    lines: dict[int, list[TreatmentLine]] = defaultdict(list)
    coats = TreatmentLine.objects.filter(_narrow(search, lots), treatment__in=keys, product__isnull=False)
    named = ("treatment", "product__name", "lot__number", "zone__name")
    for line in coats.select_related("product", "lot", "zone").only(*named).order_by("pk"):
        lines[line.treatment_id].append(line)
    owners = _read_owners({treatment.vehicle_id for treatment in treatments.values()})
    return [_describe_use(treatments[key], lines[key], owners) for key in keys]


def _read_owners(vehicles: set[int]) -> dict[int, OwnerNow]:
    owned = Ownership.objects.filter(vehicle__in=vehicles, until_day__isnull=True).select_related("customer")
    return {one.vehicle_id: _describe_owner(one) for one in owned.order_by()}


def _describe_owner(owned: Ownership) -> OwnerNow:
    customer = owned.customer
    return OwnerNow(customer.name, customer.email, customer.phone, customer.contact, owned.from_day)


def _describe_use(treatment: Treatment, lines: list[TreatmentLine], owners: dict[int, OwnerNow]) -> Use:
    vehicle = treatment.vehicle
    return Use(
        treatment.pk,
        treatment.done_on,
        treatment.site.name,
        vehicle.vin,
        vehicle.plate,
        vehicle.description,
        tuple(dict.fromkeys(_name_material(line) for line in lines)),
        tuple(line.zone.name for line in lines),
        owners.get(vehicle.pk),
    )


def _name_material(line: TreatmentLine) -> str:
    assert line.product is not None  # the reading asks for lines with a product only
    return f"{line.product.name} lot {line.lot.number}" if line.lot else f"{line.product.name}, lot not recorded"
