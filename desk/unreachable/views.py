"""The page of people whom no message reaches, so that somebody phones them, and the door at which bounces come in."""

import hmac
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import RequestDataTooBig
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST, require_safe

from desk.shared.access import get_user, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_suppression
from notifications.enums import Unreachable
from notifications.models import Suppression
from notifications.suppressions.queries import read_unreachable
from notifications.suppressions.services import lift_suppression, take_reports
from treatments.queries import find_shop_day

# The header that a mail system sends with a report; its value is MAIL_REPORTS_SECRET.
SECRET_HEADER = "X-Report-Secret"


@open_to("unreachable")
@require_safe
def unreachable(request: HttpRequest) -> HttpResponse:
    """Show whom no message reaches, why, and what is due for the vehicle."""
    today = find_shop_day(timezone.now())
    asked = request.GET.get("why", "")
    reason = Unreachable(asked) if asked in list(Unreachable) else None
    page = read_unreachable(today=today, reason=reason, after=request.GET.get("after", ""))
    context: dict[str, Any] = {
        "page": page,
        "reasons": list(Unreachable),
        "chosen": reason or "",
        "today": today,
        "is_first": not request.GET.get("after"),
    }
    return render(request, "unreachable/page.html", context)


@open_to("unreachable")
@require_POST
@shown_for(of_suppression)
def lift(request: HttpRequest, key: int) -> HttpResponse:
    """Let an address be written to again."""
    suppression = Suppression.objects.filter(pk=key).first()
    if suppression is None:
        raise Http404(f"No suppressed address {key} here.")
    if lift_suppression(suppression=suppression, actor=get_user(request), now=timezone.now()):
        messages.success(request, _("%(address)s is written to again.") % {"address": suppression.address})
    return redirect("desk:unreachable")


@csrf_exempt
@require_POST
def receive_report(request: HttpRequest) -> HttpResponse:
    """Take a report of a mail system that a mail bounced or was complained of: a mail, as message/rfc822.

    Whoever sends it knows MAIL_REPORTS_SECRET; without that setting the door is shut.
    """
    known = settings.MAIL_REPORTS_SECRET
    if not known:
        raise Http404("No mail reports are taken here: set MAIL_REPORTS_SECRET.")
    given = request.headers.get(SECRET_HEADER, "")
    if not hmac.compare_digest(given.encode("utf-8", "replace"), known.encode()):
        return JsonResponse({"detail": f"{SECRET_HEADER} is missing or wrong."}, status=403)
    if request.content_type != "message/rfc822":
        return JsonResponse({"detail": "Send the mail itself, as message/rfc822."}, status=415)
    try:
        taken = take_reports(request.body, now=timezone.now())
    except RequestDataTooBig:
        return JsonResponse({"detail": "The mail is too large; send its headers instead of it whole."}, status=413)
    return JsonResponse({"suppressed": taken.suppressed, "failed": taken.failed, "unknown": taken.unknown})
