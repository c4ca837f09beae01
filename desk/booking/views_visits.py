"""One visit: all that is known of it, and everything that a person does to it, each by one service."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from desk.booking.forms import (
    CancelForm,
    LateForm,
    NamedTimeForm,
    NoFieldsForm,
    NoShowForm,
    ReasonForm,
    SplitForm,
    list_places,
)
from desk.booking.page import (
    Errors,
    list_errors,
    list_faults,
    name_faults,
    offer_times,
    read_vehicle_to_book,
)
from desk.booking.slots import SlotButton, make_buttons, read_button
from desk.booking.visit_page import list_events, list_parts, list_served
from desk.forms.fields import read_whole
from desk.shared.access import access_visit, get_user, may_open, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_visit
from notifications.outbox.queries import list_messages_about
from scheduling.booking.changing import (
    begin_visit,
    cancel_visit,
    finish_visit,
    mark_no_show,
    run_late,
    split_visit,
)
from scheduling.booking.finding import propose_slots
from scheduling.booking.placing import SlotTakenError, choose_place
from scheduling.booking.reading import read_cover_of
from scheduling.booking.rules.slots import Preferences
from scheduling.booking.services import move_visit
from scheduling.enums import VisitKind
from scheduling.models import Appointment, AppointmentStatus, Bay
from treatments.models import User
from treatments.queries import find_today
from treatments.rules.explanation import Explanation, explain
from treatments.rules.site_settings import find_zone
from treatments.shared.rendering import render as render_explanation

Values = dict[str, Any]
BOOKED, IN_THE_BAY = AppointmentStatus.BOOKED, AppointmentStatus.IN_THE_BAY
LATE_BY = (10, 20, 30)
SPLIT_AFTER_MINUTES = 60


def _begin(visit: Appointment, form: forms.Form, user: User, now: datetime) -> None:
    begin_visit(appointment=visit, now=now, actor=user)


def _finish(visit: Appointment, form: forms.Form, user: User, now: datetime) -> None:
    finish_visit(appointment=visit, now=now, actor=user)


def _cancel(visit: Appointment, form: forms.Form, user: User, now: datetime) -> None:
    assert isinstance(form, ReasonForm)
    cancel_visit(appointment=visit, reason=form.read_reason(), now=now, actor=user)


def _mark_no_show(visit: Appointment, form: forms.Form, user: User, now: datetime) -> None:
    assert isinstance(form, ReasonForm)
    mark_no_show(appointment=visit, reason=form.read_reason(), now=now, actor=user)


def _run_late(visit: Appointment, form: forms.Form, user: User, now: datetime) -> None:
    minutes, seen = form.cleaned_data["minutes"], form.cleaned_data["sequence"]
    run_late(appointment=visit, minutes=minutes, now=now, actor=user, seen_sequence=seen)


# What is done: the page whose roles may do it, its form, its service.
ACTIONS: dict[str, tuple[str, type[forms.Form], Callable[[Appointment, forms.Form, User, datetime], None]]] = {
    "begin": ("work_visits", NoFieldsForm, _begin),
    "finish": ("work_visits", NoFieldsForm, _finish),
    "late": ("work_visits", LateForm, _run_late),
    "cancel": ("book", CancelForm, _cancel),
    "no-show": ("book", NoShowForm, _mark_no_show),
}


@open_to("bays")
@require_safe
def visit(request: HttpRequest, number: str) -> HttpResponse:
    """Show one visit."""
    found = access_visit(get_user(request), number)
    return _show(request, found)


@open_to("work_visits")
@require_POST
@shown_for(of_visit, page=lambda number, action: reverse("desk:visit", args=[number]))
def act(request: HttpRequest, number: str, action: str) -> HttpResponse:
    """Do one thing to a visit and show it again; where it can't be done, with the reason and what can."""
    user, now = get_user(request), timezone.now()
    found = access_visit(user, number)
    if action not in ACTIONS:
        raise Http404(f"No action {action} here.")
    page, form_class, service = ACTIONS[action]
    if not may_open(user, page):
        return open_to(page)(visit)(request, number)
    form = form_class(request.POST, prefix=_find_prefix(action))
    instead: list[SlotButton] = []
    if form.is_valid():
        try:
            service(found, form, user, now)
        except SlotTakenError as taken:
            name_faults(form, taken)
            instead = make_buttons(taken.alternatives, [found.site], found.vehicle, VisitKind(found.visit))
        except ValidationError as error:
            name_faults(form, error)
        else:
            return redirect(f"{reverse('desk:visit', args=[found.number])}?told={action}")
    return _show(request, found, bound={action: form}, instead=instead, status=400)


def _find_prefix(action: str) -> str | None:
    """Return what leads the names of an action's fields, so that two forms of the page never share one."""
    return None if action == "late" else action


def _show(
    request: HttpRequest,
    found: Appointment,
    *,
    bound: dict[str, forms.Form] | None = None,
    instead: list[SlotButton] | None = None,
    status: int = 200,
) -> HttpResponse:
    user, now = get_user(request), timezone.now()
    bound = bound or {}
    fields = {
        name: bound[name] if name in bound else form_class(prefix=_find_prefix(name))
        for name, (_page, form_class, _service) in ACTIONS.items()
        if form_class is not NoFieldsForm
    }
    may_work, may_book = may_open(user, "work_visits"), may_open(user, "book")
    is_booked, is_in_bay = found.status == BOOKED, found.status == IN_THE_BAY
    day = find_today(found.starts_at, found.site)
    takes_place = AppointmentStatus(found.status).holds_its_place
    # After a refusal the visit may be another than the one that the person saw.
    parts = list_parts(found)
    context = {
        "visit": found,
        "fields": fields,
        "errors": list_errors(*bound.values()),
        "failed": next(iter(bound), ""),
        "instead": instead or [],
        "told": request.GET.get("told", ""),
        "place": request.GET.get("place", ""),
        "week": f"{day:%G-W%V}",
        "day": day,
        "serves": list_served(found, parts["parts"]),
        "events": list_events(found),
        "told_messages": list_messages_about([found, *([found.splits] if found.splits else [])]),
        "may_read_messages": may_open(get_user(request), "messages"),
        **parts,
        "may_begin": may_work and is_booked and day <= find_today(now, found.site),
        "may_finish": may_work and (is_in_bay or (is_booked and found.starts_at <= now)),
        "may_run_late": may_work and (is_booked or is_in_bay),
        "may_split": may_work and (is_booked or is_in_bay),
        "may_move": may_book and is_booked,
        "may_cancel": may_book and is_booked,
        "may_miss": may_book and is_booked and found.starts_at <= now,
        "may_book": may_book,
        "late_by": LATE_BY,
        "job_sheet": takes_place and may_open(user, "job_sheet"),
        "record_work": _find_page("desk:record_treatment", found.vehicle.vin) if takes_place else "",
    }
    return render(request, "booking/visit.html", context, status=status)


def _find_page(name: str, *values: str) -> str:
    try:
        return reverse(name, args=values)
    except NoReverseMatch:
        return ""


@open_to("book")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_visit)
def move(request: HttpRequest, number: str) -> HttpResponse:
    """Move a visit: to one of the best times, or to a time that the customer names."""
    user, now = get_user(request), timezone.now()
    found = access_visit(user, number)
    vehicle = read_vehicle_to_book(found.vehicle, user, now)
    form = NamedTimeForm(
        request.POST if "day" in request.POST else None, places=list_places(found.site), initial=_start_of(found)
    )
    errors: Errors = []
    instead: list[SlotButton] = []
    if request.method == "POST":
        try:
            wanted = _read_wanted(request, found, form, now)
            if wanted is not None:
                bay, person, starts_at, why = wanted
                move_visit(
                    appointment=found,
                    bay=bay,
                    person=person,
                    starts_at=starts_at,
                    now=now,
                    actor=user,
                    seen_sequence=read_whole(request.POST.get("sequence", ""), digits=9),
                    why=why,
                )
                return redirect(f"{reverse('desk:visit', args=[found.number])}?told=moved")
            errors = list_errors(form)
        except SlotTakenError as taken:
            errors = [(form["time"].auto_id if form.is_bound else "", render_explanation(taken.explanation))]
            instead = make_buttons(taken.alternatives, [found.site], found.vehicle, VisitKind(found.visit))
        except ValidationError as error:
            if form.is_bound:
                name_faults(form, error)
                errors = list_errors(form)
            else:
                errors = list_faults(error)
    choice = offer_times(request, vehicle, now, moved=found)
    context = {
        "visit": found,
        "found": vehicle,
        "choice": choice,
        "buttons": choice.buttons,
        # Not where something else has the focus.
        "first": not errors and not choice.errors and not instead,
        "title": _("Move visit %(number)s") % {"number": found.number},
        "starts_at": found.starts_at.astimezone(find_zone(found.site.time_zone)),
        "named_form": form,
        "errors": [*errors, *choice.errors],
        "instead": instead,
        "sequence": found.sequence,
        "may_move": found.status == BOOKED,
    }
    return render(request, "booking/visit_move.html", context, status=400 if errors else 200)


def _start_of(found: Appointment) -> Values:
    local = found.starts_at.astimezone(find_zone(found.site.time_zone))
    return {
        "day": find_today(found.starts_at, found.site),
        "time": local.time(),
        "bay": found.bay_id,
        "person": found.person_id,
    }


def _read_wanted(
    request: HttpRequest, found: Appointment, form: NamedTimeForm, now: datetime
) -> tuple[Bay, User | None, datetime, Explanation | None] | None:
    """Return where and why a visit is to be moved, or None where the form's errors say why that can't be read."""
    if "slot" in request.POST:
        chosen = read_button(request.POST["slot"], found.vehicle)
        return chosen.bay, chosen.person, chosen.starts_at, chosen.why
    if not form.is_valid():
        return None
    starts_at = form.read_start()
    bay, person = choose_place(
        vehicle=found.vehicle,
        cover=found.cover,
        site=found.site,
        starts_at=starts_at,
        now=now,
        visit=VisitKind(found.visit),
        bay=form.cleaned_data["bay"],
        person=form.cleaned_data["person"],
        moved=found,
    )
    return bay or found.bay, person, starts_at, explain("visit.named_by_customer")


@open_to("work_visits")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_visit)
def split(request: HttpRequest, number: str) -> HttpResponse:
    """Split a visit of a vehicle that came dirty or wet: washing now, the work at one of the next free times."""
    user, now = get_user(request), timezone.now()
    found = access_visit(user, number)
    given = request.POST if request.method == "POST" else None
    form = SplitForm(given, initial={"first_part_minutes": _usual_first_part(found)})
    errors: Errors = []
    instead: list[SlotButton] = []
    if request.method == "POST":
        if form.is_valid():
            try:
                if "slot" not in request.POST:
                    raise ValidationError({"slot": _("Choose when the work goes on.")})
                chosen = read_button(request.POST["slot"], found.vehicle)
                split_visit(
                    appointment=found,
                    reason=form.read_reason(),
                    first_part_minutes=form.cleaned_data["first_part_minutes"],
                    bay=chosen.bay,
                    person=chosen.person,
                    starts_at=chosen.starts_at,
                    now=now,
                    actor=user,
                )
                return redirect(f"{reverse('desk:visit', args=[found.number])}?told=split")
            except SlotTakenError as taken:
                errors = [("slots", render_explanation(taken.explanation))]
                instead = make_buttons(taken.alternatives, [found.site], found.vehicle, VisitKind(found.visit))
            except ValidationError as error:
                named = {"slot": "slots", "reason": form["reason"].auto_id}
                named["first_part_minutes"] = form["first_part_minutes"].auto_id
                errors = list_faults(error, named)
        else:
            errors = list_errors(form)
    minutes = read_whole(str(form["first_part_minutes"].value() or ""), digits=9) or SPLIT_AFTER_MINUTES
    cover, due = read_cover_of(found, find_today(now, found.site))
    dry_from = max(now, found.starts_at + timedelta(minutes=min(minutes, 24 * 60)))
    try:
        slots = propose_slots(
            vehicle=found.vehicle,
            cover=cover,
            sites=[found.site],
            now=now,
            from_moment=dry_from,
            preferences=Preferences(near=find_today(dry_from, found.site)),
            visit=VisitKind(found.visit),
            moved=found,
            due=due,
        ).slots
    except ValidationError as error:
        slots = ()
        errors += list_faults(error)
    context = {
        "visit": found,
        "title": _("Split visit %(number)s") % {"number": found.number},
        "form": form,
        "errors": errors,
        "buttons": instead or make_buttons(slots, [found.site], found.vehicle, VisitKind(found.visit)),
        "may_split": found.status in (BOOKED, IN_THE_BAY),
    }
    return render(request, "booking/visit_split.html", context, status=400 if errors else 200)


def _usual_first_part(found: Appointment) -> int:
    whole = int((found.work_ends_at - found.starts_at).total_seconds() // 60)
    return max(min(SPLIT_AFTER_MINUTES, whole - 15), 1)
