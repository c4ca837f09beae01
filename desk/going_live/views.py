"""The page on which an owner sees what reminders would go out, lets them out, stops them, and sets when they go."""

import csv
from datetime import datetime, timedelta
from io import StringIO
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from desk.going_live.forms import HoursForm, ReleaseForm
from desk.shared.access import get_user, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_release
from desk.stock.views import MARK_OF_UTF_8
from notifications.consents.queries import list_who_agreed_to_offers
from notifications.consents.services import set_contact_hours
from notifications.going_live.preview import foresee_usual_day, preview_release
from notifications.going_live.queries import read_release
from notifications.going_live.services import pause_release, release_reminders
from notifications.models import ContactHours
from treatments.log_import.rules.cells import make_harmless
from treatments.models import Site
from treatments.queries import find_today
from treatments.reference.queries import list_sites, map_sites

ONE_MONTH = timedelta(days=30)
USUAL_PORTION = 20


@open_to("go_live")
@require_safe
def going_live(request: HttpRequest) -> HttpResponse:
    """Show whether reminders go out; where the address asks for it, what would."""
    now = timezone.now()
    asked = ReleaseForm(request.GET) if "missed_since" in request.GET else None
    return _show(request, now, form=asked, previews=True)


@open_to("go_live")
@require_POST
@shown_for(of_release, page=lambda action: reverse("desk:going_live"))
def act(request: HttpRequest, action: str) -> HttpResponse:
    """Let reminders out, stop them, or set when the customers of a site are written to."""
    now, user = timezone.now(), get_user(request)
    if action == "release":
        form = ReleaseForm(request.POST)
        if not form.is_valid():
            return _show(request, now, form=form, status=400)
        release_reminders(**form.cleaned_data, now=now, actor=user)
    elif action == "stop":
        release = read_release()
        if release is not None:
            pause_release(release=release, now=now, actor=user)
    elif action == "hours":
        site = get_object_or_404(Site, code=request.POST.get("site", "").replace("\x00", ""))
        hours = _make_hours_form(site, request.POST)
        if not hours.is_valid():
            return _show(request, now, hours=hours, status=400)
        set_contact_hours(site=site, **hours.cleaned_data, now=now, actor=user)
    else:
        raise Http404(f"No action {action} here.")
    return redirect(f"{reverse('desk:going_live')}?told={action}")


@open_to("go_live")
@require_safe
def offers(request: HttpRequest) -> HttpResponse:
    """Return as CSV who agreed to offers, and how each is reached."""
    text = StringIO()
    rows = csv.writer(text)
    rows.writerow([_("Name"), _("E-mail"), _("Telephone"), _("Address"), _("Language")])
    for customer in list_who_agreed_to_offers():
        cells = (customer.name, customer.email, customer.phone, customer.address, customer.language)
        rows.writerow([make_harmless(cell) for cell in cells])
    answer = HttpResponse(MARK_OF_UTF_8 + text.getvalue(), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="agreed-to-offers.csv"'
    answer["Cache-Control"] = "no-store"
    return answer


def _make_hours_form(site: Site, data: Any = None) -> HoursForm:
    hours = ContactHours.objects.filter(site=site).first() or ContactHours(site=site)
    return HoursForm(data, instance=hours, prefix=f"hours-{site.pk}")


def _show(
    request: HttpRequest,
    now: datetime,
    *,
    form: ReleaseForm | None = None,
    hours: HoursForm | None = None,
    previews: bool = False,
    status: int = 200,
) -> HttpResponse:
    sites = list_sites()
    release = read_release()
    today = find_today(now, sites[0] if sites else None)
    usual = {
        "missed_since": release.missed_since if release else today - ONE_MONTH,
        "daily_portion": release.daily_portion if release else USUAL_PORTION,
        "usual_per_day": release.usual_per_day if release else foresee_usual_day(now),
    }
    shown = form or ReleaseForm(initial=usual)
    preview = None
    if previews and form is not None and form.is_valid():
        preview = preview_release(now=now, **form.cleaned_data)
    bound: forms.BaseForm | None = hours if hours is not None and hours.errors else shown
    context = {
        "release": release,
        "form": shown,
        "faulty": bound if bound is not None and bound.errors else None,
        "preview": preview,
        "hours": [
            (site, hours if hours is not None and hours.instance.site_id == site.pk else _make_hours_form(site))
            for site in map_sites().values()
        ],
        "told": request.GET.get("told", ""),
    }
    return render(request, "going_live/going_live.html", context, status=400 if bound and bound.errors else status)
