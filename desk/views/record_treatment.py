"""Recording a treatment by the lift: a form saved as a draft, the summary that is signed off, and amendments."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from desk.access import access_treatment, access_vehicle, get_user, may_open, open_to
from desk.record_forms import TreatmentVisitForm
from desk.shown import list_changes, shown_for
from desk.shown_records import of_new_treatment, of_treatment
from desk.telling import tell, tell_all
from desk.treatment_form import TreatmentForm
from desk.views.sent import answer_received, find_arrived, find_first_outcome, make_form_key, record_once, tell_typed_by
from desk.visit_part import write_visit
from treatments.drafts import change_draft, compute_fingerprint, discard_draft, sign_draft
from treatments.material_totals import list_totals
from treatments.models import Site, Treatment, User
from treatments.queries import find_today, find_visit_findings, list_reading_doubts
from treatments.rules.conditions import LEAST_MARGIN_C, NEAR_FREEZING_C, compute_dew_point_c
from treatments.rules.order_of_work import COMES_FIRST, USUAL_CAUTIONS
from treatments.rules.words import Answer, TreatmentKind
from treatments.services import amend_treatment, record_treatment
from treatments.shop_reference import find_site_of, list_sites, map_sites, map_zone_names
from treatments.work_reading import list_lines


def find_site(user: User) -> Site:
    """Return the site at which a person works: their own, else the shop's first."""
    site = map_sites()[user.site_id] if user.site_id is not None else next(iter(list_sites()), None)
    if site is None:
        raise PermissionDenied(_("The shop has no site yet; the owner adds one first."))
    return site


def _show_form(request: HttpRequest, form: TreatmentForm, *, status: int = 200, **context: Any) -> HttpResponse:
    """Show the form; ``purpose`` tells its kept copies on a tablet apart."""
    context |= {
        "form": form,
        "visit_fields": write_visit(
            "desk/treatment_visit.html",
            form.visit,
            dew_point=tuple(describe_dew_point(form.visit)),
        ),
        "vehicle": form.vehicle,
        "form_key": make_form_key(request),
        "typed_by": tell_typed_by(request),
        "cautions": USUAL_CAUTIONS,
        "comes_first": COMES_FIRST,
    }
    return render(request, "desk/record_treatment.html", context, status=status)


def _handle_form(
    request: HttpRequest, form: TreatmentForm, *, purpose: str, write: Callable[[], Treatment], **context: Any
) -> HttpResponse:
    """Record what a form says exactly once and lead to the record; else show it again with all that was typed."""
    context["purpose"] = purpose
    if request.method != "POST" or form.wants_more:
        return _show_form(request, form, **context)
    try:
        arrived = find_arrived(request, purpose)
        if arrived:
            return answer_received(request, arrived)
        if changes := list_changes(request):
            form.add_errors(ValidationError(changes))
            return _show_form(request, form, status=409, **context)
        if form.is_valid():
            received = record_once(
                request,
                get_user(request),
                purpose=purpose,
                now=timezone.now(),
                record=lambda: reverse("desk:treatment", args=[write().pk]),
            )
            return answer_received(request, received)
    except ValidationError as error:
        form.add_errors(error)
        first = find_first_outcome(error)
        return _show_form(request, form, status=409 if first else 400, first_outcome=first, **context)
    return _show_form(request, form, status=400, **context)


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_new_treatment, in_view=True)
def record(request: HttpRequest, vin: str) -> HttpResponse:
    """Record what was done on a vehicle, as a draft that is signed off on the next page."""
    user = get_user(request)
    vehicle, site = access_vehicle(user, vin), find_site(user)
    now = timezone.now()
    form = TreatmentForm(
        vehicle=vehicle, site=site, today=find_today(now, site), data=request.POST if request.method == "POST" else None
    )

    def write() -> Treatment:
        values = form.visit.cleaned_data
        return record_treatment(
            vehicle=vehicle,
            site=site,
            done_on=values["done_on"],
            kind=TreatmentKind(values["kind"]),
            lines=form.lines,
            totals=form.totals,
            odometer=form.visit.read_odometer(),
            conditions=form.visit.read_conditions(),
            note=values["note"],
            sign_off=False,
            now=now,
            actor=user,
        )

    return _handle_form(
        request, form, purpose=f"treatment of vehicle {vehicle.pk}", write=write, mode="record", drafts=form.drafts
    )


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_treatment, in_view=True)
def change(request: HttpRequest, key: int) -> HttpResponse:
    """Change a draft."""
    user = get_user(request)
    found = access_treatment(user, key)
    if found.signed_off_at is not None and request.method != "POST":
        return redirect("desk:treatment", key=key)
    now = timezone.now()
    data = request.POST if request.method == "POST" else None
    form = TreatmentForm(
        vehicle=found.vehicle, site=found.site, today=find_today(now, found.site), data=data, treatment=found
    )

    def write() -> Treatment:
        values = form.visit.cleaned_data
        return change_draft(
            treatment=found,
            fingerprint=request.POST.get("fingerprint", ""),
            done_on=values["done_on"],
            kind=TreatmentKind(values["kind"]),
            lines=form.lines,
            totals=form.totals,
            odometer=form.visit.read_odometer(),
            conditions=form.visit.read_conditions(),
            note=values["note"],
            now=now,
            actor=user,
        )

    fingerprint = request.POST.get("fingerprint") or compute_fingerprint(found)
    return _handle_form(
        request,
        form,
        purpose=f"draft of treatment {found.pk}",
        write=write,
        mode="change",
        treatment=found,
        fingerprint=fingerprint,
    )


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_treatment, in_view=True)
def amend(request: HttpRequest, key: int) -> HttpResponse:
    """Replace signed-off work by a corrected version, with the reason; both stay visible."""
    user = get_user(request)
    found = access_treatment(user, key)
    is_open = found.signed_off_at is not None and not hasattr(found, "amended_by")
    if not is_open and request.method != "POST":
        return redirect("desk:treatment", key=key)
    now = timezone.now()
    data = request.POST if request.method == "POST" else None
    form = TreatmentForm(
        vehicle=found.vehicle, site=found.site, today=find_today(now, found.site), data=data, treatment=found
    )

    def write() -> Treatment:
        values = form.visit.cleaned_data
        return amend_treatment(
            treatment=found,
            reason=request.POST.get("reason", "").replace("\0", "").strip()[:300],
            lines=form.lines,
            totals=form.totals,
            done_on=values["done_on"],
            kind=TreatmentKind(values["kind"]),
            odometer=form.visit.read_odometer(),
            without_odometer=form.visit.read_odometer() is None,
            conditions=form.visit.read_conditions(),
            note=values["note"],
            now=now,
            actor=user,
        )

    return _handle_form(
        request,
        form,
        purpose=f"amendment of treatment {found.pk}",
        write=write,
        mode="amend",
        treatment=found,
        reason=request.POST.get("reason", ""),
    )


def _show_treatment(request: HttpRequest, found: Treatment, *, errors: list[str], status: int = 200) -> HttpResponse:
    lines, totals = list_lines(found), list_totals(found)
    findings = find_visit_findings(found, lines, totals)
    user = get_user(request)
    context = {
        "treatment": found,
        "lines": lines,
        "totals": totals,
        "zone_names": map_zone_names(),
        "failing": [finding for finding in findings if finding.answer is Answer.FAILS],
        "doubts": list_reading_doubts(found),
        "unknown": [finding for finding in findings if finding.answer is Answer.CANNOT_BE_TOLD],
        # Only a draft has a form that carries it.
        "fingerprint": "" if found.signed_off_at else compute_fingerprint(found, lines),
        "may_record": may_open(user, "record_work"),
        "is_amended": hasattr(found, "amended_by"),
        "errors": errors,
    }
    return render(request, "desk/treatment.html", context, status=status)


@open_to("work")
@require_safe
def treatment(request: HttpRequest, key: int) -> HttpResponse:
    """Show one treatment: a draft with what speaks against it and the step to sign it off, or the signed record."""
    return _show_treatment(request, access_treatment(get_user(request), key), errors=[])


@open_to("record_work")
@require_POST
@shown_for(of_treatment, in_view=True)
def sign_off(request: HttpRequest, key: int) -> HttpResponse:
    """Sign a draft off, as it was shown; sent twice it stays signed once."""
    user = get_user(request)
    found = access_treatment(user, key)
    if found.signed_off_at is not None and found.signed_off_by_id == user.pk:
        return redirect("desk:treatment", key=key)
    if changes := list_changes(request):
        return _show_treatment(request, found, errors=changes, status=409)
    errors = []
    if request.POST.get("confirmed") != "yes":
        errors.append(_("Confirm that this is what was done, then sign it off."))
    else:
        try:
            sign_draft(treatment=found, fingerprint=request.POST.get("fingerprint", ""), now=timezone.now(), actor=user)
        except ValidationError as error:
            errors = tell_all(error.messages)
        else:
            return redirect("desk:treatment", key=key)
    return _show_treatment(request, access_treatment(user, key), errors=errors, status=400)


@open_to("record_work")
@require_POST
@shown_for(of_treatment, page=lambda key: reverse("desk:treatment", args=[key]), again=False)
def discard(request: HttpRequest, key: int) -> HttpResponse:
    """Throw a draft away and lead back to the vehicle."""
    user = get_user(request)
    found = access_treatment(user, key)
    try:
        discard_draft(treatment=found, fingerprint=request.POST.get("fingerprint", ""), now=timezone.now(), actor=user)
    except ValidationError as error:
        return _show_treatment(request, access_treatment(user, key), errors=tell_all(error.messages), status=400)
    return redirect("desk:vehicle", vin=found.vehicle.vin)


def describe_dew_point(visit: TreatmentVisitForm) -> list[tuple[Answer, str]]:
    """Return what the temperatures and the humidity on a form say about the dew point; nothing before any is typed."""
    measured = ("air", "surface", "humidity")
    if not visit.is_bound:
        if not any(visit.initial.get(name) for name in measured):
            return []
        values = {name: visit.initial.get(name, "") for name in ("air", "surface", "humidity", "temperature_unit")}
        visit = TreatmentVisitForm(values, today=visit.today)
    if not any(visit[name].value() for name in measured):
        return []
    visit.is_valid()
    wrong = [error for name in measured for error in visit.errors.get(name, [])]
    if wrong:
        return [(Answer.FAILS, tell(error)) for error in wrong]
    values = visit.cleaned_data
    read = TreatmentVisitForm.read_conditions(visit) if {"clean_surface", "dry_surface"} <= values.keys() else None
    if read is None:
        return []
    told = []
    air, surface, humidity = read.air_temperature_c, read.surface_temperature_c, read.relative_humidity_percent
    if air is None or surface is None or humidity is None:
        told.append(
            (Answer.CANNOT_BE_TOLD, _("With air, surface and humidity all measured, the dew point can be told."))
        )
    else:
        told.append(_tell_margin(compute_dew_point_c(air, humidity), surface))
    if surface is not None and surface <= NEAR_FREEZING_C:
        told.append(
            (
                Answer.FAILS,
                _("The surface is near freezing: frost must be gone, and a water-displacing coat goes first."),
            )
        )
    return told


def _tell_margin(dew_point_c: Decimal, surface_c: Decimal) -> tuple[Answer, str]:
    margin = surface_c - dew_point_c
    values = {"dew_point": dew_point_c, "margin": margin, "least": LEAST_MARGIN_C}
    if margin >= LEAST_MARGIN_C:
        sentence = _(
            "Dew point %(dew_point)s °C; the surface is %(margin)s °C above it. At least %(least)s are wanted."
        )
        return Answer.HOLDS, sentence % values
    if margin < 0:
        sentence = _(
            "Dew point %(dew_point)s °C; the surface is %(below)s °C below it where it must be at least %(least)s "
            "above. Water condenses on it: warm and dry it, or let a water-displacing coat go first."
        )
        return Answer.FAILS, sentence % {**values, "below": -margin}
    sentence = _(
        "Dew point %(dew_point)s °C; the surface is only %(margin)s °C above it where at least %(least)s are wanted. "
        "Warm and dry it, or let a water-displacing coat go first."
    )
    return Answer.FAILS, sentence % values


@open_to("record_work")
@require_safe
def dew_point(request: HttpRequest, vin: str) -> HttpResponse:
    """Say what the values typed so far mean, for the form's live line."""
    user = get_user(request)
    access_vehicle(user, vin)
    visit = TreatmentVisitForm(request.GET, today=find_today(timezone.now(), find_site_of(user)))
    return render(request, "desk/dew_point.html", {"dew_point": describe_dew_point(visit)}, using="jinja2")
