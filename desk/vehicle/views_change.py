"""Changing the record of a vehicle and its covers: what can be changed, and what comes of it before it is done."""

from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from desk.booking.page import list_errors, name_faults
from desk.shared.access import access_vehicle_and_covers, get_user, may_open, open_to
from desk.shared.shown import find_shown_at, shown_for
from desk.shared.shown_records import of_vehicle_record
from desk.vehicle.changes import CHANGES, Change, carry_out
from desk.vehicle.foresee import VehicleRecord, find_day, foresee
from notifications.consents.queries import list_statements
from scheduling.models import Appointment, AppointmentStatus, CoverChange
from treatments.models import Ownership, VehicleChange
from treatments.queries import find_today
from treatments.reference.queries import find_site_of, map_zone_names
from treatments.shared.rendering import render_day

# What a form carries besides what was typed.
NOT_TYPED = frozenset({"csrfmiddlewaretoken", "shown", "confirm", "back"})


@open_to("change_record")
@require_safe
def changes(request: HttpRequest, vin: str) -> HttpResponse:
    """Show what the person may change about a vehicle, and what was changed before and why."""
    record = _read_record(request, vin)
    may = [change for change in CHANGES.values() if may_open(record.user, change.page)]
    context = {
        "vehicle": record.vehicle,
        "changes": [(change, change.find_obstacle(record)) for change in may],
        "past": _list_past(record),
    }
    return render(request, "vehicle/changes.html", context)


def _list_past(record: VehicleRecord) -> list[VehicleChange | CoverChange]:
    """Return the changes of the vehicle and its covers, the newest first."""
    of_vehicle = VehicleChange.objects.filter(vehicle=record.vehicle).select_related("actor")
    of_covers = CoverChange.objects.filter(cover__vehicle=record.vehicle).select_related("actor", "cover")
    return sorted([*of_vehicle, *of_covers], key=lambda change: change.recorded_at, reverse=True)


@open_to("change_record")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_vehicle_record)
def change(request: HttpRequest, vin: str, slug: str) -> HttpResponse:
    """Ask what changes and why; then show what it comes to; on the second press do it."""
    record = _read_record(request, vin)
    wanted = CHANGES.get(slug)
    if wanted is None:
        raise Http404("No such change here.")
    if not may_open(record.user, wanted.page):
        raise PermissionDenied(_("Your role does not do this."))
    obstacle = wanted.find_obstacle(record)
    if obstacle:
        return _show(request, record, wanted, None, obstacle=obstacle)
    posted = request.method == "POST"
    if not posted or "begin" in request.POST:
        # A page that knows some of it already leads here with it.
        begun = {name: request.POST[name] for name in ("name", "contact", "language") if name in request.POST}
        return _show(request, record, wanted, wanted.make_form(record, None, begun))
    form = wanted.make_form(record, request.POST, {})
    if not form.is_valid() or "back" in request.POST:
        return _show(request, record, wanted, form)
    try:
        if "confirm" in request.POST:
            carry_out(record, wanted, form, find_shown_at(request), of_vehicle_record(request, vin))
            messages.success(request, _("Recorded: %(what)s.") % {"what": wanted.title})
            return redirect("desk:book" if request.POST.get("then") == "book" else "desk:vehicle", record.vehicle.vin)
        day = find_day(form.cleaned_data, record.today)
        foreseen = foresee(record, lambda: wanted.do(record, form), day)
    except ValidationError as error:
        name_faults(form, error)
        return _show(request, record, wanted, form)
    context = {
        "vehicle": record.vehicle,
        "change": wanted,
        "form": form,
        "answers": [(field.label, _render_value(field)) for field in form],
        "foreseen": foreseen,
        "doubts": wanted.list_doubts(record, form),
        "day": day,
        "today": record.today,
        "coming": _list_coming(record),
        "zone_names": map_zone_names(),
        "typed": [(name, value) for name, values in request.POST.lists() if name not in NOT_TYPED for value in values],
    }
    return render(request, "vehicle/change_confirm.html", context)


def _read_record(request: HttpRequest, vin: str) -> VehicleRecord:
    user, now = get_user(request), timezone.now()
    vehicle, covers = access_vehicle_and_covers(user, vin)
    cover = next((one for one in covers if one.ended_on is None), None)
    owner = Ownership.objects.filter(vehicle=vehicle, until_day__isnull=True).select_related("customer").first()
    today = find_today(now, cover.site if cover else find_site_of(user))
    return VehicleRecord(vehicle, cover, owner, user, today, now)


def _list_coming(record: VehicleRecord) -> list[Appointment]:
    """Return the visits that are booked; a change does not touch them, so a person has to know."""
    coming = Appointment.objects.filter(
        vehicle=record.vehicle, status=AppointmentStatus.BOOKED, starts_at__gte=record.now
    )
    return list(coming.select_related("customer", "site").order_by("starts_at"))


def _render_value(field: forms.BoundField) -> Any:
    """Return what was typed or chosen in a field, in words."""
    if isinstance(field.field, forms.BooleanField):
        return _("yes") if field.value() else _("no")
    value = field.form.cleaned_data.get(field.name)
    if isinstance(field.field, forms.ChoiceField):
        return dict(field.field.choices).get(value, value)  # type: ignore[arg-type]
    return render_day(value) if isinstance(value, date) else value


def _show(
    request: HttpRequest, record: VehicleRecord, wanted: Change, form: forms.Form | None, *, obstacle: str = ""
) -> HttpResponse:
    errors = list_errors(form) if form is not None and form.is_bound else []
    context = {
        "vehicle": record.vehicle,
        "change": wanted,
        "form": form,
        "errors": errors,
        "obstacle": obstacle,
        "owner": record.owner,
        "cover": record.cover,
        "then": request.POST.get("then", ""),
        "consents": list_statements(record.owner.customer) if wanted.slug == "owner-messages" and record.owner else [],
    }
    refused = errors or (obstacle and request.method == "POST")
    return render(request, "vehicle/change.html", context, status=400 if refused else 200)
