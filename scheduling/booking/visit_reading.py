"""Finds one visit by its number, with what it names."""

from django.db.models import CharField

from scheduling.models import Appointment, Cover
from scheduling.queries import list_covers_of
from scheduling.site_reference import map_bays
from treatments.models import Customer, Vehicle
from treatments.shop_reference import map_people, map_sites
from treatments.standing_query import Given, StandingRows

VISIT_OF_NUMBER = StandingRows(lambda: Appointment.objects.filter(number=Given(0, CharField())))
VISIT_OF_KEY = StandingRows(lambda: Appointment.objects.filter(pk=Given(0)))
VEHICLE_OF_KEY = StandingRows(lambda: Vehicle.objects.filter(pk=Given(0)))
CUSTOMER_OF_KEY = StandingRows(lambda: Customer.objects.filter(pk=Given(0)))


def find_visit(number: str) -> Appointment | None:
    """Return the visit of this number with site, bay, person, vehicle, customer and the visit that it splits."""
    found = VISIT_OF_NUMBER.ask(number)
    if not found:
        return None
    visit = found[0]
    visit.site, visit.bay = map_sites()[visit.site_id], map_bays()[visit.bay_id]
    visit.person = map_people()[visit.person_id] if visit.person_id else None
    (visit.vehicle,) = VEHICLE_OF_KEY.ask(visit.vehicle_id)
    visit.customer = CUSTOMER_OF_KEY.ask(visit.customer_id)[0] if visit.customer_id else None
    visit.splits = VISIT_OF_KEY.ask(visit.splits_id)[0] if visit.splits_id else None
    return visit


def find_cover_of(visit: Appointment) -> Cover | None:
    """Return the cover that a visit was booked for, with its site and terms."""
    return next((cover for cover in list_covers_of(visit.vehicle) if cover.pk == visit.cover_id), None)
