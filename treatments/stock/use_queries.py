"""Reads where material went: every visit on which a lot or a product was used, with its zones and the vehicle's owner.

Newest first, by page or in batches, whatever the length of the list; the queries are standing ones, one for each shape
of a search.
"""

import functools
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

from django.db.models import DateField, Q, QuerySet, TextField

from treatments.models import Lot, MaterialUse, Ownership, Treatment, TreatmentLine
from treatments.reference.queries import map_products, map_sites, map_zones
from treatments.shared.among import Among
from treatments.shared.standing_query import Given, GivenKeys, StandingQuery
from treatments.stock.queries import PER_PAGE

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


LOTS_NAMED = StandingQuery(
    lambda: Lot.objects.filter(number__icontains=Given(0, TextField())).order_by().values_list("pk")
)


def _find_lots(search: UseSearch) -> list[int]:
    """Return the lots of which a part of the number is given.

    They are few beside their uses: found first, so that the uses are read by their index.
    """
    return [key for (key,) in LOTS_NAMED.ask(search.text)] if search.text and search.lot is None else []


class _Shape(NamedTuple):
    """What a search narrows, whatever by."""

    lot: bool
    text: bool
    product: bool
    without_lot: bool

    @classmethod
    def of(cls, search: UseSearch) -> "_Shape":
        return cls(search.lot is not None, bool(search.text), search.product is not None, search.without_lot)


def _narrow(shape: _Shape) -> Q:
    """Return what a line or a use must be, told the lot, the product and the lots found, in this order.

    Both name product and lot alike.
    """
    if shape.lot:
        return Q(lot=Given(0))
    wanted = Q(product=Given(1)) if shape.product else Q()
    if shape.text:
        named = Q(Among("lot_id", GivenKeys(2)))
        if shape.without_lot and shape.product:
            named |= Q(lot__isnull=True)
        return wanted & named
    return wanted if shape.without_lot else wanted & Q(lot__isnull=False)


def _list_places(search: UseSearch, lots: list[int], after: Place | None, size: int) -> list[Place]:
    query = _write_places(
        _Shape.of(search), search.used_from is not None, search.used_until is not None, after is not None, size
    )
    rows = query.ask(search.lot, search.product, lots, search.used_from, search.used_until, *(after or (None, None)))
    return [(day, key) for day, key in rows]


@functools.lru_cache(maxsize=256)
def _write_places(shape: _Shape, has_first: bool, has_last: bool, goes_on: bool, size: int) -> StandingQuery:
    def build() -> "QuerySet[Any, Any]":
        found = MaterialUse.objects.filter(_narrow(shape))
        if has_first:
            found = found.filter(done_on__gte=Given(3, DateField()))
        if has_last:
            found = found.filter(done_on__lte=Given(4, DateField()))
        if goes_on:
            day = Given(5, DateField())
            # The day apart, so that the index is entered there.
            found = found.filter(done_on__lte=day).exclude(done_on=day, treatment__gte=Given(6))
        found = found.order_by("-done_on", "-treatment_id")
        return found.values_list("done_on", "treatment_id").distinct()[:size]

    # The plan rests on how much a lot or a product was used.
    return StandingQuery(build, plans_anew=True)


TREATMENTS = StandingQuery(
    lambda: (
        Treatment.objects.filter(Among("pk", GivenKeys(0)))
        .order_by()
        .values_list("pk", "done_on", "site_id", "vehicle_id", "vehicle__vin", "vehicle__plate", "vehicle__description")
    )
)
OWNERS = StandingQuery(
    lambda: (
        Ownership.objects.filter(Among("vehicle_id", GivenKeys(0)), until_day__isnull=True)
        .order_by()
        .values_list(
            "vehicle_id", "customer__name", "customer__email", "customer__phone", "customer__contact", "from_day"
        )
    )
)


@functools.lru_cache(maxsize=32)
def _write_lines(shape: _Shape) -> StandingQuery:
    def build() -> "QuerySet[Any, Any]":
        of_visits = Among("treatment_id", GivenKeys(3))
        lines = TreatmentLine.objects.filter(of_visits, _narrow(shape), product__isnull=False).order_by("pk")
        return lines.values_list("treatment_id", "zone_id", "product_id", "lot__number")

    return StandingQuery(build)


def _fill(places: list[Place], search: UseSearch, lots: list[int]) -> list[Use]:
    if not places:
        return []
    keys = [key for _day, key in places]
    rows = {row[0]: row for row in TREATMENTS.ask(keys)}
    lines: dict[int, list[Sequence[Any]]] = defaultdict(list)
    for treatment, *line in _write_lines(_Shape.of(search)).ask(search.lot, search.product, lots, keys):
        lines[treatment].append(line)
    owners = {key: OwnerNow(*told) for key, *told in OWNERS.ask(list({row[3] for row in rows.values()}))}
    sites, zones, products = map_sites(), map_zones(), map_products()
    found = []
    for key in keys:
        _key, done_on, site, vehicle, vin, plate, description = rows[key]
        materials = dict.fromkeys(_name_material(products[of].name, number) for _zone, of, number in lines[key])
        names = tuple(zones[zone].name for zone, _product, _number in lines[key])
        found.append(
            Use(
                key,
                done_on,
                sites[site].name,
                vin,
                plate,
                description,
                tuple(materials),
                names,
                owners.get(vehicle),
            )
        )
    return found


def _name_material(product: str, lot: str | None) -> str:
    return f"{product} lot {lot}" if lot is not None else f"{product}, lot not recorded"
