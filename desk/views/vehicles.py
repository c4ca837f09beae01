"""Finding a vehicle, and the page with its whole history: cover, dates, plan, work, inspections and readings."""

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import mark_safe

from claims.models import Claim
from claims.queries import list_claims_for
from desk.access import access_cover, access_vehicle, get_user, list_vehicles_for, may_open, open_to
from notifications.models import Message
from notifications.queries import (
    draw_plan,
    find_open_cover,
    list_zone_states,
    read_certificate_pdf,
    read_job_sheet_pdf,
)
from notifications.rules.drawing import render_svg
from notifications.rules.vehicle_plan import LOOKS, list_key
from scheduling.queries import CoverCase, list_covers_for, read_cover_case
from scheduling.rules.cover import NO_MORE_COVER
from treatments.models import Inspection, Role, Treatment, TreatmentLine, User, Vehicle, Zone
from treatments.queries import find_today, read_history, search_vehicles
from treatments.rules.history import VehicleHistory
from treatments.rules.material import MaterialNeed, compare_zone
from treatments.rules.odometer import flag_backwards
from treatments.rules.rust_grade import grade_rust

PER_PAGE = 30


@open_to("vehicles")
def vehicles(request: HttpRequest) -> HttpResponse:
    """Find vehicles by VIN (any part), plate, name, telephone or e-mail."""
    user = get_user(request)
    text = request.GET.get("q", "").strip()[:100]
    found = search_vehicles(text).filter(pk__in=list_vehicles_for(user).values("pk"))
    if user.role == Role.DEALERSHIP and text:
        # Names and telephones of customers are not a dealership's to search.
        found = list_vehicles_for(user).filter(vin__icontains=text) | list_vehicles_for(user).filter(
            plate__icontains=text
        )
    page = Paginator(found.order_by("vin"), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "desk/vehicles.html", {"page": page, "text": text})


# Before the first vehicle and long after the last; beyond them the calendar itself ends.
EARLIEST_DAY, LATEST_DAY = date(1900, 1, 1), date(2199, 12, 31)


def read_day(text: str, name: str, errors: list[tuple[str, str]]) -> date | None:
    """Return the day that an address asks for; a wrong one is told with the name of its field, and left out."""
    if not text:
        return None
    way_out = f"write a day from {EARLIEST_DAY} to {LATEST_DAY} as YYYY-MM-DD."
    try:
        day = date.fromisoformat(text)
    except ValueError:
        errors.append((name, f"{name} '{text}' is not a date: {way_out}"))
        return None
    if not EARLIEST_DAY <= day <= LATEST_DAY:
        errors.append((name, f"{name} '{text}' is out of range: {way_out}"))
        return None
    return day


@dataclass(frozen=True, slots=True)
class LineView:
    line: TreatmentLine
    material: str


@open_to("vehicles")
def vehicle(request: HttpRequest, vin: str) -> HttpResponse:
    """Show everything about one vehicle, as of a day and as known at a day."""
    user, now = get_user(request), timezone.now()
    found = access_vehicle(user, vin)
    errors: list[tuple[str, str]] = []
    as_of = read_day(request.GET.get("as-of", ""), "as-of", errors) or find_today(now)
    known_day = read_day(request.GET.get("known-at", ""), "known-at", errors)
    known_at = datetime.combine(known_day, time.max, tzinfo=now.tzinfo) if known_day else None
    cover = find_open_cover(found)
    if cover and not list_covers_for(user).filter(pk=cover.pk).exists():
        cover = list_covers_for(user).filter(vehicle=found).order_by("-pk").first()
    case = read_cover_case(cover, known_at=known_at) if cover else None
    history = case.history if case else read_history(found)
    items = case.read_due_items(as_of) if case else ()
    state = case.read_state(as_of) if case else None
    # Where there is no more cover nobody must come any more, whatever was left undone.
    is_over = state is not None and state.status in NO_MORE_COVER
    states = list_zone_states(found, history, () if is_over else items, as_of)
    context: dict[str, Any] = {
        "vehicle": found,
        "as_of": as_of,
        "known_day": known_day,
        "errors": errors,
        "cover": cover,
        "state": state,
        "band": _list_band(case, history, as_of) if case else [],
        "distance_ahead": case.foresee_distance(as_of) if case and not is_over else "",
        "due": [item for item in items if item.needs_doing and not is_over],
        "past_due": [item for item in reversed(items) if not item.needs_doing],
        "zone_names": dict(Zone.objects.values_list("code", "name")),
        # The drawing escapes every text that it holds.
        "plan": mark_safe(render_svg(draw_plan(found, states))),
        "key": [(row, LOOKS[row.state.status].words) for row in list_key(states)],
        "treatments": _list_treatments(found, history),
        "inspections": _list_inspections(found),
        "readings": _list_readings(history),
        "owners": _list_owners(found, user),
        "messages_sent": _list_messages(found, user),
        "claims": list_claims_for(user).filter(cover__vehicle=found) if may_open(user, "claims") else [],
        "may_book": may_open(user, "book"),
        "may_print_job_sheet": may_open(user, "job_sheet"),
        "filed": find_filed_claim(found, request.GET.get("filed", "")),
        "may_file_claim": may_open(user, "file_claims"),
        "may_print_certificate": may_open(user, "certificate"),
    }
    return render(request, "desk/vehicle.html", context)


def _list_band(case: CoverCase, history: VehicleHistory, as_of: date) -> list[Any]:
    first = history.find_first_treatment()
    return list(case.read_changes(first.day, as_of)) if first and first.day <= as_of else []


def _list_treatments(found: Vehicle, history: VehicleHistory) -> list[tuple[Treatment, list[LineView]]]:
    lines = {
        (treatment.record, line.zone, line.product, line.lot): line
        for treatment in history.treatments
        for line in treatment.lines
    }
    shown = []
    for treatment in (
        Treatment.objects.filter(vehicle=found, signed_off_at__isnull=False)
        .select_related("site", "applicator", "reading", "amended_by", "amends")
        .prefetch_related("lines__zone", "lines__product", "lines__lot")
        .order_by("-done_on", "-pk")
    ):
        views = []
        for line in treatment.lines.all():
            lot = line.lot.number if line.lot else None
            product = line.product.name if line.product else None
            plain = lines.get((f"treatment {treatment.pk}", line.zone.code, product, lot))
            views.append(LineView(line, _tell_material(plain)))
        shown.append((treatment, views))
    return shown


def _tell_material(line: Any) -> str:
    if line is None or not line.applied:
        return ""
    if line.area_m2 is None or line.target_dry_film_um is None or line.volume_solids_percent is None:
        return "cannot be told: the body style is not recorded"
    need = MaterialNeed(
        line.zone, line.area_m2, line.target_dry_film_um, line.volume_solids_percent, line.loss_fraction
    )
    finding = compare_zone(need, line.quantity_ml)
    return f"{finding.verdict}, about {finding.estimated_dry_film_um:.0f} µm dry"


def _list_inspections(found: Vehicle) -> list[tuple[Inspection, list[tuple[Any, Any]]]]:
    shown = []
    for inspection in (
        Inspection.objects.filter(vehicle=found)
        .select_related("site", "inspector")
        .prefetch_related("lines__zone", "lines__photos")
        .order_by("-done_on", "-pk")
    ):
        lines = [
            (line, grade_rust(line.rusted_area_percent) if line.rusted_area_percent is not None else None)
            for line in inspection.lines.all()
        ]
        shown.append((inspection, lines))
    return shown


def _list_readings(history: VehicleHistory) -> list[tuple[Any, str]]:
    readings = [recorded.reading for recorded in history.readings]
    flagged = {backwards.reading: backwards.sentence for backwards in flag_backwards(readings)}
    return [(reading, flagged.get(reading, "")) for reading in reversed(readings)]


def _list_owners(found: Vehicle, user: User) -> list[Any]:
    owners = list(found.ownerships.select_related("customer").order_by("-from_day"))
    if user.role == Role.DEALERSHIP:
        for owned in owners:
            owned.customer.contact = ""
    return owners


def _list_messages(found: Vehicle, user: User) -> list[Message]:
    if user.role == Role.DEALERSHIP:
        return []
    return list(Message.objects.filter(cover__vehicle=found).order_by("-created_at", "-pk")[:20])


def _answer_pdf(content: bytes, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response


@open_to("certificate")
def certificate(request: HttpRequest, number: str) -> HttpResponse:
    """Print the certificate of a cover as it stands today."""
    cover = access_cover(get_user(request), number)
    content = read_certificate_pdf(cover, as_of=find_today(timezone.now(), cover.site))
    return _answer_pdf(content, f"certificate-{cover.number}.pdf")


@open_to("job_sheet")
def job_sheet(request: HttpRequest, vin: str) -> HttpResponse:
    """Print the job sheet for a vehicle's next visit."""
    found = access_vehicle(get_user(request), vin)
    content = read_job_sheet_pdf(found, as_of=find_today(timezone.now()))
    return _answer_pdf(content, f"job-sheet-{found.vin}.pdf")


def find_filed_claim(vehicle: Vehicle, number: str) -> str:
    """Return the number of a claim just filed on the vehicle, '' for any other text in the address."""
    return number if number and Claim.objects.filter(cover__vehicle=vehicle, number=number).exists() else ""
