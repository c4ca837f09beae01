"""Reports for those who choose products and keep reserves: where claims come from, and how long zones stay sound.

They show what was counted last and say when; a button counts anew.
"""

from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from claims.report_tally import read_counted
from claims.reports import ClaimsBy
from claims.services.report_counting import ask_for_count
from claims.tasks import count_reports_when_due
from desk.access import get_user, open_to
from desk.charts import HEIGHT, WIDTH, draw_bars, draw_survival
from desk.shown import no_records, shown_for
from desk.telling import tell
from treatments.queries import find_clock
from treatments.rules.words import say
from treatments.shop_reference import find_site_of

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
    series = [(tell(say(found.family)), found.points, found.longest_days) for found in families]
    page = Paginator(counted.claims or [], NAMES_A_PAGE).get_page(request.GET.get("page"))
    shown = list(page.object_list)
    context = {
        "by": by,
        "choices": list(ClaimsBy),
        "counted": counted,
        "clock": find_clock(find_site_of(get_user(request))),
        "page": page,
        "query": urlencode({"by": by}),
        "bars": draw_bars([(count.name, count.zones) for count in shown]),
        "counts": shown,
        "survival": counted.survival,
        "chart": draw_survival(series) if series else None,
        "width": WIDTH,
        "height": HEIGHT,
        "reserve": counted.reserve,
    }
    return render(request, "desk/reports.html", context)


@open_to("reports")
@require_POST
@shown_for(no_records, page=lambda: reverse("desk:reports"))
def count_anew(request: HttpRequest) -> HttpResponse:
    """Have the reports counted anew; where there is no broker, that is done before the answer."""
    if ask_for_count(now=timezone.now()):
        transaction.on_commit(count_reports_when_due.delay)
    return redirect("desk:reports")
