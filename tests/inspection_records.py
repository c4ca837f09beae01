"""What an inspector answers of a vehicle on which nothing is wrong, so that a reinspection of it counts."""

from decimal import Decimal

from treatments.enums import FilmState
from treatments.models import Vehicle, Zone
from treatments.records.inspections import InspectionEntry


def see_every_coated_zone(vehicle: Vehicle) -> list[InspectionEntry]:
    """Return an entry without rust and with an intact film for each zone that was ever coated."""
    zones = Zone.objects.filter(
        pk__in=vehicle.treatments.filter(lines__product__isnull=False).values("lines__zone")
    ).order_by("pk")
    return [InspectionEntry(zone, Decimal(0), film_state=FilmState.INTACT) for zone in zones]
