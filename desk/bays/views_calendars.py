"""Calendar feeds: the page on which people get and renew their addresses, and the feeds themselves."""

import hashlib

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import http_date, quote_etag
from django.views.decorators.http import require_http_methods, require_safe

from desk.shared.access import access_bay, access_feed, get_user, may_open, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_calendar
from notifications.invitations.calendar_feeds import find_feed_of, list_bay_feeds, read_feed, renew_feed, stop_feed


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
