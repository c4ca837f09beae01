"""Finding a vehicle, and the page with all that is known of it: cover, dates, plan, zones and timeline."""

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone, translation
from django.utils.http import urlencode
from django.utils.translation import gettext, gettext_noop
from django.views.decorators.http import require_safe

from claims.models import Claim
from claims.queries import read_claim_check
from desk.forms.fields import FIRST_RECORDED, LAST_RECORDED, advise_on_search
from desk.shared.access import (
    access_cover,
    access_message,
    access_treatment,
    access_vehicle,
    access_vehicle_and_covers,
    get_user,
    list_vehicles_for,
    may_open,
    open_to,
)
from desk.shared.files import answer_pdf
from desk.vehicle.page import (
    PlanView,
    choose_cover,
    draw_plan,
    find_films,
    find_inspection,
    list_recalled_lots,
    list_zone_rows,
    read_band,
    read_vehicle_view,
)
from desk.vehicle.records import Owner
from desk.vehicle.timeline import EntryKind, Past, read_timeline
from notifications.documents.certificates import read_certificate_pdf, read_owners_on
from notifications.documents.job_sheets import read_job_sheet_pdf
from notifications.documents.letters import describe_message, render_letters
from notifications.documents.visit_records import name_visit, read_visit_record_pdf
from notifications.languages import choose_language
from scheduling.visibility import may_see_owner_on
from treatments.enums import Answer
from treatments.models import User, Vehicle
from treatments.queries import find_clock, find_end_of_day_at, find_today
from treatments.reference.queries import find_site_of, map_zone_names
from treatments.rules.explanation import Explanation
from treatments.rules.formats import ENGLISH
from treatments.search.queries import list_found_vehicles, list_with_plate_or_vin
from treatments.vehicles.rules.coatable import ANSWER_FIRST, find_propulsion

PER_PAGE = 30

# What who files a claim can still ask the customer about: whether the day of discovery can be right.
DAYS_TO_ASK_ABOUT = ("in_force", "in_service")


@dataclass(frozen=True, slots=True)
class FiledClaim:
    """A claim just filed, with what speaks against its day of discovery."""

    number: str
    doubtful: tuple[tuple[Explanation, ...], ...]


@open_to("vehicles")
@require_safe
def vehicles(request: HttpRequest) -> HttpResponse:
    """Find vehicles by VIN (any part), plate, name, telephone or e-mail."""
    user = get_user(request)
    text, after = (
        request.GET.get("q", "").replace("\x00", "").strip()[:100],
        request.GET.get("after", "").replace("\x00", "")[:20],
    )
    if user.is_dealership:
        # Names and telephones of customers are not a dealership's to search.
        found = list_vehicles_for(user).filter(vin__gt=after.upper())
        if text:
            found = list_with_plate_or_vin(found, text)
        shown = list(found.order_by("vin")[: PER_PAGE + 1])
    else:
        # By the place of the last row: neither a count nor a later page reads what is not shown.
        shown = list_found_vehicles(text, after=after.upper(), size=PER_PAGE + 1)
    context = {
        "vehicles": shown[:PER_PAGE],
        # What else is on record is not a dealership's to know.
        "advice": None if shown or user.is_dealership else advise_on_search(text),
        "finds_people": not user.is_dealership,
        "text": text,
        "after": after,
        "next": shown[PER_PAGE - 1].vin if len(shown) > PER_PAGE else "",
        "query": urlencode({"q": text}) if text else "",
    }
    return render(request, "vehicle/vehicles.html", context)


# As the page names them.
DAY_LABELS = {
    "as-of": gettext_noop("On the day"),
    "on": gettext_noop("On the day"),
    "known-at": gettext_noop("As known on"),
}


def read_day(text: str, name: str, errors: list[tuple[str, str]]) -> date | None:
    """Return the day that an address asks for; a wrong one is told with the name of its field, and left out."""
    if not text:
        return None
    reach = {
        "name": gettext(DAY_LABELS[name]),
        "text": text,
        "first": FIRST_RECORDED.isoformat(),
        "last": LAST_RECORDED.isoformat(),
    }
    try:
        day = date.fromisoformat(text)
    except ValueError:
        wrong = gettext("%(name)s '%(text)s' is not a date: write a day from %(first)s to %(last)s as YYYY-MM-DD.")
        errors.append((name, wrong % reach))
        return None
    if not FIRST_RECORDED <= day <= LAST_RECORDED:
        wrong = gettext("%(name)s '%(text)s' is out of range: write a day from %(first)s to %(last)s as YYYY-MM-DD.")
        errors.append((name, wrong % reach))
        return None
    return day


@open_to("vehicles")
@require_safe
def vehicle(request: HttpRequest, vin: str) -> HttpResponse:
    """Show everything about one vehicle, as of a day and as known at a day."""
    user, now = get_user(request), timezone.now()
    found, covers = access_vehicle_and_covers(user, vin)
    asked = request.GET
    errors: list[tuple[str, str]] = []
    # The days of the page are those at the site of the cover that it shows; moments are shown on the person's clock.
    shown = choose_cover(covers, user)
    site, clock = shown.site if shown else find_site_of(user), find_clock(find_site_of(user))
    today = find_today(now, site)
    # Its older name is still read, since addresses with it were sent and kept.
    day_name = "as-of" if "as-of" in asked else "on"
    as_of = read_day(asked.get(day_name, ""), day_name, errors) or today
    known_day = read_day(asked.get("known-at", ""), "known-at", errors)
    known_at = find_end_of_day_at(known_day, site) if known_day else None
    view = read_vehicle_view(found, covers, user, as_of, known_at)
    band, changes = read_band(view, today)
    wanted = PlanView.RUST if asked.get("show") == PlanView.RUST else PlanView.FILM
    films = find_films(view)
    inspection = find_inspection(view.history, as_of, asked.get("inspection", ""))
    chosen = [EntryKind(kind) for kind in asked.getlist("kind") if kind in list(EntryKind)]
    page = asked.get("page", "")
    timeline = read_timeline(
        Past(user, view.covers, view.records, view.history, changes, clock),
        chosen=chosen,
        page=int(page[:6]) if page.isdecimal() else 1,
        at=asked.get("at", ""),
    )
    context: dict[str, Any] = {
        "vehicle": found,
        "view": view,
        "as_of": as_of,
        "today": today,
        "clock": clock,
        "day_name": day_name,
        "known_day": known_day,
        "errors": errors,
        "propulsion": find_propulsion(view.history.facts, as_of),
        "answer_first": ANSWER_FIRST,
        "cover": view.cover,
        "state": view.state,
        "band": band,
        "distance_ahead": view.case.foresee_distance(as_of) if view.case and not view.is_over else (),
        "due": [item for item in view.items if item.needs_doing and not view.is_over],
        "past_due": [item for item in reversed(view.items) if not item.needs_doing],
        "zone_names": map_zone_names(),
        "show": wanted,
        "plan": draw_plan(view, films, inspection, wanted),
        "rows": list_zone_rows(view.states, films, view.history.current_inspections, inspection, as_of),
        "inspection": inspection,
        "inspections": [(one.record.rpartition(" ")[2], one) for one in reversed(view.history.current_inspections)],
        "timeline": timeline,
        "kinds": [(kind, count, kind in chosen) for kind, count in timeline.counts.items()],
        "kept_query": keep_query(request, ("kind", "page", "at")),
        "page_query": keep_query(request, ("page", "at")),
        "owner": _find_owner(timeline.owners, user),
        "recalled": list_recalled_lots(view),
        "filed": find_filed_claim(found, asked.get("filed", "")) if may_open(user, "file_claims") else None,
        "may": {
            name: may_open(user, name)
            for name in ("book", "record_work", "job_sheet", "file_claims", "certificate", "visit_record", "work",
                         "bays", "claims", "stock", "change_record", "link_uses", "remind")
        },
    }  # fmt: skip
    return render(request, "vehicle/vehicle.html", context)


def keep_query(request: HttpRequest, without: tuple[str, ...]) -> list[tuple[str, str]]:
    """Return what the address asks for besides some fields, as names and values for the hidden fields of a form."""
    return [(name, value) for name, values in request.GET.lists() if name not in without for value in values]


def _find_owner(owners: list[Owner], user: User) -> Owner | None:
    """Return the owner now, of those that the person may see; how to reach one is not a dealership's to know."""
    owner = next((owner for owner in owners if owner.until_day is None), None)
    return replace(owner, contact="") if owner and user.is_dealership else owner


@open_to("certificate")
@require_safe
def certificate(request: HttpRequest, number: str) -> HttpResponse:
    """Print the certificate of a cover as it stands today."""
    user = get_user(request)
    cover = access_cover(user, number)
    today = find_today(timezone.now(), cover.site)
    content = read_certificate_pdf(cover, as_of=today, names_owner=may_see_owner_on(user, cover, today))
    return answer_pdf(content, f"certificate-{cover.number}.pdf")


@open_to("visit_record")
@require_safe
def visit_record(request: HttpRequest, key: int) -> HttpResponse:
    """Print the record of a visit, as the vehicle's owner keeps it."""
    treatment = access_treatment(get_user(request), key)
    if treatment.signed_off_at is None:
        raise Http404(f"Treatment {key} is a draft; it is no record yet.")
    owned = read_owners_on([treatment.vehicle_id], treatment.done_on).get(treatment.vehicle_id)
    language = choose_language(owned.customer) if owned else translation.get_language() or ENGLISH
    return answer_pdf(read_visit_record_pdf(treatment, language=language), f"visit-record-{name_visit(treatment)}.pdf")


@open_to("job_sheet")
@require_safe
def job_sheet(request: HttpRequest, vin: str) -> HttpResponse:
    """Print the job sheet for a vehicle's next visit."""
    user = get_user(request)
    found = access_vehicle(user, vin)
    today = find_today(timezone.now(), find_site_of(user))
    content = read_job_sheet_pdf(found, as_of=today)
    return answer_pdf(content, f"job-sheet-{found.vin}.pdf")


@open_to("remind")
@require_safe
def message_letter(request: HttpRequest, key: int) -> HttpResponse:
    """Print a message as it was written as a letter, for a customer who would rather have paper."""
    message = access_message(key)
    return answer_pdf(render_letters([describe_message(message)]), f"letter-{message.pk}.pdf")


def find_filed_claim(vehicle: Vehicle, number: str) -> FiledClaim | None:
    """Return what is told of a claim just filed on the vehicle, None for any other text in the address."""
    claim = Claim.objects.filter(cover__vehicle=vehicle, number=number).first() if number else None
    if claim is None:
        return None
    doubtful = [
        finding.explanations
        for finding in (read_claim_check(claim).findings if claim.discovered_on else ())
        if finding.rule in DAYS_TO_ASK_ABOUT and finding.answer is not Answer.HOLDS
    ]
    return FiledClaim(claim.number, tuple(doubtful))
