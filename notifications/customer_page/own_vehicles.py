"""Reads the list of a customer's vehicles: what is due for each, what is booked, and the link to its own page."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from notifications.customer_page.links import make_own_page_token
from notifications.customer_page.queries import SHOWN_OF_VIN, describe_thing
from notifications.documents.queries import choose_open_cover
from notifications.reminders.wording import render_thing
from scheduling.booking.reading import LOOKED_AHEAD_DAYS, OPEN
from scheduling.covers.queries import CoverCase, read_cases_apart
from scheduling.covers.rules.cover import NO_MORE_COVER
from scheduling.models import Appointment, Cover
from treatments.models import Customer, Vehicle
from treatments.queries import find_clock, find_today
from treatments.reference.queries import map_zone_names

# Nobody reads a longer list on a telephone; whoever has more vehicles calls.
MOST_LISTED = 100


@dataclass(frozen=True, slots=True)
class ListedVehicle:
    """One vehicle of the list.

    Attributes:
        token: opens the own page of the vehicle.
        due: what is due now or soon, each with its dates, the most pressing first.
        next_due: what comes next where nothing is due soon, with its dates.
        booked_at: the next visit, on the clock of its site.
        last_on: the last day of the most pressing, for the order of the list; None: nothing is due.
        is_known: whether what is due can be told.
    """

    vehicle: Vehicle
    token: str
    due: tuple[tuple[str, str], ...]
    next_due: tuple[str, str] | None
    booked_at: datetime | None
    last_on: date | None
    is_known: bool

    @property
    def vin_end(self) -> str:
        return self.vehicle.vin[-SHOWN_OF_VIN:]


def has_several_vehicles(customer: Customer) -> bool:
    """Say whether a customer owns more than one vehicle."""
    return customer.ownerships.filter(until_day__isnull=True).count() > 1


def list_own_vehicles(customer: Customer, *, now: datetime) -> list[ListedVehicle]:
    """Return the vehicles that a customer owns, those with the nearest last day first, at most MOST_LISTED."""
    owned = Vehicle.objects.filter(ownerships__customer=customer, ownerships__until_day__isnull=True)
    vehicles = list(owned.order_by("description", "pk")[:MOST_LISTED])
    covers: dict[int, list[Cover]] = {vehicle.pk: [] for vehicle in vehicles}
    for cover in Cover.objects.filter(vehicle__in=vehicles).select_related("site", "vehicle").order_by("-pk"):
        covers[cover.vehicle_id].append(cover)
    chosen = [open_cover for found in covers.values() if (open_cover := choose_open_cover(found))]
    cases, faults = read_cases_apart(chosen)
    case_of = {case.cover.vehicle_id: case for case in cases}
    faulty = {cover.vehicle_id for cover in chosen if cover.pk in faults}
    booked: dict[int, Appointment] = {}
    visits = Appointment.objects.filter(vehicle__in=vehicles, customer=customer, status__in=OPEN, ready_at__gt=now)
    for visit in visits.select_related("site").order_by("-starts_at"):
        booked[visit.vehicle_id] = visit
    listed = [
        _describe(customer, vehicle, case_of.get(vehicle.pk), booked.get(vehicle.pk), vehicle.pk not in faulty, now)
        for vehicle in vehicles
    ]
    return sorted(listed, key=lambda one: (one.last_on is None, one.last_on or date.max))


def _describe(
    customer: Customer,
    vehicle: Vehicle,
    case: CoverCase | None,
    visit: Appointment | None,
    is_known: bool,
    now: datetime,
) -> ListedVehicle:
    booked_at = visit.starts_at.astimezone(find_clock(visit.site)) if visit else None
    token = make_own_page_token(customer, vehicle)
    if case is None:
        return ListedVehicle(vehicle, token, (), None, booked_at, None, is_known)
    today = find_today(now, case.cover.site)
    assessed = case.assess(today)
    over = assessed.state.status in NO_MORE_COVER
    items = [] if over else sorted(assessed.list_what_needs_doing(), key=lambda item: (item.dates.last_on, item.key))
    names = map_zone_names()
    soon = today + timedelta(days=LOOKED_AHEAD_DAYS)
    due = tuple(render_thing(describe_thing(item), names, today) for item in items if item.dates.opens_on <= soon)
    next_due = render_thing(describe_thing(items[0]), names, today) if items and not due else None
    return ListedVehicle(vehicle, token, due, next_due, booked_at, items[0].dates.last_on if items else None, is_known)
