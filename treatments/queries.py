"""Reads of the treatments room: what a record says against itself, the zones as the rules see them, and look-ups."""

import functools
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery, TextField

from treatments.among import Among
from treatments.history_reading import describe_conditions, describe_line, read_history
from treatments.models import (
    Customer,
    Lot,
    Ownership,
    Site,
    Treatment,
    TreatmentLine,
    Vehicle,
    Zone,
    ZoneArea,
)
from treatments.reference import keep_reading
from treatments.rules.odometer import flag_backwards
from treatments.rules.visit_findings import VisitFinding, list_findings
from treatments.rules.words import (
    BodyStyle,
    ProductFamily,
    WorkHeight,
    WorkStage,
    ZoneKind,
)
from treatments.rules.zone_catalogue import AccessPoint, ZoneDescription
from treatments.shop_reference import list_areas, list_sites, list_zones, map_areas
from treatments.standing_query import Given, GivenKeys, StandingQuery, StandingRows


def find_today(now: datetime, site: Site | None = None) -> date:
    """Return the date at a site, or at the shop's first one; dates of duty are dates where the work is done."""
    site = site or next(iter(list_sites()), None)
    zone = zoneinfo.ZoneInfo(site.time_zone) if site else zoneinfo.ZoneInfo("UTC")
    return now.astimezone(zone).date()


def find_visit_findings(treatment: Treatment, lines: Iterable[TreatmentLine]) -> tuple[VisitFinding, ...]:
    """Return what the record of one treatment, signed off or not, says against itself, by its lines."""
    areas, style = map_areas(), treatment.vehicle.body_style
    described = [describe_line(line, areas.get((line.zone_id, style))) for line in lines]
    return list_findings(described, describe_conditions(treatment), treatment.done_on)


def list_backwards_readings(treatment: Treatment) -> list[str]:
    """Return what the odometer of a treatment says against the vehicle's other readings; those are kept and flagged."""
    own = treatment.reading_id
    if own is None:
        return []
    readings = [recorded.reading for recorded in read_history(treatment.vehicle).readings]
    records = {reading.record: reading for reading in readings}
    mine = records[f"reading {own}"]
    return [found.sentence for found in flag_backwards(readings) if mine in (found.reading, found.earlier)]


@keep_reading
def read_zone_catalogue() -> tuple[ZoneDescription, ...]:
    """Return the zones as the shop has them now, with its own areas."""
    areas: dict[int, list[ZoneArea]] = defaultdict(list)
    for area in list_areas():
        areas[area.zone_id].append(area)
    return tuple(describe_zone(zone, areas[zone.pk]) for zone in list_zones())


def describe_zone(zone: Zone, areas: Iterable[ZoneArea] | None = None) -> ZoneDescription:
    """Return one zone as the rules see it; its areas are read where they are not given."""
    areas = zone.areas.all() if areas is None else areas
    return ZoneDescription(
        code=zone.code,
        name=zone.name,
        aliases=tuple(zone.aliases),
        kind=ZoneKind(zone.kind),
        stage=WorkStage(zone.stage) if zone.stage else None,
        height=WorkHeight(zone.height) if zone.height else None,
        sequence=zone.sequence,
        areas_m2=tuple((BodyStyle(area.body_style), area.area_m2) for area in areas),
        suited_families=tuple(ProductFamily(family) for family in zone.suited_families),
        access_points=tuple(AccessPoint(point["name"], point.get("count")) for point in zone.access_points),
        cautions=tuple(zone.cautions),
        plastic=zone.plastic,
    )


# An index of any part of a word, as the database keeps it, can't help with fewer letters.
LEAST_LETTERS = 3


def search_vehicles(text: str, among: QuerySet[Vehicle] | None = None) -> QuerySet[Vehicle]:
    """Return vehicles whose VIN (any part), plate, or an owner's name, telephone or e-mail contains every word.

    Of words of one or two letters, which any vehicle holds somewhere, only the beginning of plate or name counts, as in
    the due list. Vehicles and owners are looked up apart, each by their own indexes; of a word that very many have, the
    vehicles are compared one by one as they are read, which soon fills a page.

    Args:
        text: the words.
        among: vehicles to which the search is narrowed.
    """
    found = Vehicle.objects.all() if among is None else among
    for word in text.split():
        keys = _look_word_up(word)
        if keys is None:
            by_vehicle, by_owner = _match(word, is_long=_is_long(word))
            theirs = Customer.objects.filter(by_owner, pk=OuterRef("customer_id"))
            owned = Ownership.objects.filter(Exists(theirs), vehicle=OuterRef("pk"))
            found = found.filter(by_vehicle | Exists(owned))
        else:
            found = found.filter(Among("pk", keys))
    return found


def _match(word: str | Given, *, is_long: bool) -> tuple[Q, Q]:
    """Return the conditions under which a vehicle, or a customer, has a word of a search."""
    if is_long:
        by_vehicle = Q(vin__icontains=word) | Q(plate__icontains=word) | Q(description__icontains=word)
        return by_vehicle, Q(name__icontains=word) | Q(contact__icontains=word)
    return Q(plate__istartswith=word), Q(name__istartswith=word)


def _is_long(word: str) -> bool:
    return len(word) >= LEAST_LETTERS


OWNED_BY = StandingQuery(
    lambda: Ownership.objects.filter(Among("customer_id", GivenKeys(0))).order_by().values_list("vehicle_id")
)


@functools.lru_cache(maxsize=8)
def _find_keys_of(*, is_long: bool, most: int) -> tuple[StandingQuery, StandingQuery]:
    """Return the queries for the vehicles and the customers that have a word, some more than are of use."""
    by_vehicle, by_owner = _match(Given(0, TextField()), is_long=is_long)
    return (
        StandingQuery(lambda: Vehicle.objects.filter(by_vehicle).order_by().values_list("pk")[: most + 1]),
        StandingQuery(lambda: Customer.objects.filter(by_owner).order_by().values_list("pk")[: most + 1]),
    )


def _look_word_up(word: str) -> set[int] | None:
    """Return the keys of the vehicles that have a word or whose owner has it, or None where that is too many."""
    most = max(MOST_LOOKED_UP, 0)
    of_vehicles, of_owners = _find_keys_of(is_long=_is_long(word), most=most)
    vehicles = of_vehicles.ask(word)
    if len(vehicles) > MOST_LOOKED_UP:
        return None
    owners = of_owners.ask(word)
    if len(owners) > MOST_LOOKED_UP:
        return None
    had = OWNED_BY.ask([key for (key,) in owners]) if owners else []
    return {key for (key,) in (*vehicles, *had)}


# So many vehicles are read through first for words that very many have; they nearly always fill a page.
READ_THROUGH_FIRST = 500


def list_found_vehicles(
    text: str, *, among: QuerySet[Vehicle] | None = None, after: str = "", size: int
) -> list[Vehicle]:
    """Return the first vehicles that ``search_vehicles`` finds, by VIN.

    Args:
        text: the words.
        among: vehicles to which the search is narrowed; all where left out.
        after: the VIN after which the list goes on.
        size: how many are wanted at most.
    """
    # The longest word is the likeliest to be rare; once one has narrowed the list, the others are only compared.
    words = sorted(dict.fromkeys(text.split()), key=len, reverse=True)
    for word in words:
        # Of one letter there are always too many.
        keys = _look_word_up(word) if len(word) > 1 else None
        if keys is not None:
            others = [other for other in words if other != word]
            return _read_on(among, after, others, size, keys=keys) if keys else []
    if not words:
        return _read_on(among, after, words, size)
    # The whole query gathers everybody who has the word before it reads the first vehicle.
    shown = _read_on(among, after, words, size, first=READ_THROUGH_FIRST)
    if len(shown) == size:
        return shown
    return list(search_vehicles(text, among).filter(vin__gt=after).order_by("vin")[:size])


def _read_on(
    among: QuerySet[Vehicle] | None,
    after: str,
    words: list[str],
    size: int,
    *,
    keys: set[int] | None = None,
    first: int | None = None,
) -> list[Vehicle]:
    """Return vehicles after a VIN that have every word, each compared by itself, of some keys or of the first."""
    if among is None:
        lengths = tuple(_is_long(word) for word in words)
        return _compare_all(lengths, size, has_keys=keys is not None, first=first).ask(after, list(keys or ()), *words)
    found = among if keys is None else among.filter(Among("pk", keys))
    return list(_compare(found, after, [(word, _is_long(word)) for word in words], first)[:size])


@functools.lru_cache(maxsize=64)
def _compare_all(lengths: tuple[bool, ...], size: int, *, has_keys: bool, first: int | None) -> StandingRows[Vehicle]:
    """Return the query of ``_read_on`` among all vehicles for as many words, each long or not."""
    words = [(Given(place, TextField()), is_long) for place, is_long in enumerate(lengths, 2)]

    def build() -> QuerySet[Vehicle]:
        found = Vehicle.objects.filter(Among("pk", GivenKeys(1))) if has_keys else Vehicle.objects.all()
        return _compare(found, Given(0, TextField()), words, first)[:size]

    return StandingRows(build)


def _compare(
    found: QuerySet[Vehicle], after: str | Given, words: Sequence[tuple[str | Given, bool]], first: int | None
) -> QuerySet[Vehicle]:
    """Return those of a few vehicles, or of the first after a VIN, that have every word or whose owner has it."""
    found = found.filter(vin__gt=after).order_by("vin")
    if first is not None:
        following = Vehicle.objects.filter(vin__gt=after).order_by("vin").values("vin")
        found = found.filter(vin__lt=Subquery(following[first : first + 1]))
    for word, is_long in words:
        by_vehicle, by_owner = _match(word, is_long=is_long)
        theirs = Customer.objects.filter(by_owner, ownerships__vehicle=OuterRef("pk")).order_by().values("pk")
        # A value, not Exists, of which the database would make a list of all vehicles whose owners have the word.
        found = found.alias(owner_found=Subquery(theirs[:1]))
        found = found.filter(by_vehicle | Q(owner_found__isnull=False))
    return found


# Beyond that many matches a word says too little to be looked up first.
MOST_LOOKED_UP = 2_000


def find_vehicles_with_lot(lot: Lot) -> QuerySet[Vehicle]:
    """Return every vehicle on which the lot stands in a treatment that no amendment replaced."""
    return (
        Vehicle.objects.filter(
            treatments__lines__lot=lot,
            treatments__amended_by__isnull=True,
        )
        .annotate(zones_with_lot=Count("treatments__lines"))
        .order_by("vin")
    )


OWNER_NOW = StandingRows(
    lambda: Customer.objects.filter(ownerships__vehicle=Given(0), ownerships__until_day__isnull=True)
)


def find_owner(vehicle: Vehicle) -> Customer | None:
    """Return who owns the vehicle now, or None where that is not on record."""
    return next(iter(OWNER_NOW.ask(vehicle.pk)), None)


def find_owner_on(vehicle: Vehicle, day: date) -> Ownership | None:
    """Return who owned the vehicle on a day, with the customer, or None where that is not recorded."""
    return (
        Ownership.objects.filter(vehicle=vehicle, from_day__lte=day)
        .filter(Q(until_day__isnull=True) | Q(until_day__gt=day))
        .select_related("customer")
        .first()
    )
