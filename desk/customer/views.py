"""A customer's own page of one vehicle, opened by a signed link and without an account, and its papers.

What a customer may do and when, ``scheduling.booking.own_visits`` decides; the link is the permission.
"""

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.translation import gettext
from django.views.decorators.http import require_safe

from desk.customer.offers import Offer, propose, read_wishes
from desk.customer.visitor import Visitor, open_by, show_page
from notifications.customer_page.claims import list_own_claims
from notifications.customer_page.links import (
    make_claim_token,
    make_contact_token,
    make_own_vehicles_token,
    make_stop_token,
    make_vehicle_token,
)
from notifications.customer_page.own_vehicles import has_several_vehicles
from notifications.customer_page.queries import read_last_record
from notifications.documents.certificates import read_certificate_pdf
from notifications.documents.visit_records import find_last_treatment, name_visit, read_visit_record_pdf
from notifications.enums import LinkPurpose
from notifications.invitations.visit_text import read_visit_parts, render_title
from scheduling.booking.own_visits import may_change
from scheduling.models import Appointment
from treatments.queries import find_clock
from treatments.reference.queries import map_zone_names

VEHICLE, RECORD = LinkPurpose.VEHICLE, LinkPurpose.RECORD


def show_own_vehicle(
    request: HttpRequest,
    visitor: Visitor,
    *,
    moving: bool = False,
    errors: Sequence[str] = (),
    offers: list[Offer] | None = None,
    status: int = 200,
) -> HttpResponse:
    """Show the page; with times where there is no visit yet, or it is to be moved."""
    visit = visitor.visit
    wishes = read_wishes(request, visitor.today)
    may = visit is not None and may_change(visit, now=visitor.now, until_hours=settings.CUSTOMER_CHANGES_UNTIL_HOURS)
    moving = moving and may
    with_times = moving or (visit is None and visitor.shown.bookable)
    if with_times and offers is None:
        offers = propose(visitor, wishes, visit if moving else None)
    context = {
        "visit": visit,
        "zone_names": map_zone_names(),
        **render_visit(visit),
        "may_change": may,
        "until_hours": settings.CUSTOMER_CHANGES_UNTIL_HOURS,
        "moving": moving,
        "with_times": with_times,
        "offers": offers or [],
        "wishes": wishes,
        "errors": list(errors),
        "done": request.GET.get("done", "") if not errors else "",
        "stop_token": make_stop_token(visitor.page.customer),
        "rust_token": make_vehicle_token(LinkPurpose.REPORT_RUST, visitor.customer, visitor.page.vehicle),
        "contact_token": make_contact_token(visitor.customer),
        "vehicles_token": make_own_vehicles_token(visitor.customer) if has_several_vehicles(visitor.customer) else "",
        "claims": [
            (claim, make_claim_token(visitor.customer, claim))
            for claim in list_own_claims(visitor.customer, visitor.page.vehicle)
        ],
        "stopped": visitor.page.customer.messages_stopped_at is not None,
        "has_email": bool(visitor.page.customer.email),
    }
    name = "customer/times.html" if moving else "people/customer.html"
    return show_page(request, visitor, name, context, status=status)


def render_visit(visit: Appointment | None) -> dict[str, Any]:
    """Return what a part of a page says of a visit: what it is, and its moments on the clock of the site."""
    if visit is None:
        return {}
    clock = find_clock(visit.site)
    part = read_visit_parts([visit.pk]).get(visit.pk)
    is_washing = part is not None and part.is_washing
    other = part.other if part is not None and is_washing else None
    return {
        "visit_title": gettext("Washing and drying") if is_washing else render_title(visit, part),
        "is_washing": is_washing,
        "work_starts_at": other.starts_at.astimezone(clock) if other else None,
        "starts_at": visit.starts_at.astimezone(clock),
        "ready_at": (other or visit).told_ready_at.astimezone(clock),
    }


@require_safe
@open_by(VEHICLE)
def own_page(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Show the vehicle, what is due, the visit that is booked or the times that can be."""
    return show_own_vehicle(request, visitor)


@require_safe
@open_by(VEHICLE, RECORD)
def certificate(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Print the certificate of the cover as it stands today."""
    if visitor.shown.cover is None:
        return _show_record(request, visitor, status=404)
    response = HttpResponse(
        read_certificate_pdf(visitor.shown.cover, as_of=visitor.today, language=translation.get_language()),
        content_type="application/pdf",
    )
    response["Content-Disposition"] = f'inline; filename="certificate-{visitor.shown.cover.number}.pdf"'
    return response


@require_safe
@open_by(VEHICLE, RECORD)
def record(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Show what was done at the last treatment, to be read or printed."""
    return _show_record(request, visitor)


@require_safe
@open_by(VEHICLE, RECORD)
def record_pdf(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Print the record of the last treatment."""
    treatment = find_last_treatment(visitor.page.vehicle)
    if treatment is None:
        return _show_record(request, visitor, status=404)
    language = translation.get_language() or settings.LANGUAGE_CODE
    content = read_visit_record_pdf(treatment, language=language)
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="visit-{name_visit(treatment)}.pdf"'
    return response


def _show_record(request: HttpRequest, visitor: Visitor, status: int = 200) -> HttpResponse:
    found = read_last_record(visitor.page.vehicle)
    return show_page(request, visitor, "customer/record.html", {"record": found}, status=status if found else 404)
