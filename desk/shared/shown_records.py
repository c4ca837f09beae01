"""Which records the forms of the desk are about, for ``shown_for``; each finds them as its view does."""

from typing import TYPE_CHECKING, Any

from django.db.models import Q
from django.http import HttpRequest
from django.utils import timezone

from desk.forms.fields import read_whole
from desk.shared.access import (
    access_claim,
    access_cover,
    access_customer,
    access_inspection,
    access_lot,
    access_message,
    access_treatment,
    access_vehicle,
    access_version,
    access_visit,
    get_user,
    list_versions_for,
)
from notifications.models import CalendarFeed, Release, Suppression
from notifications.outbox.letters import MOST_LETTERS, list_letters_to_print
from scheduling.covers.queries import find_covers
from scheduling.models import Absence, Appointment, BayClosure, SeasonPlan, SeasonProposal
from treatments.models import Customer, Inspection, Site, Treatment, Vehicle
from treatments.shared.shown import Records, name_records

if TYPE_CHECKING:
    from desk.customer.visitor import Visitor

# No form names more rows at once.
MOST_NAMED = 200


def of_vehicle_to_book(request: HttpRequest, vin: str = "") -> Records:
    """Return a vehicle with its covers and visits; by its VIN in the address or in the form."""
    return _name_what_is_booked([access_vehicle(get_user(request), vin or request.POST.get("vin", ""))])


def of_vehicle_record(request: HttpRequest, vin: str, **_: Any) -> Records:
    """Return a vehicle with its owner, covers and visits, and the work and inspections that its covers rest on."""
    vehicle = access_vehicle(get_user(request), vin)
    owner = vehicle.ownerships.filter(until_day__isnull=True).values_list("customer", flat=True)
    return {**_name_what_is_booked([vehicle]), **_name_what_covers_rest_on(vehicle), "customer": list(owner)}


def of_chosen_covers(request: HttpRequest) -> Records:
    """Return the chosen covers with their vehicles and visits."""
    numbers = list(dict.fromkeys(request.POST.getlist("cover")))[:MOST_NAMED]
    return _name_what_is_booked([cover.vehicle for cover in find_covers(get_user(request), numbers)])


def _name_what_is_booked(vehicles: list[Vehicle]) -> Records:
    keys = [vehicle.pk for vehicle in vehicles]
    return {
        "vehicle": keys,
        "cover": list(Vehicle.objects.filter(pk__in=keys, covers__isnull=False).values_list("covers", flat=True)),
        "appointment": list(Appointment.objects.filter(vehicle__in=keys).values_list("pk", flat=True)),
    }


def of_visit(request: HttpRequest, number: str = "", **_: Any) -> Records:
    """Return a visit; by its number in the address or in the form."""
    return name_records(access_visit(get_user(request), number or request.POST.get("number", "")))


def of_season_plan(request: HttpRequest) -> Records:
    """Return the newest plan, and the visits of the vehicles of the chosen proposals."""
    keys = [
        key for key in (read_whole(text, digits=17) for text in request.POST.getlist("proposal")) if key is not None
    ]
    vehicles = SeasonProposal.objects.filter(pk__in=keys[:MOST_NAMED]).values("cover__vehicle")
    plan = SeasonPlan.objects.order_by("-pk")[:1]
    return {**name_records(plan), **name_records(Appointment.objects.filter(vehicle__in=vehicles))}


def of_set_up(request: HttpRequest, action: str) -> Records:
    """Return what a form of the set-up changes: the row that it names, else all bays or the hours of the site."""
    key = read_whole(request.POST.get("row", ""), digits=17)
    if action in ("skills", "trainings", "person-hours"):
        return {"user": [key or 0]}
    if action == "duration":
        return {"work_duration": [key or 0]}
    if action == "back":
        return {"user": list(Absence.objects.filter(pk=key or 0).values_list("person", flat=True))}
    if action == "absence":
        return {"user": [read_whole(request.POST.get("absence-person", ""), digits=17) or 0]}
    if action == "bay":
        return {"bay": [key] if key else []}
    if action == "reopen":
        return {"bay": list(BayClosure.objects.filter(pk=key or 0).values_list("bay", flat=True))}
    if action == "close":
        return {"bay": [read_whole(request.POST.get("closure-bay", ""), digits=17) or 0]}
    return name_records(Site.objects.filter(code=request.POST.get("site", "").replace("\x00", "")))


def of_release(request: HttpRequest, action: str) -> Records:
    """Return the owner's last release, or the site whose hours are set."""
    if action == "hours":
        return name_records(Site.objects.filter(code=request.POST.get("site", "").replace("\x00", "")))
    return name_records(Release.objects.order_by("-released_at", "-pk")[:1])


def of_customer(request: HttpRequest, key: int) -> Records:
    """Return a customer."""
    return name_records(access_customer(key))


def of_suppression(request: HttpRequest, key: int) -> Records:
    """Return the customers whose address is not written to; none where the row does not exist."""
    addresses = Suppression.objects.filter(pk=key).values("address")
    owners = Customer.objects.filter(Q(email__in=addresses) | Q(phone__in=addresses))
    return {"customer": list(owners.values_list("pk", flat=True))}


def of_own_account(request: HttpRequest, **_: Any) -> Records:
    """Return the person who is logged in."""
    return name_records(get_user(request))


def of_message(request: HttpRequest, key: int) -> Records:
    """Return a message and its customer."""
    found = access_message(key)
    return name_records(found, found.customer)


def of_letters_to_print(request: HttpRequest) -> Records:
    """Return the letters that wait to be printed."""
    return {"message": list(list_letters_to_print(now=timezone.now()).values_list("pk", flat=True)[:MOST_LETTERS])}


def of_lot(request: HttpRequest, key: int) -> Records:
    """Return a lot."""
    return name_records(access_lot(key))


def of_claim(request: HttpRequest, number: str, **_: Any) -> Records:
    """Return a claim."""
    return name_records(access_claim(get_user(request), number))


def of_cover_to_claim_on(request: HttpRequest, number: str) -> Records:
    """Return a cover, its vehicle and the claims on it."""
    cover = access_cover(get_user(request), number)
    return name_records(cover, cover.vehicle, cover.claims.all())


def of_vehicle(request: HttpRequest, vin: str, **_: Any) -> Records:
    """Return a vehicle; what is on record of it as itself is told of it."""
    return name_records(access_vehicle(get_user(request), vin))


def of_new_treatment(request: HttpRequest, vin: str) -> Records:
    """Return a vehicle and its treatments."""
    vehicle = access_vehicle(get_user(request), vin)
    return name_records(vehicle, vehicle.treatments.all())


def of_new_inspection(request: HttpRequest, vin: str) -> Records:
    """Return a vehicle and its inspections."""
    vehicle = access_vehicle(get_user(request), vin)
    return name_records(vehicle, vehicle.inspections.all())


def of_inspection(request: HttpRequest, key: int) -> Records:
    """Return an inspection, and the one that amends it."""
    found = access_inspection(get_user(request), key)
    return name_records(found, Inspection.objects.filter(amends=found))


def of_treatment(request: HttpRequest, key: int) -> Records:
    """Return a treatment, and the one that amends it."""
    found = access_treatment(get_user(request), key)
    return name_records(found, Treatment.objects.filter(amends=found))


def of_signing_inspection(request: HttpRequest, key: int) -> Records:
    """Return an inspection to be signed off, and all that its summary says what signing does from."""
    return _name_what_covers_rest_on(access_inspection(get_user(request), key).vehicle)


def of_signing_treatment(request: HttpRequest, key: int) -> Records:
    """Return a treatment to be signed off, and all that its summary says what signing does from."""
    return _name_what_covers_rest_on(access_treatment(get_user(request), key).vehicle)


def _name_what_covers_rest_on(vehicle: Vehicle) -> Records:
    return name_records(vehicle, vehicle.covers.all(), vehicle.treatments.all(), vehicle.inspections.all())


def of_terms(request: HttpRequest) -> Records:
    """Return all versions of terms that the person may see."""
    return name_records(list_versions_for(get_user(request)))


def of_terms_version(request: HttpRequest, code: str, version: int) -> Records:
    """Return a version of terms."""
    return name_records(access_version(get_user(request), code, version))


def of_own_visits(request: HttpRequest, visitor: "Visitor", slot: str = "") -> Records:
    """Return the vehicle of a customer's own page with its visits."""
    return name_records(visitor.page.vehicle, Appointment.objects.filter(vehicle=visitor.page.vehicle))


def of_calendar(request: HttpRequest) -> Records:
    """Return the addresses of the calendar of a bay, or of the person's own."""
    key = read_whole(request.POST.get("bay", ""), digits=17)
    feeds = CalendarFeed.objects.filter(bay=key) if key else CalendarFeed.objects.filter(person=get_user(request))
    return name_records(feeds)


def of_own_contact(request: HttpRequest, visitor: "Visitor") -> Records:
    """Return the customer of a link."""
    return name_records(visitor.customer)


def of_own_cover(request: HttpRequest, visitor: "Visitor") -> Records:
    """Return the vehicle of a customer's link, its cover and the claims on it."""
    cover = visitor.shown.cover
    of_vehicle = name_records(visitor.page.vehicle)
    return {**of_vehicle, **name_records(cover, cover.claims.all())} if cover else of_vehicle


def of_own_claim(request: HttpRequest, visitor: "Visitor") -> Records:
    """Return the claim of a customer's link."""
    return name_records(visitor.link.claim) if visitor.link.claim else {}
