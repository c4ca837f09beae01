"""What a customer does to visits by the link of a vehicle: choose a time, move, cancel, and put one into a calendar."""

from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import translation
from django.utils.translation import gettext
from django.views.decorators.http import require_http_methods, require_safe

from desk.booking.own_times import ChosenTime, read_chosen_time
from desk.customer.offers import make_offers, render_why
from desk.customer.views import render_visit, show_own_vehicle
from desk.customer.visitor import Visitor, open_by, show_page
from desk.forms.fields import read_whole
from desk.shared.shown import list_changes, shown_for
from desk.shared.shown_records import of_own_visits
from notifications.enums import LinkPurpose
from notifications.invitations.rules.calendar_text import write_download
from notifications.invitations.visit_text import read_visit_parts, show_to_customer
from notifications.tasks import nudge_to_send_visit_news
from scheduling.booking.own_visits import book_own_visit, cancel_own_visit, may_change, move_own_visit
from scheduling.booking.placing import ChangedMeanwhileError, SlotTakenError
from scheduling.models import Bay
from treatments.models import User
from treatments.queries import find_today

VEHICLE = LinkPurpose.VEHICLE
MOST_OF_A_REASON = 200


@require_safe
@open_by(VEHICLE)
def other_times(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Show the times to which the visit can be moved."""
    return show_own_vehicle(request, visitor, moving=True)


@require_http_methods(["GET", "HEAD", "POST"])
@open_by(VEHICLE)
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
        return show_own_vehicle(request, visitor, errors=[told], status=410)
    if request.method != "POST":
        context = {
            "chosen": chosen,
            "slot": slot,
            "visit": visit,
            "why": render_why(visitor, find_today(chosen.starts_at, visitor.shown.site)),
        }
        return show_page(request, visitor, "customer/confirm.html", context)
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
        offers = make_offers(visitor, taken.alternatives, visit)
        told = gettext("Somebody was first and took this time. Choose one of the next times that are free.")
        if not offers:
            told = gettext("Somebody was first and took this time. Choose another day, or call us.")
        return show_own_vehicle(
            request, visitor, moving=visit is not None, errors=[told], offers=offers or None, status=409
        )
    except ChangedMeanwhileError:
        return _show_changed(request, visitor)
    except ValidationError as error:
        return show_own_vehicle(request, visitor, moving=visit is not None, errors=error.messages, status=400)
    nudge_to_send_visit_news()
    return _redirect(visitor, "moved" if visit is not None else "booked")


def _show_changed(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    told = gettext("We changed this visit meanwhile. This is how it is now.")
    return show_own_vehicle(request, visitor, errors=[told], status=409)


def _redirect(visitor: Visitor, done: str) -> HttpResponse:
    response = redirect("desk:own_page", token=visitor.token)
    response["Location"] += f"?done={done}"
    return response


@require_http_methods(["GET", "HEAD", "POST"])
@open_by(VEHICLE)
@shown_for(of_own_visits, in_view=True)
def cancel(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Ask whether to cancel a visit, and cancel it on POST; nobody has to say why."""
    visit = visitor.visit
    until_hours = settings.CUSTOMER_CHANGES_UNTIL_HOURS
    if visit is None or not may_change(visit, now=visitor.now, until_hours=until_hours):
        # Cancelled in another window, say; who only follows an old link is shown how it is.
        told = gettext("This visit can't be cancelled here any more. This is how it is now.")
        errors = [told] if request.method == "POST" else []
        return show_own_vehicle(request, visitor, errors=errors, status=409 if errors else 200)
    if list_changes(request):
        return _show_changed(request, visitor)
    if request.method == "POST":
        reason = request.POST.get("reason", "").strip()
        if len(reason) > MOST_OF_A_REASON:
            told = gettext("The reason has %(count)s characters: write at most %(most)s.")
            error = told % {"count": len(reason), "most": MOST_OF_A_REASON}
            context = {"visit": visit, "reason": reason, "errors": [error], **render_visit(visit)}
            return show_page(request, visitor, "customer/cancel.html", context, status=400)
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
        except ValidationError as error:
            return show_own_vehicle(request, visitor, errors=error.messages, status=400)
        nudge_to_send_visit_news()
        return _redirect(visitor, "cancelled")
    return show_page(request, visitor, "customer/cancel.html", {"visit": visit, **render_visit(visit)})


def _read_number(text: str) -> int:
    """Return a number that the page itself wrote into its form; what is none was never seen, so nothing matches it."""
    number = read_whole(text, digits=8)
    return -1 if number is None else number


@require_safe
@open_by(VEHICLE)
def visit_file(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Hand out the visit for a calendar; it has the UID of the invitation, so that it never stands there twice."""
    if visitor.visit is None:
        return show_own_vehicle(request, visitor, status=404)
    language = translation.get_language() or settings.LANGUAGE_CODE
    part = read_visit_parts([visitor.visit.pk]).get(visitor.visit.pk)
    text = write_download(show_to_customer(visitor.visit, part), language=language, now=visitor.now)
    response = HttpResponse(text, content_type="text/calendar; charset=utf-8; method=PUBLISH")
    response["Content-Disposition"] = 'attachment; filename="visit.ics"'
    return response
