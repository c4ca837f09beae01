"""Reads the standing facts of vehicles as the rules see them, and which of their zones may be coated."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date

from treatments.enums import BodyStyle, FactKind, FactSource, Propulsion, Training
from treatments.models import PersonTraining, User, Vehicle, VehicleFact, Zone
from treatments.reference.queries import map_zones
from treatments.vehicles.rules.coatable import StandingFact, VehicleBody

Facts = Mapping[int, tuple[StandingFact, ...]]


def read_facts(vehicles: Iterable[int], zones: Mapping[int, Zone] | None = None) -> Facts:
    """Return the facts of each vehicle that has any, by its primary key.

    Args:
        zones: as ``map_zones`` gives them, where they were read already.
    """
    keys = list(vehicles)
    found: dict[int, list[StandingFact]] = defaultdict(list)
    if not keys:
        return {}
    rows = list(VehicleFact.objects.filter(vehicle__in=keys).order_by("day", "pk"))
    if not rows:
        return {}
    zones = map_zones() if zones is None else zones
    withheld = map_withheld(zones.values())
    for row in rows:
        found[row.vehicle_id].append(describe_fact(row, zones, withheld))
    return {vehicle: tuple(facts) for vehicle, facts in found.items()}


def map_withheld(zones: Iterable[Zone]) -> dict[str, tuple[str, ...]]:
    """Return the codes of the zones that each propulsion takes out of the work, as the catalogue has them."""
    found: dict[str, list[str]] = defaultdict(list)
    for zone in zones:
        for propulsion in zone.withheld_on or ():
            found[propulsion].append(zone.code)
    return {propulsion: tuple(sorted(codes)) for propulsion, codes in found.items()}


# Where a part that is never coated is fitted, nothing is sprayed either.
TAKES_ITS_ZONE_OUT = (FactKind.ZONE_ABSENT, FactKind.ZONE_FORBIDDEN, FactKind.FITTED_PART)


def describe_fact(row: VehicleFact, zones: Mapping[int, Zone], withheld: Mapping[str, tuple[str, ...]]) -> StandingFact:
    """Return one fact as the rules read it."""
    kind = FactKind(row.kind)
    out: tuple[str, ...] = ()
    if kind is FactKind.PROPULSION:
        out = withheld.get(row.propulsion, ())
    elif kind in TAKES_ITS_ZONE_OUT and row.zone_id is not None:
        out = (zones[row.zone_id].code,)
    return StandingFact(
        record=f"fact {row.pk}",
        kind=kind,
        day=row.day,
        order=row.pk,
        zones=out,
        propulsion=Propulsion(row.propulsion) if row.propulsion else None,
        source=FactSource(row.source),
        words=row.words,
        withdraws=f"fact {row.withdraws_id}" if row.withdraws_id else None,
        recorded_at=row.recorded_at,
    )


def read_body(vehicle: Vehicle, day: date) -> VehicleBody:
    """Return what decides on a day which zones of a vehicle may be coated."""
    return make_body(vehicle, read_facts([vehicle.pk]).get(vehicle.pk, ()), day)


def make_body(vehicle: Vehicle, facts: tuple[StandingFact, ...], day: date) -> VehicleBody:
    """Return the same from facts that were read already."""
    return VehicleBody(BodyStyle(vehicle.body_style) if vehicle.body_style else None, facts, day)


def map_trainings() -> dict[int, list[PersonTraining]]:
    """Return what each person has a certificate for, by the person's primary key."""
    found: dict[int, list[PersonTraining]] = defaultdict(list)
    for row in PersonTraining.objects.order_by("person_id", "training"):
        found[row.person_id].append(row)
    return found


def list_missing_trainings(person: User, body: VehicleBody) -> list[Training]:
    """Return what a person must be trained for to coat a vehicle and is not, or not any more on that day."""
    if not body.trainings:
        return []
    good = PersonTraining.objects.filter(person=person, expires_on__gte=body.day).values_list("training", flat=True)
    return [training for training in body.trainings if training not in set(good)]
