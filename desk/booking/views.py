"""Booking a vehicle: the best few times, each one press away, and the next vehicle that is due."""

from datetime import datetime
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from desk.booking.forms import NoteForm, Wishes, list_places
from desk.booking.page import (
    Choice,
    Errors,
    VehicleToBook,
    list_errors,
    list_faults,
    name_faults,
    offer_times,
    read_vehicle_to_book,
)
from desk.booking.slots import ChosenSlot, SlotButton, make_buttons, read_button
from desk.shared.access import access_vehicle, get_user, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_vehicle_to_book
from scheduling.booking.placing import SlotTakenError, choose_place
from scheduling.booking.services import book_visit
from scheduling.due_list.queries import DueFilter, PlaceError, find_sort, read_due_page
from scheduling.models import Appointment
from treatments.models import User
from treatments.queries import find_today
from treatments.reference.queries import find_site_of
from treatments.rules.explanation import explain
from treatments.rules.site_settings import find_zone
from treatments.shared.rendering import render as render_explanation


@open_to("book")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_vehicle_to_book)
def book(request: HttpRequest, vin: str) -> HttpResponse:
    """Show what is due and the best times for it; a press on one of them books it."""
    user, now = get_user(request), timezone.now()
    found = read_vehicle_to_book(access_vehicle(user, vin), user, now)
    if request.method != "POST":
        choice = offer_times(request, found, now)
        return _show(request, found, choice, None, now)
    if "slot" in request.POST:
        return _book_slot(request, found, user, now)
    return _book_named_time(request, found, user, now)


def _book_slot(request: HttpRequest, found: VehicleToBook, user: User, now: datetime) -> HttpResponse:
    instead: list[SlotButton] = []
    try:
        chosen = read_button(request.POST["slot"], found.vehicle)
        appointment = _book(found, chosen, user, now)
    except SlotTakenError as taken:
        errors = [("", render_explanation(taken.explanation))]
        instead = make_buttons(taken.alternatives, [chosen.bay.site], found.vehicle, chosen.visit)
    except ValidationError as error:
        errors = list_faults(error)
    else:
        return _render_booked(request, appointment)
    choice = offer_times(request, found, now)
    return _show(request, found, choice, None, now, errors=errors, instead=instead)


def _book(found: VehicleToBook, chosen: ChosenSlot, user: User, now: datetime, note: str = "") -> Appointment:
    return book_visit(
        vehicle=found.vehicle,
        cover=found.cover,
        bay=chosen.bay,
        person=chosen.person,
        starts_at=chosen.starts_at,
        visit=chosen.visit,
        why=chosen.why,
        note=note,
        now=now,
        actor=user,
    )


def _book_named_time(request: HttpRequest, found: VehicleToBook, user: User, now: datetime) -> HttpResponse:
    choice = offer_times(request, found, now)
    site = choice.wishes.sites[0]
    form = NoteForm(request.POST, places=list_places(site))
    instead: list[SlotButton] = []
    if form.is_valid():
        values = form.cleaned_data
        kind = choice.wishes.visit or found.due.visit
        try:
            bay, person = choose_place(
                vehicle=found.vehicle,
                cover=found.cover,
                site=site,
                starts_at=form.read_start(),
                now=now,
                visit=kind,
                bay=values["bay"],
                person=values["person"],
            )
            if bay is None:
                raise ValidationError(
                    {"bay": _("%(site)s has no bay in use; add one under “Set-up”.") % {"site": site}}
                )
            chosen = ChosenSlot(bay, person, form.read_start(), kind, explain("visit.named_by_customer"))
            appointment = _book(found, chosen, user, now, values["note"])
        except SlotTakenError as taken:
            name_faults(form, taken)
            instead = make_buttons(taken.alternatives, [site], found.vehicle, kind)
        except ValidationError as error:
            name_faults(form, error)
        else:
            return _render_booked(request, appointment)
    return _show(request, found, choice, form, now, errors=list_errors(form), instead=instead)


def _render_booked(request: HttpRequest, appointment: Appointment) -> HttpResponse:
    query = {"told": "booked"}
    if request.GET.get("place"):
        query["place"] = request.GET["place"]
    return redirect(f"{reverse('desk:visit', args=[appointment.number])}?{urlencode(query)}")


def _show(
    request: HttpRequest,
    found: VehicleToBook,
    choice: Choice,
    form: NoteForm | None,
    now: datetime,
    *,
    errors: Errors | None = None,
    instead: list[SlotButton] | None = None,
) -> HttpResponse:
    kind = choice.wishes.visit or found.due.visit
    context = {
        "found": found,
        "vehicle": found.vehicle,
        "today": find_today(now, found.home),
        "choice": choice,
        "buttons": choice.buttons,
        # Not where something else has the focus.
        "first": not errors and not choice.errors and not instead,
        "title": _("Book %(plate)s") % {"plate": found.vehicle.plate or found.vehicle.vin},
        "turned_away": request.GET.get("told") == "not-today",
        "coming": [(visit, visit.starts_at.astimezone(find_zone(visit.site.time_zone))) for visit in found.coming],
        "kind": kind,
        "is_all_booked": found.is_all_booked(kind),
        "errors": [*(errors or []), *choice.errors],
        "instead": instead or [],
        "named_form": form or _make_blank_form(choice.wishes),
        "names_time": form is not None,
        "place": request.GET.get("place", ""),
    }
    status = 400 if errors else 200
    return render(request, "booking/book.html", context, status=status)


def _make_blank_form(wishes: Wishes) -> NoteForm:
    return NoteForm(places=list_places(wishes.sites[0]), initial={"day": wishes.earliest})


@open_to("book")
@require_safe
def book_next(request: HttpRequest) -> HttpResponse:
    """Go to the booking of the next vehicle on the due list that is not booked yet."""
    user = get_user(request)
    today = find_today(timezone.now(), find_site_of(user))
    wanted = DueFilter(booked="not_booked")
    try:
        page = read_due_page(user, today, wanted, after=request.GET.get("after", ""), size=1)
    except PlaceError:
        page = read_due_page(user, today, wanted, size=1)
    if not page.rows:
        return redirect(f"{reverse('desk:due_list')}?booked=not_booked")
    row = page.rows[0]
    place = f"{getattr(row, find_sort(wanted))}_{row.cover_id}"
    return redirect(f"{reverse('desk:book', args=[row.vin])}?{urlencode({'place': place})}")
