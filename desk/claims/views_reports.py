"""Reports for those who choose products and keep reserves: where claims come from, and how long zones stay sound.

They show what was counted last and say when; a button counts anew.
"""

from functools import partial
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from claims.reports.queries import ClaimsBy
from claims.reports.services import ask_for_count, read_counted, read_progress
from claims.tasks import count_reports_when_due
from desk.claims.charts import HEIGHT, WIDTH, draw_bars, draw_survival
from desk.shared.access import get_user, open_to
from desk.shared.shown import no_records, shown_for
from desk.shared.views import Progress, show_progress
from treatments.queries import find_clock
from treatments.reference.queries import find_site_of, map_zone_names
from treatments.shared.labels import label
from treatments.shared.long_work import nudge
from treatments.shared.rendering import render as render_text

NAMES_A_PAGE = 25


@open_to("reports")
@require_safe
def reports(request: HttpRequest) -> HttpResponse:
    """Show claims counted by what is asked, the survival of zones by product family, and the reserve."""
    asked = request.GET.get("by", "")
    by = ClaimsBy(asked) if asked in list(ClaimsBy) else ClaimsBy.PRODUCT
    now = timezone.now()
    counted = read_counted(by, now)
    families = counted.survival.families if counted.survival else ()
    series = [(label(found.family), found.points, found.longest_days) for found in families]
    page = Paginator(counted.claims or [], NAMES_A_PAGE).get_page(request.GET.get("page"))
    shown = list(page.object_list)
    zone_names = map_zone_names() if by is ClaimsBy.ZONE else {}
    context = {
        "by": by,
        "choices": list(ClaimsBy),
        "counted": counted,
        "clock": find_clock(find_site_of(get_user(request))),
        "page": page,
        "query": urlencode({"by": by}),
        "bars": draw_bars([(render_text(count.name, zone_names), count.zones) for count in shown]),
        "counts": shown,
        "zone_names": zone_names,
        "survival": counted.survival,
        "chart": draw_survival(series) if series else None,
        "width": WIDTH,
        "height": HEIGHT,
        "reserve": counted.reserve,
    }
    return render(request, "claims/reports.html", context)


@open_to("reports")
@require_POST
@shown_for(no_records, page=lambda: reverse("desk:reports"))
def count_anew(request: HttpRequest) -> HttpResponse:
    """Have the reports counted anew, by a worker."""
    if ask_for_count(now=timezone.now()):
        transaction.on_commit(partial(nudge, count_reports_when_due))
    return redirect("desk:count_progress")


@open_to("reports")
@require_safe
def progress(request: HttpRequest) -> HttpResponse:
    """Show how many reports are counted; lead to the reports once all are."""
    result = reverse("desk:reports")
    count = read_progress(timezone.now())
    doing = _("Counting from the records, one report after the other.")
    shown = Progress(_("Reports are being counted"), doing, count.counted, count.of, result)
    return show_progress(request, shown if count.is_under_way else None, result=result)
