"""Rust as a customer reports it by a link: where, what, since when, with photos. It becomes a claim, which a person
decides; the page says so, and what happens next.
"""

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from claims.models import Claim
from claims.refusals import ClaimError
from desk.customer.forms import RustForm
from desk.customer.sent import find_own_arrived, record_own_once
from desk.customer.visitor import Visitor, open_by, show_page
from desk.lift.views_sent import make_form_key
from desk.shared.shown import find_shown_at, list_changes, shown_for
from desk.shared.shown_records import of_own_cover
from notifications.customer_page.claims import list_own_claims, report_rust
from notifications.customer_page.links import make_claim_token
from notifications.documents.plan.plan_drawing import Look, ZoneMark, draw_plan_of
from notifications.documents.rules.drawing import render_svg
from notifications.enums import LinkPurpose
from treatments.enums import DamageKind, ZoneKind
from treatments.models import Zone
from treatments.reference.queries import list_claimable_zones
from treatments.shared.idempotency import OtherContentError
from treatments.shared.labels import translate_catalogue
from treatments.shared.shown import ChangedSinceShownError

# Where on the vehicle, in words of somebody who does not work on bodies; in the order in which people look.
PLACES: tuple[tuple[ZoneKind, object], ...] = (
    (ZoneKind.WHEEL_WELL, gettext_lazy("Around the wheels")),
    (ZoneKind.OPENING_PANEL, gettext_lazy("Doors, bonnet and tailgate")),
    (ZoneKind.SEAM, gettext_lazy("Seams, lips and edges")),
    (ZoneKind.EXPOSED_UNDERSIDE, gettext_lazy("Underneath")),
    (ZoneKind.ENCLOSED_CAVITY, gettext_lazy("Sills, frame and pillars")),
    (ZoneKind.ENGINE_BAY, gettext_lazy("Engine bay")),
    (ZoneKind.LOAD_SPACE, gettext_lazy("Load space")),
    (ZoneKind.NEVER_COATED, gettext_lazy("Parts that are never coated, such as exhaust and brakes")),
)
SAME_DAMAGE = "refused.same_damage"


@require_http_methods(["GET", "HEAD", "POST"])
@open_by(LinkPurpose.REPORT_RUST)
@shown_for(of_own_cover, in_view=True)
def rust(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Ask what rust there is, and take it in as a claim on POST."""
    cover = visitor.shown.cover
    if cover is None:
        return show_page(request, visitor, "customer/rust_no_cover.html", {}, status=404)
    zones = list_claimable_zones(cover.vehicle.body_style)
    asks_why = "same_damage_reason" in request.POST
    form = RustForm(request.POST or None, request.FILES or None, zones=zones, asks_why=asks_why)
    if request.method != "POST":
        return _show(request, visitor, form, zones)
    purpose, status = f"rust on cover {cover.pk}", 400
    try:
        arrived = find_own_arrived(request, visitor, purpose)
        if arrived:
            return _lead_to(visitor, arrived.outcome)
        if list_changes(request):
            raise ChangedSinceShownError([])
        if form.is_valid():
            sent = form
            received = record_own_once(request, visitor, purpose, lambda: _report(request, visitor, sent, zones).number)
            return _lead_to(visitor, received.outcome)
    except ChangedSinceShownError:
        form.is_valid()
        form.add_error(None, _("Something about this vehicle changed after the page was shown. Send it again."))
        status = 409
    except OtherContentError as error:
        form.is_valid()
        form.add_error(None, error.messages)
        status = 409
    except ClaimError as error:
        if error.explanation.code == SAME_DAMAGE and not asks_why:
            form = RustForm(request.POST, request.FILES, zones=zones, asks_why=True)
            form.fields["same_damage_reason"].required = False
            form.is_valid()
            told = _(
                "A claim names this damage at one of these places already. Send your photos to that claim, or say why "
                "this is another damage."
            )
            form.add_error("same_damage_reason", told)
        else:
            _add(form, error)
    except ValidationError as error:
        form.is_valid()
        _add(form, error)
    return _show(request, visitor, form, zones, status=status)


def _add(form: RustForm, error: ValidationError) -> None:
    """Show an error at its field, where the form has it."""
    by_field = error.error_dict if hasattr(error, "error_dict") else {"": error.error_list}
    for name, errors in by_field.items():
        form.add_error(name if name in form.fields else None, errors)


def _report(request: HttpRequest, visitor: Visitor, form: RustForm, zones: list[Zone]) -> Claim:
    values = form.cleaned_data
    cover = visitor.shown.cover
    assert cover is not None
    return report_rust(
        cover=cover,
        zones=[zone for zone in zones if zone.code in values["zones"]],
        damage=DamageKind(values["damage"]),
        reported_on=visitor.today,
        discovered_on=values["discovered_on"],
        description=values["description"],
        same_damage_reason=values.get("same_damage_reason", ""),
        photos=[(photo, photo.name or "photo") for photo in values["photos"]],
        now=visitor.now,
        shown_at=find_shown_at(request),
    )


def _lead_to(visitor: Visitor, number: str) -> HttpResponse:
    """Lead to the page of the claim that came of the report."""
    claim = next(one for one in list_own_claims(visitor.customer, visitor.page.vehicle) if one.number == number)
    return redirect(f"{reverse('desk:own_claim', args=[make_claim_token(visitor.customer, claim)])}?done=reported")


def _show(request: HttpRequest, visitor: Visitor, form: RustForm, zones: list[Zone], status: int = 200) -> HttpResponse:
    chosen = set(form["zones"].value() or ())
    numbers = {zone.code: number for number, zone in enumerate(zones, start=1)}
    groups = [
        (words, [(zone, numbers[zone.code]) for zone in zones if zone.kind == kind])
        for kind, words in PLACES
        if any(zone.kind == kind for zone in zones)
    ]
    claims = list_own_claims(visitor.customer, visitor.page.vehicle)
    context = {
        "form": form,
        "groups": groups,
        "chosen": chosen,
        "plan": _draw(zones, numbers),
        "form_key": make_form_key(request),
        "claims": [(claim, make_claim_token(visitor.customer, claim)) for claim in claims],
    }
    return show_page(request, visitor, "customer/rust.html", context, status=status)


def _draw(zones: list[Zone], numbers: dict[str, int]) -> str:
    """Return the drawing of the vehicle with the numbers of the places."""
    look = Look("", "#ffffff", "#5c6766")
    marks = [ZoneMark(zone.code, look, numbers[zone.code], translate_catalogue(zone.name)) for zone in zones]
    title = _("Where each number is")
    description = _("The vehicle from below, front at the top, both sides beside it. Each place has its number.")
    # All text in it is escaped by render_svg.
    return mark_safe(render_svg(draw_plan_of(marks, [], title=title, description=description)))
