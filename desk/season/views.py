"""The season plan: drafted over all that is due, looked at week by week, and accepted in part or in whole."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_http_methods, require_safe

from desk.forms.fields import FIRST_RECORDED, LAST_RECORDED, DayField, read_whole
from desk.shared.access import get_user, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_season_plan
from desk.shared.views import Progress, show_progress
from scheduling.enums import MONTHS_BOOKED_AHEAD, ProposalStatus, SeasonStep
from scheduling.models import SeasonPlan, SeasonProposal
from scheduling.season.queries import find_newest_plan, find_plan_to_come, list_asked_for, list_proposals, list_weeks
from scheduling.season.services import (
    MOST_AT_ONCE,
    ask_for_booking,
    ask_for_season_plan,
    find_season_end,
    leave_out,
)
from scheduling.tasks import book_season_proposals, work_season_plan_out
from treatments.models import Site
from treatments.queries import find_today
from treatments.reference.queries import list_sites
from treatments.shared.long_work import nudge

# A week of many sites is long; what is beyond this is accepted in a second go.
MOST_SHOWN = 200


class SeasonForm(forms.Form):
    """From when to when, and for which sites."""

    first_day = DayField(label=_lazy("First day"), months_ahead=MONTHS_BOOKED_AHEAD)
    last_day = DayField(label=_lazy("Last day"), months_ahead=MONTHS_BOOKED_AHEAD)
    sites = forms.ModelMultipleChoiceField(
        label=_lazy("Sites"),
        queryset=Site.objects.none(),
        to_field_name="code",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _lazy("Choose at least one site.")},
    )

    def __init__(self, *args: Any, known_sites: Sequence[Site], **options: Any) -> None:
        super().__init__(*args, **options)
        field: Any = self.fields["sites"]
        field.queryset = Site.objects.order_by("pk")
        # Offered as they are read already; what is sent is looked up.
        field.choices = [(site.code, str(site)) for site in known_sites]


@open_to("season")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_season_plan)
def season(request: HttpRequest) -> HttpResponse:
    """Show the newest plan, a week of it at a time; on POST draft a new one."""
    now = timezone.now()
    sites = list_sites()
    first = find_today(now, sites[0] if sites else None) + timedelta(days=1)
    usual = {
        "first_day": first,
        "last_day": find_season_end(first),
        "sites": [site.code for site in sites],
    }
    form = SeasonForm(request.POST or None, known_sites=sites, initial=usual)
    if request.method == "POST" and form.is_valid():
        try:
            plan = ask_for_season_plan(
                sites=list(form.cleaned_data["sites"]),
                first=form.cleaned_data["first_day"],
                last=form.cleaned_data["last_day"],
                now=now,
                actor=get_user(request),
            )
        except ValidationError as error:
            for name, sentences in error.message_dict.items():
                form.add_error(name if name in form.fields else None, sentences)
        else:
            transaction.on_commit(partial(nudge, work_season_plan_out, plan.pk))
            return redirect("desk:season_progress")
    context = {"form": form, "to_come": find_plan_to_come(), **_read_plan(request)}
    return render(request, "season/season.html", context)


@open_to("season")
@require_safe
def progress(request: HttpRequest) -> HttpResponse:
    """Show how far the plan is that was asked for; lead to the season once it is made, or can't be."""
    plan, result = find_plan_to_come(), reverse("desk:season")
    if plan is None or plan.failure:
        return show_progress(request, None, result=result)
    doing = {
        SeasonStep.WAITING: _("Waiting for a worker."),
        SeasonStep.READING: _("Reading what is due, and when bays and people are free."),
        SeasonStep.CALLING_IN_ORDER: _("Trying first come, first served."),
        SeasonStep.PLANNING: _("Finding a day for every vehicle."),
        SeasonStep.BOUNDING: _("Computing what no plan can beat."),
        SeasonStep.WRITING: _("Writing the plan down."),
    }
    shown = Progress(_("Season plan"), doing[SeasonStep(plan.step)], plan.step, len(SeasonStep), result)
    return show_progress(request, shown, result=result)


def _read_plan(request: HttpRequest) -> dict[str, Any]:
    plan = find_newest_plan()
    if plan is None:
        return {"plan": None}
    weeks = list_weeks(plan)
    asked = request.GET.get("week", "")
    errors: list[str] = []
    monday = _read_week(asked)
    if asked and asked != "none" and monday is None:
        errors.append(_("“%(week)s” is not a day such as 2026-11-23, so the first week is shown.") % {"week": asked})
    mondays = [week.monday for week in weeks]
    chosen = monday if asked else (mondays[0] if mondays else None)
    if asked and asked != "none" and monday is None and mondays:
        chosen = mondays[0]
    return {
        "plan": plan,
        "weeks": weeks,
        "chosen": chosen,
        "proposals": list(list_proposals(plan, chosen, MOST_SHOWN)),
        "errors": errors,
        "most": MOST_AT_ONCE,
        "rows": _compare(plan),
    }


def _read_week(text: str) -> date | None:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    return day - timedelta(days=day.isoweekday() - 1) if FIRST_RECORDED <= day <= LAST_RECORDED else None


def _compare(plan: SeasonPlan) -> list[tuple[str, int, int, int | None]]:
    """Return what the plan comes to beside first come, first served, and what no plan could beat."""
    sums = plan.totals
    planned, called, bound = sums["plan"], sums["first_come"], sums["bound"]
    return [
        (_("Covers that stop for want of a visit"), called["lapses"], planned["lapses"], bound["lapses"]),
        (
            _("Weeks waited, weighed by how quick rust is there"),
            called["risk"],
            planned["risk"],
            bound["risk"],
        ),
        (_("Wishes for a weekday or a part of the day that are not met"), called["unmet"], planned["unmet"], None),
        (_("Vehicles without a day in the season"), called["unplaced"], planned["unplaced"], None),
    ]


@open_to("season")
@require_http_methods(["POST"])
@shown_for(of_season_plan, page=lambda: reverse("desk:season"))
def accept(request: HttpRequest) -> HttpResponse:
    """Count what is ticked and ask; on the second press have a worker book it."""
    read = (read_whole(text, digits=17) for text in dict.fromkeys(request.POST.getlist("proposal")))
    keys = [key for key in read if key is not None]
    plan = find_newest_plan()
    proposals = []
    if plan is not None:
        found = plan.proposals.filter(pk__in=keys[:MOST_SHOWN]).select_related(
            "cover__vehicle", "cover__site", "cover__terms_version", "site", "bay", "appointment"
        )
        proposals = list(found.order_by("day", "pk"))
    if "leave-out" in request.POST:
        leave_out(proposals=proposals, now=timezone.now(), actor=get_user(request))
        return redirect(f"{reverse('desk:season')}?{urlencode({'week': request.POST.get('week', '')})}")
    context: dict[str, Any] = {"week": request.POST.get("week", ""), "most": MOST_AT_ONCE}
    if "book" in request.POST:
        now = timezone.now()
        if ask_for_booking(proposals=proposals[:MOST_AT_ONCE], now=now, actor=get_user(request)):
            transaction.on_commit(partial(nudge, book_season_proposals))
            query = urlencode({"asked": now.isoformat(), "week": context["week"]})
            return redirect(f"{reverse('desk:season_booking')}?{query}")
    can = [one for one in proposals if _can_be_booked(one)]
    context |= {
        "can": can[:MOST_AT_ONCE],
        "left": len(can) - MOST_AT_ONCE,
        "cannot": [p for p in proposals if p not in can],
    }
    return render(request, "season/accept.html", context)


@open_to("season")
@require_safe
def booking(request: HttpRequest) -> HttpResponse:
    """Show how many of the days that were accepted are booked and, once all are seen to, what became of each."""
    try:
        asked_at = datetime.fromisoformat(request.GET.get("asked", ""))
    except ValueError:
        asked_at = None
    asked = list_asked_for(get_user(request), asked_at) if asked_at is not None and asked_at.tzinfo else []
    if not asked:
        return redirect("desk:season")
    waiting = sum(one.status == ProposalStatus.BEING_BOOKED for one in asked)
    if waiting:
        doing = _("Booking one visit after the other.")
        result = reverse("desk:season")
        shown = Progress(_("Visits are being booked"), doing, len(asked) - waiting, len(asked), result)
        return show_progress(request, shown, result=result)
    if getattr(request, "htmx", False):
        return show_progress(request, None, result=request.get_full_path())
    context: dict[str, Any] = {
        "done": True,
        "week": request.GET.get("week", ""),
        "booked": [one for one in asked if one.appointment],
        "refused": [one for one in asked if one.status == ProposalStatus.REFUSED],
    }
    return render(request, "season/accept.html", context)


def _can_be_booked(proposal: SeasonProposal) -> bool:
    return proposal.day is not None and proposal.status in ("open", "refused")
