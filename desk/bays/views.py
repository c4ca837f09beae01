"""The week of the bays: what stands where, what needs a hand, and visits moved by dragging or by keyboard. Calendar
feeds: the page on which people get and renew their addresses, and the feeds themselves.
"""

import hashlib
from datetime import date, datetime, time, timedelta
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import http_date, quote_etag
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from desk.bays.week import find_monday, find_week, lay_out_week, name_week
from desk.booking.page import Context, Errors, list_faults
from desk.booking.slots import SlotButton, make_buttons, make_place_value, read_button
from desk.forms.fields import FIRST_RECORDED, LAST_RECORDED, read_whole
from desk.shared.access import access_bay, access_feed, access_visit, get_user, may_open, open_to
from desk.shared.shown import list_changes, note_position_anew, shown_for
from desk.shared.shown_records import of_calendar, of_visit
from notifications.invitations.calendar_feeds import find_feed_of, list_bay_feeds, read_feed, renew_feed, stop_feed
from scheduling.bays.week import list_left_open, list_to_be_moved, read_bay_week
from scheduling.booking.placing import ChangedMeanwhileError, SlotTakenError, choose_place
from scheduling.booking.services import move_visit
from scheduling.enums import VisitKind
from scheduling.models import Appointment, Bay
from treatments.models import User
from treatments.queries import find_today
from treatments.reference.queries import list_sites
from treatments.rules.explanation import Explanation
from treatments.rules.site_days import find_moment
from treatments.rules.site_settings import find_zone
from treatments.shared.rendering import render as render_explanation

ONE_WEEK, ONE_DAY = timedelta(days=7), timedelta(days=1)
MINUTES_OF_A_DAY = 24 * 60


@open_to("bays")
@require_safe
def bays(request: HttpRequest) -> HttpResponse:
    """Show a week of the bays of one site."""
    return render(request, "bays/bays.html", _read_page(request, get_user(request), request.GET.dict()))


def _read_page(request: HttpRequest, user: User, asked: dict[str, str]) -> Context:
    now = timezone.now()
    sites = list_sites()
    errors: Errors = []
    site = next((known for known in sites if known.code == asked.get("site")), None)
    if asked.get("site") and site is None:
        errors.append(("site", _("Site “%(site)s” does not exist, so another is shown.") % {"site": asked["site"]}))
    home = site or next((known for known in sites if known.pk == user.site_id), None) or (sites[0] if sites else None)
    if home is None:
        return {"no_site": True}
    today = find_today(now, home)
    day = _read_day(asked.get("day", ""), errors)
    monday = find_week(asked.get("week", "")) if asked.get("week") else None
    if asked.get("week") and monday is None:
        message = _("“%(week)s” is not a week such as 2026-W48, so this week is shown.") % {"week": asked["week"]}
        errors.append(("week", message))
    monday = monday or find_monday(day or today)
    week = read_bay_week(home, monday)
    days = [shown.day for shown in week.days]
    wanted = day or today
    chosen = wanted if wanted in days else next((one for one in days if one >= wanted), days[-1] if days else monday)
    may_move = may_open(user, "book")
    return {
        "site": home,
        "sites": sites,
        "errors": errors,
        "today": today,
        "monday": monday,
        "sunday": monday + ONE_WEEK - ONE_DAY,
        "week_name": name_week(monday),
        "week_before": name_week(monday - ONE_WEEK),
        "week_after": name_week(monday + ONE_WEEK),
        "this_week": name_week(today),
        "day_before": _step(days, chosen, -1, monday - ONE_DAY),
        "day_after": _step(days, chosen, 1, monday + ONE_WEEK),
        "chosen": chosen,
        "table": lay_out_week(week, today, chosen, may_move=may_move),
        "has_bays": bool(week.bays),
        "may_move": may_move,
        "may_set_up": may_open(user, "set_up"),
        "to_be_moved": list(list_to_be_moved(home, now)),
        "left_open": list(list_left_open(home, today)),
        "moved": _find_moved(asked.get("moved", "")),
    }


def _find_moved(number: str) -> Appointment | None:
    return Appointment.objects.select_related("bay", "site").filter(number=number).first() if number else None


def _read_day(text: str, errors: Errors) -> date | None:
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = date.min
    if not FIRST_RECORDED <= day <= LAST_RECORDED:
        message = _("“%(day)s” is not a day such as 2026-11-26, so today is shown.") % {"day": text}
        errors.append(("day", message))
        return None
    return day


def _step(days: list[date], chosen: date, step: int, beyond: date) -> date:
    """Return the day shown before or after the chosen one; at the week's end a day of the next week."""
    if chosen not in days:
        return beyond
    place = days.index(chosen) + step
    return days[place] if 0 <= place < len(days) else beyond


@open_to("book")
@require_POST
@shown_for(of_visit, in_view=True)
def drop(request: HttpRequest) -> HttpResponse:
    """Move a visit to where it was dropped; answer with the week anew, and with the reason where it can't stand there.

    A script asks for the week alone; without one the whole page is shown.
    """
    user, now = get_user(request), timezone.now()
    visit = access_visit(user, request.POST.get("number", ""))
    sequence = request.POST.get("sequence", "")
    before = make_place_value(visit)
    instead: list[SlotButton] = []
    status = 200
    errors: Errors = []
    changes = list_changes(request)
    try:
        if changes:
            raise ValidationError(changes)
        bay, person, starts_at, why = _read_place(request, visit, now)
        moved = move_visit(
            appointment=visit,
            bay=bay,
            person=person,
            starts_at=starts_at,
            now=now,
            actor=user,
            seen_sequence=read_whole(sequence, digits=9),
            why=why,
        )
        visit = moved
    except SlotTakenError as taken:
        errors, status = [("", render_explanation(taken.explanation))], 409
        instead = make_buttons(taken.alternatives, [visit.site], visit.vehicle, VisitKind(visit.visit))
    except ChangedMeanwhileError as error:
        errors, status = list_faults(error), 409
    except ValidationError as error:
        errors, status = list_faults(error), 409 if changes else 400
    asked = {name: request.POST.get(name, "") for name in ("week", "site", "day")}
    by_script = request.headers.get("X-Asked-By") == "bays"
    if not errors and not by_script:
        query = {name: value for name, value in asked.items() if value}
        return redirect(f"{reverse('desk:bays')}?{urlencode({**query, 'moved': visit.number})}")
    if not errors:
        asked["moved"] = visit.number
        note_position_anew(request)
    context = _read_page(request, user, asked)
    context["errors"] = [*errors, *context["errors"]]
    context |= {"instead": instead, "dropped": visit, "put_back": before if not errors else ""}
    template = "bays/week.html" if by_script else "bays/bays.html"
    return render(request, template, context, status=status)


def _read_place(
    request: HttpRequest, visit: Appointment, now: datetime
) -> tuple[Bay, User | None, datetime, Explanation | None]:
    """Return bay, person, moment and reason of a drop: a button's, or those of the place in the week."""
    if "slot" in request.POST:
        chosen = read_button(request.POST["slot"], visit.vehicle)
        return chosen.bay, chosen.person, chosen.starts_at, chosen.why
    try:
        day = date.fromisoformat(request.POST.get("to_day", ""))
        minute = int(request.POST.get("minute", ""))
        bay = Bay.objects.select_related("site").get(pk=int(request.POST.get("bay", "")))
    except (ValueError, Bay.DoesNotExist) as error:
        raise ValidationError(
            {"starts_at": _("Where the visit was dropped could not be read; drop it again.")}
        ) from error
    if not 0 <= minute < MINUTES_OF_A_DAY or not FIRST_RECORDED <= day <= LAST_RECORDED:
        raise ValidationError({"starts_at": _("The visit was dropped outside of the day; drop it again.")})
    zone = find_zone(bay.site.time_zone)
    starts_at = find_moment(day, time(minute // 60, minute % 60), zone)
    _bay, person = choose_place(
        vehicle=visit.vehicle,
        cover=visit.cover,
        site=bay.site,
        starts_at=starts_at,
        now=now,
        visit=VisitKind(visit.visit),
        bay=bay,
        moved=visit,
    )
    return bay, person, starts_at, None


@open_to("calendars")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_calendar)
def calendars(request: HttpRequest) -> HttpResponse:
    """Show the own address and, to the owner, those of the bays; make a new one or stop one on POST."""
    user = get_user(request)
    if request.method == "POST":
        key = request.POST.get("bay", "")
        bay, person = (access_bay(user, key), None) if key else (None, user)
        if request.POST.get("do") == "stop":
            stop_feed(bay=bay, person=person, now=timezone.now(), actor=user)
        else:
            renew_feed(bay=bay, person=person, now=timezone.now(), actor=user)
        return redirect("desk:calendars")
    bays = list_bay_feeds() if may_open(user, "bay_calendars") else []
    return render(request, "bays/calendars.html", {"own": find_feed_of(user), "bays": bays})


@require_safe
def feed(request: HttpRequest, token: str, name: str) -> HttpResponse:
    """Hand out a feed to whoever has its address; a reader that has it already gets 304 (RFC 9110 section 13)."""
    found = read_feed(access_feed(token, name), now=timezone.now())
    etag = quote_etag(hashlib.sha256(found.text.encode()).hexdigest())
    changed = int(found.changed_at.timestamp())
    response = HttpResponse(found.text, content_type="text/calendar; charset=utf-8")
    answer = get_conditional_response(request, etag=etag, last_modified=changed, response=response)
    assert isinstance(answer, HttpResponse)
    answer["ETag"], answer["Last-Modified"] = etag, http_date(changed)
    answer["Cache-Control"] = "private, no-cache"
    answer["X-Robots-Tag"] = "noindex"
    return answer
