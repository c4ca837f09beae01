"""Reports for those who choose products and keep reserves: where claims come from, and how long zones stay sound."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from claims.queries import list_claims_for
from claims.reports import ClaimsBy, count_claims, read_reserve, read_survival
from desk.access import get_user, open_to
from desk.charts import HEIGHT, WIDTH, draw_survival
from treatments.queries import find_today
from treatments.rules.words import say


@open_to("reports")
def reports(request: HttpRequest) -> HttpResponse:
    """Show claims counted by what is asked, the survival of zones by product family, and the reserve."""
    asked = request.GET.get("by", "")
    by = ClaimsBy(asked) if asked in list(ClaimsBy) else ClaimsBy.PRODUCT
    today = find_today(timezone.now())
    survival = read_survival()
    series = [(say(found.family), found.points, found.longest_days) for found in survival.families]
    context = {
        "by": by,
        "choices": list(ClaimsBy),
        "counts": count_claims(by, list_claims_for(get_user(request))),
        "survival": survival,
        "chart": draw_survival(series) if series else None,
        "width": WIDTH,
        "height": HEIGHT,
        "reserve": read_reserve(today),
        "today": today,
    }
    return render(request, "desk/reports.html", context)
