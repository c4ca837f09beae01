"""Reads of the treatments app: what a record says against itself, the zones as the rules see them, and look-ups."""

import zoneinfo
from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime

from django.db.models import Count, Q, QuerySet

from treatments.enums import (
    BodyStyle,
    DoorApproach,
    MeasuredBy,
    ProductFamily,
    Propulsion,
    SprayTool,
    WorkHeight,
    WorkStage,
    ZoneKind,
)
from treatments.models import (
    Customer,
    Inspection,
    Lot,
    MaterialTotal,
    OdometerReading,
    Ownership,
    Site,
    Treatment,
    TreatmentLine,
    Vehicle,
    Zone,
    ZoneArea,
)
from treatments.records.histories import describe_conditions, describe_line, read_history
from treatments.records.rules.material import VehicleTotal
from treatments.records.rules.odometer import Reading, find_doubts
from treatments.records.rules.visit_findings import VisitFinding, list_findings
from treatments.reference.cache import cached_reference
from treatments.reference.queries import list_areas, list_sites, list_zones, map_areas
from treatments.rules.explanation import Explanation
from treatments.rules.site_days import find_day, find_end_of_day
from treatments.rules.site_settings import find_zone
from treatments.rules.zone_catalogue import AccessPoint, ZoneDescription


def find_today(now: datetime, site: Site | None) -> date:
    """Return the date at a site, or at the shop's first one; dates of duty are dates where the work is done."""
    return find_day(now, find_clock(site))


def find_shop_day(now: datetime) -> date:
    """Return the day of the shop as a whole, for what is done once for all of its sites: the date at its first one."""
    return find_today(now, None)


def map_todays(now: datetime) -> dict[int, date]:
    """Return the date at each site, by its primary key."""
    return {site.pk: find_today(now, site) for site in list_sites()}


def find_end_of_day_at(day: date, site: Site | None) -> datetime:
    """Return the last moment of a day at a site, or at the shop's first one; what was known on the day was so then."""
    return find_end_of_day(day, find_clock(site))


def find_clock(site: Site | None = None) -> zoneinfo.ZoneInfo:
    """Return the time zone of a site, or of the shop's first one; moments are shown on its clock."""
    site = site or next(iter(list_sites()), None)
    return find_zone(site.time_zone if site else "UTC")


def find_visit_findings(
    treatment: Treatment, lines: Iterable[TreatmentLine], totals: Iterable[MaterialTotal] = ()
) -> tuple[VisitFinding, ...]:
    """Return what the record of one treatment, signed off or not, says against itself, by its lines and totals."""
    areas, style = map_areas(), treatment.vehicle.body_style
    described = [describe_line(line, areas.get((line.zone_id, style))) for line in lines]
    measured = [
        VehicleTotal(
            total.product.name,
            total.lot.number if total.lot else None,
            total.quantity_ml,
            MeasuredBy(total.measured_by),
        )
        for total in totals
    ]
    return list_findings(described, describe_conditions(treatment), treatment.done_on, measured)


def list_readings(vehicle: Vehicle, *, besides: int | None = None) -> list[Reading]:
    """Return the odometer readings of a vehicle that stand, but for the one with the key ``besides``."""
    standing = OdometerReading.objects.filter(vehicle=vehicle, withdrawn_at__isnull=True)
    if besides is not None:
        standing = standing.exclude(pk=besides)
    return [Reading(one.day, one.kilometres, f"reading {one.pk}") for one in standing.order_by("day", "pk")]


def list_reading_doubts(work: Treatment | Inspection) -> list[Explanation]:
    """Return what speaks against the odometer of signed-off work, or of a draft: the vehicle's other readings."""
    readings = [recorded.reading for recorded in read_history(work.vehicle).readings]
    if work.odometer_amount is not None and work.odometer is not None:
        readings.append(Reading(work.done_on, work.odometer.kilometres, "draft"))
    own = f"reading {work.reading_id}" if work.reading_id else "draft"
    return find_doubts(readings).get(own, [])


@cached_reference
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
        tools=tuple(SprayTool(tool) for tool in zone.tools or ()),
        door_approaches=tuple(DoorApproach(way) for way in zone.door_approaches or ()),
        to_guard=tuple(zone.to_guard or ()),
        propulsions=tuple(Propulsion(word) for word in zone.propulsions or ()),
        withheld_on=tuple(Propulsion(word) for word in zone.withheld_on or ()),
        has_own_source=bool(zone.has_own_source),
    )


def find_vehicles_with_lot(lot: Lot) -> QuerySet[Vehicle]:
    """Return every vehicle on which the lot stands in a signed-off treatment that no amendment replaced."""
    return (
        Vehicle.objects.filter(
            treatments__lines__lot=lot,
            treatments__signed_off_at__isnull=False,
            treatments__amended_by__isnull=True,
        )
        .annotate(zones_with_lot=Count("treatments__lines"))
        .order_by("vin")
    )


def find_owner(vehicle: Vehicle) -> Customer | None:
    """Return who owns the vehicle now, or None where that is not on record."""
    return Customer.objects.filter(ownerships__vehicle=vehicle, ownerships__until_day__isnull=True).first()


def find_owner_on(vehicle: Vehicle, day: date) -> Ownership | None:
    """Return who owned the vehicle on a day, with the customer, or None where that is not recorded."""
    return (
        Ownership.objects.filter(vehicle=vehicle, from_day__lte=day)
        .filter(Q(until_day__isnull=True) | Q(until_day__gt=day))
        .select_related("customer")
        .first()
    )
