"""Booking many covers at once: first the time of each is shown and counted, then a second press books them."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from desk.booking.book_many_rows import list_rows
from desk.booking.forms import EARLIEST, ORDERS
from desk.booking.page import Errors, list_faults
from desk.booking.slots import read_times, sign_times
from desk.shared.access import get_user, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_chosen_covers
from scheduling.booking.many import MOST_AT_ONCE, BookedOne, ChosenTime, book_many, propose_many
from scheduling.covers.queries import find_covers
from scheduling.models import Cover
from treatments.models import User
from treatments.rules.explanation import explain


@open_to("book")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_chosen_covers)
def book_chosen(request: HttpRequest) -> HttpResponse:
    """Show a time for each chosen cover; on the second press book those that are still ticked.

    The covers come as ``cover`` (numbers, once for each), from the due list's form or in the address.
    """
    user, now = get_user(request), timezone.now()
    given = request.POST if request.method == "POST" else request.GET
    numbers = list(dict.fromkeys(given.getlist("cover")))
    covers = find_covers(user, numbers[:MOST_AT_ONCE])
    if request.method == "POST" and "book" in request.POST and numbers:
        booked, unread = _book(request, covers, user, now)
        done = {
            "booked": [one for one in booked if one.appointment],
            "refused": [*(one for one in booked if not one.appointment), *unread],
        }
        return render(request, "booking/book_many_done.html", done)
    order = given.get("order", "")
    errors: Errors = []
    if not numbers:
        errors.append(("", _("No vehicle is chosen: go back and tick at least one.")))
    if len(numbers) > MOST_AT_ONCE:
        message = _("%(count)s covers are chosen and %(most)s can be booked at once; here are the first %(most)s.")
        errors.append(("", message % {"count": len(numbers), "most": MOST_AT_ONCE}))
    known = {cover.number for cover in covers}
    unknown = [number for number in numbers[:MOST_AT_ONCE] if number not in known]
    if unknown:
        errors.append(("", _("There is no cover %(numbers)s here.") % {"numbers": ", ".join(unknown)[:200]}))
    try:
        wanted = propose_many(covers=covers, now=now, earliest=order == EARLIEST)
    except ValidationError as error:
        wanted = []
        errors += list_faults(error)
    slots = {one.cover.pk: one.slot for one in wanted if one.slot}
    context = {
        "rows": list_rows(wanted),
        "times": sign_times(slots),
        "can_count": len(slots),
        "refused": [one for one in wanted if not one.slot],
        "errors": errors,
        "chosen_count": len(covers),
        "covers": covers,
        "order": order,
        "orders": ORDERS,
    }
    return render(request, "booking/book_many.html", context, status=200 if numbers else 400)


def _book(
    request: HttpRequest, covers: list[Cover], user: User, now: datetime
) -> tuple[list[BookedOne], list[BookedOne]]:
    chosen, unread = [], []
    times = read_times(request.POST.get("times", ""))
    for cover in covers:
        slot = times.get(cover.pk)
        if slot is None:
            unread.append(BookedOne(cover, None, (explain("visit.time_not_read"),)))
        else:
            chosen.append(ChosenTime(cover, slot.bay, slot.person, slot.starts_at, slot.why))
    return book_many(chosen=chosen, now=now, actor=user), unread
