"""A vehicle at the door: find it, and take it in at the first time that is free today; or add one that is new here."""

from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import FilteredRelation, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from desk.booking.forms import NewVehicleForm
from desk.booking.page import Errors, list_errors, list_faults, name_faults, read_vehicle_to_book
from desk.booking.slots import SlotButton, make_buttons
from desk.forms.fields import advise_on_search
from desk.shared.access import access_vehicle, get_user, open_to
from desk.shared.shown import no_records, shown_for
from desk.shared.shown_records import of_vehicle_to_book
from scheduling.booking.changing import walk_in as take_in
from scheduling.booking.placing import SlotTakenError
from scheduling.models import Appointment, AppointmentStatus
from treatments.enums import Propulsion
from treatments.models import Site, User, Vehicle
from treatments.people.customers import find_or_add_customer, make_match_key
from treatments.queries import find_today
from treatments.reference.queries import find_site_of
from treatments.rules.explanation import explain
from treatments.rules.site_settings import find_zone
from treatments.search.queries import list_found_vehicles
from treatments.shared.long_work import take_turn
from treatments.shared.rendering import render as render_explanation
from treatments.shared.rendering import render_all
from treatments.vehicles.rules.vin import VinMark, clean_vin
from treatments.vehicles.services import add_vehicle

# More are not read through while somebody waits; a longer word finds fewer.
MOST_SHOWN = 10


@dataclass(frozen=True, slots=True)
class ComingVisit:
    """A booked visit of a vehicle at the door, on the clock of its site."""

    number: str
    starts_at: datetime


@dataclass(slots=True)
class VehicleAtTheDoor:
    """One vehicle that the search found, with what the person at the desk has to know before taking it in."""

    vehicle: Vehicle
    owner_name: str = ""
    owner_phone: str = ""
    has_cover: bool = False
    due_last_on: date | None = None
    coming: ComingVisit | None = None


@open_to("book")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_vehicle_to_book)
def walk_in(request: HttpRequest) -> HttpResponse:
    """Find a vehicle, and on a press book it for the first time that is free today."""
    user, now = get_user(request), timezone.now()
    errors: Errors = []
    instead: list[SlotButton] = []
    turned_away: Vehicle | None = None
    if request.method == "POST":
        turned_away = access_vehicle(user, request.POST.get("vin", ""))
        try:
            return _take_in(turned_away, user, now)
        except SlotTakenError as taken:
            errors = [("", render_explanation(taken.explanation))]
            found = read_vehicle_to_book(turned_away, user, now)
            instead = make_buttons(taken.alternatives, [found.home], turned_away, found.due.visit)
        except ValidationError as error:
            errors = list_faults(error)
    text = request.GET.get("q", "").replace("\x00", "").strip()[:100]
    vehicles: list[Vehicle] = []
    if text:
        vehicles = list_found_vehicles(text, size=MOST_SHOWN + 1)
    context = {
        "text": text,
        "found": _gather(vehicles[:MOST_SHOWN], now, user),
        "advice": None if vehicles else advise_on_search(text),
        "there_are_more": len(vehicles) > MOST_SHOWN,
        "most": MOST_SHOWN,
        "errors": errors,
        "instead": instead,
        "turned_away": turned_away,
        "today": find_today(now, find_site_of(user)),
    }
    return render(request, "vehicle/walk_in.html", context, status=400 if errors else 200)


def _take_in(vehicle: Vehicle, user: User, now: datetime) -> HttpResponse:
    found = read_vehicle_to_book(vehicle, user, now)
    appointment = take_in(
        vehicle=vehicle, cover=found.cover, site=user.site or found.home, now=now, actor=user, visit=found.due.visit
    )
    return redirect(f"{reverse('desk:visit', args=[appointment.number])}?told=walked-in")


def _gather(vehicles: list[Vehicle], now: datetime, user: User) -> list[VehicleAtTheDoor]:
    """Return what is to be known of each vehicle, in a constant number of queries."""
    found = {vehicle.pk: VehicleAtTheDoor(vehicle) for vehicle in vehicles}
    if not found:
        return []
    keys = list(found)
    known = (
        Vehicle.objects.filter(pk__in=keys)
        .alias(
            owned=FilteredRelation("ownerships", condition=Q(ownerships__until_day__isnull=True)),
            cover=FilteredRelation("covers", condition=Q(covers__ended_on__isnull=True)),
        )
        .order_by("owned__from_day", "owned__pk")
    )
    for pk, name, phone, cover, due_last_on in known.values_list(
        "pk", "owned__customer__name", "owned__customer__phone", "cover__pk", "cover__last_state__due_last_on"
    ):
        entry = found[pk]
        entry.owner_name, entry.owner_phone = name or "", phone or ""
        entry.has_cover, entry.due_last_on = cover is not None, due_last_on
    coming = Appointment.objects.filter(
        vehicle__in=keys, status__in=[AppointmentStatus.BOOKED, AppointmentStatus.IN_THE_BAY], ready_at__gte=now
    )
    # The last one first, so that the next one is what stays.
    for visit in coming.select_related("site").order_by("-starts_at"):
        local = visit.starts_at.astimezone(find_zone(visit.site.time_zone))
        found[visit.vehicle_id].coming = ComingVisit(visit.number, local)
    return list(found.values())


@open_to("book")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(no_records)
def new_vehicle(request: HttpRequest) -> HttpResponse:
    """Add a vehicle that was never here, with its owner; then take it in, or choose a time for it.

    One that is on record is led to the change of its owner, or taken in where the owner is the one on record.
    """
    user, now = get_user(request), timezone.now()
    form = NewVehicleForm(request.POST or None, initial={"vin": request.GET.get("q", "")[:20]})
    known = _find_known(form) if request.method == "POST" else None
    if known is not None:
        return _show_known(request, form, known)
    if request.method == "POST" and form.is_valid():
        try:
            vehicle = _add(form, user, now)
        except ValidationError as error:
            name_faults(form, error)
        else:
            if "take_in" in request.POST:
                try:
                    return _take_in(vehicle, user, now)
                except ValidationError:
                    # It is on record now; its own page says what is free, and what is in the way.
                    return redirect(f"{reverse('desk:book', args=[vehicle.vin])}?told=not-today")
            return redirect(reverse("desk:book", args=[vehicle.vin]))
    errors = list_errors(form) if form.is_bound else []
    context = {"form": form, "errors": errors}
    return render(request, "vehicle/walk_in_new.html", context, status=400 if errors else 200)


def _find_known(form: NewVehicleForm) -> Vehicle | None:
    """Return the vehicle that has this VIN already."""
    return Vehicle.objects.filter(vin=clean_vin(str(form.data.get("vin", ""))[:40])).first()


def _show_known(request: HttpRequest, form: NewVehicleForm, known: Vehicle) -> HttpResponse:
    """Say that the vehicle is on record and whose it is, and lead on with what was typed."""
    form.is_valid()
    owned = known.ownerships.filter(until_day__isnull=True).select_related("customer").first()
    name, contact = str(form.data.get("owner", "")).strip(), str(form.data.get("contact", "")).strip()
    context = {
        "known": known,
        "owned": owned,
        "name": name,
        "contact": contact,
        "language": str(form.data.get("language", "")),
        "is_same_owner": owned is not None and owned.customer.match_key == make_match_key(name, contact),
    }
    return render(request, "vehicle/walk_in_known.html", context)


@take_turn()
@transaction.atomic
def _add(form: NewVehicleForm, user: User, now: datetime) -> Vehicle:
    """Add owner and vehicle, or neither."""
    values = form.cleaned_data
    site = user.site or Site.objects.order_by("pk").first()
    if site is None:
        # Its day counts, and nothing could be done with the vehicle after it.
        raise ValidationError(render_all([explain("site.none")]), code="no_site")
    try:
        owner = find_or_add_customer(
            name=values["owner"], contact=values["contact"], language=values["language"], now=now, actor=user
        )
    except ValidationError as error:
        raise ValidationError({"contact": error.messages}) from error
    return add_vehicle(
        vin=values["vin"],
        vin_mark=VinMark(values["vin_mark"]),
        owner=owner,
        owned_from=find_today(now, site),
        plate=values["plate"],
        description=values["description"],
        body_style=values["body_style"],
        propulsion=Propulsion(values["propulsion"]) if values["propulsion"] else None,
        now=now,
        actor=user,
    )


__all__ = ["new_vehicle", "walk_in"]
