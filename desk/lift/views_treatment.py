"""Recording a treatment by the lift: what is its own, and the live line on the dew point."""

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from desk.lift.record_forms import TreatmentVisitForm
from desk.lift.record_work import Job, WorkPages
from desk.lift.treatment_form import TreatmentForm
from desk.shared.access import access_treatment, access_vehicle, get_user, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_new_treatment, of_signing_treatment, of_treatment
from treatments.enums import Answer, TreatmentKind
from treatments.models import Treatment
from treatments.queries import find_today, find_visit_findings
from treatments.records.drafts import change_draft, compute_fingerprint, discard_draft, sign_draft
from treatments.records.material_totals import list_totals
from treatments.records.rules.conditions import LEAST_MARGIN_C, NEAR_FREEZING_C, compute_dew_point_c
from treatments.records.services import amend_treatment, record_treatment
from treatments.records.sign_off import list_lines
from treatments.reference.queries import find_site_of


class TreatmentPages(WorkPages[Treatment, TreatmentForm]):
    """The pages of a treatment."""

    name = "treatment"
    to_confirm = gettext_lazy("Confirm that this is what was done, then sign it off.")
    access = staticmethod(access_treatment)
    compute_fingerprint = staticmethod(compute_fingerprint)
    do_record = staticmethod(record_treatment)
    do_change = staticmethod(change_draft)
    do_amend = staticmethod(amend_treatment)
    do_sign = staticmethod(sign_draft)
    do_discard = staticmethod(discard_draft)

    def make_form(self, request: HttpRequest, job: Job[Treatment]) -> TreatmentForm:
        data = request.POST if request.method == "POST" else None
        return TreatmentForm(vehicle=job.vehicle, site=job.site, today=job.today, data=data, treatment=job.found)

    def read_values(self, request: HttpRequest, form: TreatmentForm) -> dict[str, Any]:
        values = form.visit.cleaned_data
        return {
            "done_on": values["done_on"],
            "kind": TreatmentKind(values["kind"]),
            "lines": form.lines,
            "totals": form.totals,
            "odometer": form.visit.read_odometer(),
            "conditions": form.visit.read_conditions(),
            "note": values["note"],
        }

    def describe_form(self, job: Job[Treatment], form: TreatmentForm) -> dict[str, Any]:
        return {
            "dew_point": describe_dew_point(form.visit),
            "drafts": form.drafts if job.mode == "record" else [],
        }

    def describe(self, work: Treatment) -> dict[str, Any]:
        lines, totals = list_lines(work), list_totals(work)
        findings = find_visit_findings(work, lines, totals)
        return {
            "lines": lines,
            "totals": totals,
            "failing": [finding for finding in findings if finding.answer is Answer.FAILS],
            "unknown": [finding for finding in findings if finding.answer is Answer.CANNOT_BE_TOLD],
        }


PAGES = TreatmentPages()


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_new_treatment, in_view=True)
def record(request: HttpRequest, vin: str) -> HttpResponse:
    """Show and take the form of a new draft."""
    return PAGES.record(request, vin)


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_treatment, in_view=True)
def change(request: HttpRequest, key: int) -> HttpResponse:
    """Show and take the form of a draft."""
    return PAGES.change(request, key)


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_treatment, in_view=True)
def amend(request: HttpRequest, key: int) -> HttpResponse:
    """Show and take the form of an amendment."""
    return PAGES.amend(request, key)


@open_to("work")
@require_safe
def treatment(request: HttpRequest, key: int) -> HttpResponse:
    """Show one treatment: a draft with its summary, or the signed record."""
    return PAGES.show(request, key)


@open_to("record_work")
@require_POST
@shown_for(of_signing_treatment, in_view=True)
def sign_off(request: HttpRequest, key: int) -> HttpResponse:
    """Sign a draft off."""
    return PAGES.sign_off(request, key)


@open_to("record_work")
@require_POST
@shown_for(of_treatment, page=lambda key: reverse("desk:treatment", args=[key]), again=False)
def discard(request: HttpRequest, key: int) -> HttpResponse:
    """Throw a draft away."""
    return PAGES.discard(request, key)


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
        return [(Answer.FAILS, str(error)) for error in wrong]
    values = visit.cleaned_data
    read = TreatmentVisitForm.read_conditions(visit) if {"surface_clean", "surface_dry"} <= values.keys() else None
    if read is None:
        return []
    told = []
    air, surface, humidity = read.air_temperature_c, read.surface_temperature_c, read.relative_humidity_percent
    if air is None or surface is None or humidity is None:
        told.append(
            (Answer.CANNOT_BE_TOLD, _("With air, surface and humidity all measured, the dew point can be told."))
        )
    else:
        told.append(_render_margin(compute_dew_point_c(air, humidity), surface))
    if surface is not None and surface <= NEAR_FREEZING_C:
        told.append(
            (
                Answer.FAILS,
                _("The surface is near freezing: frost must be gone, and a water-displacing coat goes first."),
            )
        )
    return told


def _render_margin(dew_point_c: Decimal, surface_c: Decimal) -> tuple[Answer, str]:
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
    return render(request, "lift/dew_point.html", {"dew_point": describe_dew_point(visit)}, using="jinja2")
