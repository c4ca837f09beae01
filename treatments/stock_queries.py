"""Reads of the stock: lots with what is left of them, and every vehicle and zone that a lot or product went on.

Only signed-off work that no amendment replaced counts: call ``note_material_uses`` first, so that MaterialUse knows
all of it. Lists are read by page or in batches, whatever their length.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Case, Count, F, Q, QuerySet, Sum, TextField, When

from treatments.among import Among
from treatments.models import Lot, MaterialUse, Ownership, Treatment, TreatmentLine
from treatments.rules.stock import EXPIRES_SOON_DAYS, LotQuantities, LotStanding, judge_lot
from treatments.standing_query import Given, GivenKeys, StandingQuery

PER_PAGE = 25
BATCH = 500


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
            LotQuantities(lot.quantity_received_ml, used.get(lot.pk, Decimal(0))),
        )
        for lot in lots
    ]


USED_OF_LOTS = StandingQuery(
    lambda: (
        MaterialUse.objects.filter(Among("lot_id", GivenKeys(0)))
        .order_by()
        .values("lot")
        .annotate(used_ml=Sum("quantity_ml"))
        .values_list("lot", "used_ml")
    )
)


def _count_used(lots: list[int]) -> dict[int, Decimal]:
    if not lots:
        return {}
    return {row[0]: row[1] for row in USED_OF_LOTS.ask(lots)}


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a lot went: vehicles and coats of zones."""

    vehicles: int
    zones: int


def count_reach(lot: Lot) -> Reach:
    """Return on how many vehicles and zones a lot is."""
    counted = MaterialUse.objects.filter(lot=lot).aggregate(
        vehicles=Count("vehicle", distinct=True), zones=Sum("zones", default=0)
    )
    return Reach(counted["vehicles"], counted["zones"])


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
class Use:
    """One visit on which the material was used, and who owns the vehicle now."""

    treatment: Treatment
    lines: list[TreatmentLine] = field(default_factory=list)
    owned: Ownership | None = None

    @property
    def zone_names(self) -> list[str]:
        return [line.zone.name for line in self.lines]

    @property
    def materials(self) -> list[str]:
        """The lots with their products, each once."""
        return list(dict.fromkeys(_name_material(line) for line in self.lines))


def _name_material(line: TreatmentLine) -> str:
    return str(line.lot) if line.lot else f"{line.product}, lot not recorded"


@dataclass(frozen=True, slots=True)
class UsesPage:
    """A page of uses, newest first; ``after`` asks for the next one, '' where there is none."""

    uses: list[Use]
    after: str = ""


LOTS_NAMED = StandingQuery(
    lambda: Lot.objects.filter(number__icontains=Given(0, TextField())).order_by().values_list("pk")
)


def _find_conditions(search: UseSearch) -> Q:
    """Return what a line or a use must be; both name product and lot alike."""
    if search.lot is not None:
        return Q(lot=search.lot)
    wanted = Q(product=search.product) if search.product is not None else Q()
    if search.text:
        # The lots are few beside their uses: found first, so that the uses are read by their index.
        named = Q(lot__in=[key for (key,) in LOTS_NAMED.ask(search.text)])
        if search.without_lot and search.product is not None:
            named |= Q(lot__isnull=True)
        return wanted & named
    return wanted if search.without_lot else wanted & Q(lot__isnull=False)


Place = tuple[date, int]
"""Where a list goes on: after the visit of this day and key."""


def _list_places(search: UseSearch, conditions: Q, after: Place | None, size: int) -> list[Place]:
    found = MaterialUse.objects.filter(conditions)
    if search.used_from:
        found = found.filter(done_on__gte=search.used_from)
    if search.used_until:
        found = found.filter(done_on__lte=search.used_until)
    if after:
        # The day apart, so that the index is entered there.
        found = found.filter(done_on__lte=after[0]).exclude(done_on=after[0], treatment__gte=after[1])
    places = found.order_by("-done_on", "-treatment_id").values_list("done_on", "treatment_id").distinct()
    return list(places[:size])


# What a use tells; the other fields of a treatment and its lines are many, and a recall list has thousands of them.
TREATMENT_FIELDS = ("done_on", "vehicle__vin", "vehicle__plate", "vehicle__description", "site__name")
LINE_FIELDS = ("treatment_id", "zone__name", "product__name", "lot__number", "lot__product__name")
OWNER_FIELDS = (
    "vehicle_id", "from_day", "customer__name", "customer__email", "customer__phone", "customer__contact",
)  # fmt: skip


def _fill(places: list[Place], conditions: Q) -> list[Use]:
    if not places:
        return []
    keys = [key for _day, key in places]
    treatments = Treatment.objects.select_related("vehicle", "site").only(*TREATMENT_FIELDS).in_bulk(keys)
    by_treatment: dict[int, list[TreatmentLine]] = defaultdict(list)
    lines = TreatmentLine.objects.filter(conditions, treatment__in=keys, product__isnull=False)
    for line in lines.select_related("zone", "product", "lot__product").only(*LINE_FIELDS).order_by("pk"):
        by_treatment[line.treatment_id].append(line)
    owners = {
        owned.vehicle_id: owned
        for owned in Ownership.objects.filter(
            vehicle__in={treatment.vehicle_id for treatment in treatments.values()}, until_day__isnull=True
        )
        .select_related("customer")
        .only(*OWNER_FIELDS)
    }
    return [Use(treatments[key], by_treatment[key], owners.get(treatments[key].vehicle_id)) for key in keys]


def read_uses(search: UseSearch, *, after: str = "", size: int = PER_PAGE) -> UsesPage:
    """Return a page of the visits on which the material was used, newest first.

    Args:
        after: what the page before gave; a text that is none asks for the first page.
    """
    conditions = _find_conditions(search)
    places = _list_places(search, conditions, _read_place(after), size + 1)
    shown = places[:size]
    following = f"{shown[-1][0]}_{shown[-1][1]}" if len(places) > size else ""
    return UsesPage(_fill(shown, conditions), following)


def _read_place(text: str) -> Place | None:
    day, _, key = text.partition("_")
    try:
        return date.fromisoformat(day), int(key[:18])
    except ValueError:
        return None


def walk_uses(search: UseSearch) -> Iterator[Use]:
    """Yield every visit on which the material was used, newest first, read in batches."""
    conditions = _find_conditions(search)
    after: Place | None = None
    while places := _list_places(search, conditions, after, BATCH):
        yield from _fill(places, conditions)
        after = places[-1]
