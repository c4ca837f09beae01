"""Which links of a vehicle and its owner were used, for the desk: when, for what, and what came of it."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from desk.shared.access import access_vehicle, get_user, open_to
from desk.shared.shown import find_clock_of
from notifications.customer_page.uses import list_link_uses

PER_PAGE = 50
# By the status code of the answer.
ANSWERS: dict[int, str | Promise] = {
    200: _("shown"),
    302: _("done"),
    400: _("not understood"),
    404: _("refused: too old, or no longer the owner"),
    409: _("not done: changed meanwhile"),
    410: _("not done: the time was out of date"),
}
# By the name of the page.
PAGES: dict[str, str | Promise] = {
    "own_page": _("the vehicle"),
    "own_times": _("other times"),
    "own_time": _("a time"),
    "own_cancel": _("cancel"),
    "own_visit_file": _("calendar file"),
    "own_certificate": _("certificate"),
    "own_record": _("record of the last treatment"),
    "own_record_pdf": _("record of the last treatment"),
    "own_vehicles": _("list of vehicles"),
    "own_contact": _("contact details"),
    "own_email": _("new e-mail address"),
    "own_rust": _("report of rust"),
    "own_claim": _("claim"),
    "own_letter": _("letter of decision"),
    "own_claim_photo": _("photo of a claim"),
    "stop": _("stop messages"),
}


@open_to("link_uses")
@require_safe
def link_uses(request: HttpRequest, vin: str) -> HttpResponse:
    """List the uses, the newest first."""
    vehicle = access_vehicle(get_user(request), vin)
    page = Paginator(list_link_uses(vehicle), PER_PAGE).get_page(request.GET.get("page"))
    clock = find_clock_of(request)
    uses = [(use, ANSWERS.get(use.status, str(use.status))) for use in page.object_list]
    return render(
        request,
        "customer/uses.html",
        {"vehicle": vehicle, "page": page, "uses": uses, "clock": clock, "pages_by_name": PAGES},
    )
