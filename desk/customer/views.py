"""A customer's own page of one vehicle, opened by a signed link and without an account: book, move, cancel, take along.

What a customer may do and when, ``scheduling.booking.own_visits`` decides; the link is the permission.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.conf import settings
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext
from django.views.decorators.http import require_http_methods, require_safe

from desk.booking.forms import EARLIEST
from desk.booking.own_times import ChosenTime, read_chosen_time, sign_time
from desk.forms.fields import read_whole
from desk.shared.access import access_own_page
from desk.shared.shown import list_changes, note_position, shown_for
from desk.shared.shown_records import of_own_visits
from notifications.customer_page.queries import OwnPage, OwnVehicle, make_stop_token, read_last_record, read_own_vehicle
from notifications.documents.queries import read_certificate_pdf
from notifications.invitations.rules.calendar_text import write_download
from notifications.invitations.visit_text import read_visit_parts, render_title, show_to_customer
from notifications.languages import choose_language
from notifications.tasks import nudge_to_send_visit_news
from scheduling.booking.finding import propose_slots
from scheduling.booking.own_visits import book_own_visit, cancel_own_visit, may_change, move_own_visit
from scheduling.booking.placing import ChangedMeanwhileError, SlotTakenError
from scheduling.booking.rules.opening import round_up_ready
from scheduling.booking.rules.slots import Preferences, Slot, explain_slot, judge_day
from scheduling.enums import VisitKind
from scheduling.models import Appointment, Bay
from treatments.models import Site, User
from treatments.queries import find_clock, find_today
from treatments.reference.queries import map_zone_names
from treatments.rules.site_days import MIDNIGHT, find_moment
from treatments.rules.site_settings import find_zone
from treatments.shared.rendering import render as render_explanation

# As far ahead as the search itself looks by default, and as far as anybody plans.
FARTHEST = timedelta(days=550)
PARTS_OF_DAY = ("morning", "afternoon")


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who is looking, at what, and when."""

    token: str
    page: OwnPage
    shown: OwnVehicle
    now: datetime

    @property
    def visit(self) -> Appointment | None:
        return self.shown.visit

    @property
    def today(self) -> date:
        return find_today(self.now, self.shown.site)


P = ParamSpec("P")


def for_its_owner(
    view: Callable[Concatenate[HttpRequest, Visitor, P], HttpResponse],
) -> Callable[Concatenate[HttpRequest, str, P], HttpResponse]:
    """Open a view to whoever has the link of the vehicle's owner, in the owner's language and the site's time."""

    @wraps(view)
    def guarded(request: HttpRequest, token: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        try:
            page = access_own_page(token)
        except Http404:
            # Of several sites nobody knows which one this visitor belongs to.
            sites = Site.objects.exclude(phone="").order_by("pk")[:2]
            context = {"phone": sites[0].phone if len(sites) == 1 else ""}
            return _keep_private(render(request, "customer/unknown.html", context, status=404))
        now = timezone.now()
        note_position(request)
        # Who chose a language on a page before gets that one.
        chosen = settings.LANGUAGE_COOKIE_NAME in request.COOKIES
        language = translation.get_language() if chosen else choose_language(page.customer)
        with translation.override(language):
            shown = read_own_vehicle(page, now=now)
            with timezone.override(find_zone(shown.site.time_zone)):
                return _keep_private(view(request, Visitor(token, page, shown, now), *args, **kwargs))

    return cast("Callable[Concatenate[HttpRequest, str, P], HttpResponse]", guarded)


def _keep_private(response: HttpResponse) -> HttpResponse:
    """Keep the address, which is a key, from search engines and other hosts, and the page from shared caches."""
    response["Referrer-Policy"] = "same-origin"
    response["X-Robots-Tag"] = "noindex, nofollow"
    response["Cache-Control"] = "private, no-store"
    return response


@dataclass(frozen=True, slots=True)
class Offer:
    """One time as a button: when and until when on the clock of the site, why, and where it leads."""

    starts_at: datetime
    ready_at: datetime
    why: str
    address: str


@dataclass(slots=True)
class Wishes:
    """What a customer asks for by the address of the page."""

    part: str = ""
    order: str = ""
    from_text: str = ""
    from_day: date | None = None
    error: str = ""


def _read_wishes(request: HttpRequest, today: date) -> Wishes:
    asked = request.GET
    wishes = Wishes(asked.get("part", ""), asked.get("order", ""), asked.get("from", "").strip()[:20])
    if wishes.part not in PARTS_OF_DAY:
        wishes.part = ""
    if wishes.from_text:
        try:
            day = date.fromisoformat(wishes.from_text)
        except ValueError:
            day = None
        if day is None or not today <= day <= today + FARTHEST:
            wishes.error = gettext("“%(day)s” is not a day from today on. Write it like %(example)s.") % {
                "day": wishes.from_text,
                "example": today + timedelta(days=7),
            }
        wishes.from_day = None if wishes.error else day
    return wishes


def _propose(visitor: Visitor, wishes: Wishes, moved: Appointment | None) -> list[Offer]:
    """Return the best few times; none where none is free or the shop has not written down how long a visit takes."""
    site = visitor.shown.site
    earliest = visitor.now + timedelta(hours=settings.CUSTOMER_CHANGES_UNTIL_HOURS)
    if wishes.from_day:
        midnight = find_moment(wishes.from_day, MIDNIGHT, find_zone(site.time_zone))
        earliest = max(earliest, midnight)
    try:
        proposed = propose_slots(
            vehicle=visitor.page.vehicle,
            cover=visitor.shown.cover,
            sites=[site],
            now=visitor.now,
            from_moment=earliest,
            preferences=Preferences(part_of_day=wishes.part, earliest=wishes.order == EARLIEST),
            visit=VisitKind(moved.visit) if moved else None,
            moved=moved,
            due=visitor.shown.to_serve,
            known=visitor.shown.known,
        )
    except ValidationError:
        return []
    return _offer(visitor, proposed.slots, moved)


def _offer(visitor: Visitor, slots: Sequence[Slot], moved: Appointment | None) -> list[Offer]:
    # Nobody is shown the same signed time twice, so no address of one is worth keeping; each differs in the last part.
    before, _hole, after = reverse("desk:own_time", args=[visitor.token, "TIME"]).rpartition("TIME")
    zone = find_clock(visitor.shown.site)
    return [
        Offer(
            slot.starts_at.astimezone(zone),
            round_up_ready(slot.ready_at.astimezone(zone)),
            _render_why(visitor, slot.day),
            f"{before}{sign_time(slot, visitor.page.vehicle, moved)}{after}",
        )
        for slot in slots
        if moved is None or slot.starts_at != moved.starts_at
    ]


def _render_why(visitor: Visitor, day: date) -> str:
    """Return how a day stands to what is due; which bay it is and why that one is the shop's own affair."""
    items = visitor.shown.due_dates
    return render_explanation(explain_slot(judge_day(items, day, visitor.today).explanation)) if items else ""


def _show(
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
    wishes = _read_wishes(request, visitor.today)
    may = visit is not None and may_change(visit, now=visitor.now, until_hours=settings.CUSTOMER_CHANGES_UNTIL_HOURS)
    moving = moving and may
    with_times = moving or (visit is None and visitor.shown.bookable)
    if with_times and offers is None:
        offers = _propose(visitor, wishes, visit if moving else None)
    context = {
        "token": visitor.token,
        "shown": visitor.shown,
        "visit": visit,
        "zone_names": map_zone_names(),
        **_render_visit(visit),
        "may_change": may,
        "until_hours": settings.CUSTOMER_CHANGES_UNTIL_HOURS,
        "moving": moving,
        "with_times": with_times,
        "offers": offers or [],
        "wishes": wishes,
        "errors": list(errors),
        "done": request.GET.get("done", "") if not errors else "",
        "stop_token": make_stop_token(visitor.page.customer),
        "stopped": visitor.page.customer.messages_stopped_at is not None,
        "has_email": bool(visitor.page.customer.email),
    }
    name = "customer/times.html" if moving else "people/customer.html"
    return render(request, name, context, status=status)


def _render_visit(visit: Appointment | None) -> dict[str, Any]:
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
@for_its_owner
def own_page(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Show the vehicle, what is due, the visit that is booked or the times that can be."""
    return _show(request, visitor)


@require_safe
@for_its_owner
def other_times(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Show the times to which the visit can be moved."""
    return _show(request, visitor, moving=True)


@require_http_methods(["GET", "HEAD", "POST"])
@for_its_owner
@shown_for(of_own_visits, in_view=True)
def chosen_time(request: HttpRequest, visitor: Visitor, slot: str) -> HttpResponse:
    """Ask whether to take a time that was proposed; take it on POST."""
    chosen = read_chosen_time(slot, visitor.page.vehicle)
    visit = visitor.visit
    if visit is not None and chosen is not None and visit.starts_at == chosen.starts_at:
        # The button was pressed twice, or the page was opened again: it is done already.
        return _redirect(visitor, "moved" if chosen.is_move else "booked")
    if chosen is None or chosen.moves != (visit.pk if visit else None):
        told = gettext("These times are out of date. Choose one of the times below.")
        return _show(request, visitor, errors=[told], status=410)
    if request.method != "POST":
        context = {
            "token": visitor.token,
            "shown": visitor.shown,
            "chosen": chosen,
            "slot": slot,
            "visit": visit,
            "why": _render_why(visitor, find_today(chosen.starts_at, visitor.shown.site)),
        }
        return render(request, "customer/confirm.html", context)
    if list_changes(request):
        return _show_changed(request, visitor)
    return _take(request, visitor, chosen)


def _take(request: HttpRequest, visitor: Visitor, chosen: ChosenTime) -> HttpResponse:
    visit = visitor.visit
    common: dict[str, Any] = {
        "customer": visitor.page.customer,
        "bay": Bay.objects.select_related("site").get(pk=chosen.bay),
        "person": User.objects.get(pk=chosen.person) if chosen.person else None,
        "starts_at": chosen.starts_at,
        "until_hours": settings.CUSTOMER_CHANGES_UNTIL_HOURS,
        "now": visitor.now,
    }
    try:
        if visit is not None:
            move_own_visit(visit=visit, seen_sequence=chosen.sequence, why=chosen.why, **common)
        else:
            book_own_visit(vehicle=visitor.page.vehicle, cover=visitor.shown.cover, why=chosen.why, **common)
    except SlotTakenError as taken:
        offers = _offer(visitor, taken.alternatives, visit)
        told = gettext("Somebody was first and took this time. Choose one of the next times that are free.")
        if not offers:
            told = gettext("Somebody was first and took this time. Choose another day, or call us.")
        return _show(request, visitor, moving=visit is not None, errors=[told], offers=offers or None, status=409)
    except ChangedMeanwhileError:
        return _show_changed(request, visitor)
    except ValidationError as error:
        return _show(request, visitor, moving=visit is not None, errors=error.messages, status=400)
    nudge_to_send_visit_news()
    return _redirect(visitor, "moved" if visit is not None else "booked")


def _show_changed(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    told = gettext("We changed this visit meanwhile. This is how it is now.")
    return _show(request, visitor, errors=[told], status=409)


def _redirect(visitor: Visitor, done: str) -> HttpResponse:
    response = redirect("desk:own_page", token=visitor.token)
    response["Location"] += f"?done={done}"
    return response


@require_http_methods(["GET", "HEAD", "POST"])
@for_its_owner
@shown_for(of_own_visits, in_view=True)
def cancel(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Ask why a visit is to be cancelled, and cancel it on POST."""
    visit = visitor.visit
    until_hours = settings.CUSTOMER_CHANGES_UNTIL_HOURS
    if visit is None or not may_change(visit, now=visitor.now, until_hours=until_hours):
        # Cancelled in another window, say; who only follows an old link is shown how it is.
        told = gettext("This visit can't be cancelled here any more. This is how it is now.")
        errors = [told] if request.method == "POST" else []
        return _show(request, visitor, errors=errors, status=409 if errors else 200)
    reason, errors = "", []
    if list_changes(request):
        return _show_changed(request, visitor)
    if request.method == "POST":
        reason = request.POST.get("reason", "").strip()[:200]
        try:
            cancel_own_visit(
                customer=visitor.page.customer,
                visit=visit,
                reason=reason,
                seen_sequence=_read_number(request.POST.get("sequence", "")),
                until_hours=until_hours,
                now=visitor.now,
            )
        except ChangedMeanwhileError:
            return _show_changed(request, visitor)
        except ValidationError:
            errors = [gettext("Say in a few words why, so that we know.")]
        else:
            nudge_to_send_visit_news()
            return _redirect(visitor, "cancelled")
    context = {
        "token": visitor.token,
        "shown": visitor.shown,
        "visit": visit,
        **_render_visit(visit),
        "reason": reason,
        "errors": errors,
    }
    return render(request, "customer/cancel.html", context, status=400 if errors else 200)


def _read_number(text: str) -> int:
    """Return a number that the page itself wrote into its form; what is none was never seen, so nothing matches it."""
    number = read_whole(text, digits=8)
    return -1 if number is None else number


@require_safe
@for_its_owner
def visit_file(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Hand out the visit for a calendar; it has the UID of the invitation, so that it never stands there twice."""
    if visitor.visit is None:
        return _show(request, visitor, status=404)
    language = translation.get_language() or settings.LANGUAGE_CODE
    part = read_visit_parts([visitor.visit.pk]).get(visitor.visit.pk)
    text = write_download(show_to_customer(visitor.visit, part), language=language, now=visitor.now)
    response = HttpResponse(text, content_type="text/calendar; charset=utf-8; method=PUBLISH")
    response["Content-Disposition"] = 'attachment; filename="visit.ics"'
    return response


@require_safe
@for_its_owner
def certificate(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Print the certificate of the cover as it stands today."""
    if visitor.shown.cover is None:
        return _show(request, visitor, status=404)
    response = HttpResponse(
        read_certificate_pdf(visitor.shown.cover, as_of=visitor.today, language=translation.get_language()),
        content_type="application/pdf",
    )
    response["Content-Disposition"] = f'inline; filename="certificate-{visitor.shown.cover.number}.pdf"'
    return response


@require_safe
@for_its_owner
def record(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Show what was done at the last treatment, to be read or printed."""
    found = read_last_record(visitor.page.vehicle)
    context = {"token": visitor.token, "shown": visitor.shown, "record": found}
    return render(request, "customer/record.html", context, status=200 if found else 404)
