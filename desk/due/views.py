"""The due list: who must come, by when and why, one entry per vehicle since one visit serves all that is due. The
cards of the due list: one for each vehicle, with all that is due for it, since one visit serves all of that.
Keeping a filter of the due list under a name, and taking it out.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe
from django.views.decorators.vary import vary_on_headers

from desk.claims.views_handling import add_errors
from desk.messages.views import read_notices
from desk.shared.access import access_cover, get_user, may_open, open_to
from desk.shared.faults import read_shown_faults
from desk.shared.files import answer_pdf
from desk.templatetags.desk_words import counted
from notifications.documents.lists import read_wall_list_pdf
from notifications.going_live.queries import read_release
from scheduling.covers.rules.due_item import DueKind
from scheduling.covers.rules.exposure import estimate_risk
from scheduling.due_list.queries import (
    BOOKED_OR_NOT,
    DAYS_AHEAD,
    URGENCIES,
    DueFilter,
    DueRow,
    Order,
    PlaceError,
    count_by_urgency,
    find_cover_urgency,
    find_horizon,
    list_near_items,
    read_due_page,
)
from scheduling.due_list.saved_filters import drop_filter, keep_filter, list_filters
from treatments.enums import CorrosivityCategory
from treatments.models import Site
from treatments.queries import find_today, map_todays
from treatments.reference.queries import find_site_of, list_sites, map_zone_names
from treatments.rules.explanation import Explanation


@dataclass(frozen=True, slots=True)
class CardItem:
    """One thing that is due, and on how many zones."""

    kind: str
    zones: int
    opens_on: date
    target_on: date
    last_on: date
    grace_until: date


@dataclass(frozen=True, slots=True)
class DueCard:
    """All that a card shows of one vehicle."""

    row: DueRow
    urgency: str
    risk: Explanation | None
    items: tuple[CardItem, ...]

    @property
    def urgency_words(self) -> str:
        return str(URGENCIES[self.urgency])


def list_cards(rows: Sequence[DueRow], todays: Mapping[int, date], *, shows_owner: bool) -> list[DueCard]:
    """Return the cards of one page, in its order, each by the day at its site."""
    items: dict[int, list[CardItem]] = defaultdict(list)
    if rows:
        near = list_near_items([row.cover_id for row in rows], find_horizon(max(todays.values())))
        for cover, kind, zones, *dates in near.values_list(
            "cover_id", "kind", "zones", "opens_on", "target_on", "last_on", "grace_until"
        ):
            items[cover].append(CardItem(kind, len(zones), *dates))
    cards = []
    for row in rows:
        risk, today = None, todays[row.site_id]
        if row.last_seen_on:
            risk = estimate_risk(row.last_seen_on, CorrosivityCategory(row.corrosivity), today).explanation
        shown = row if shows_owner else replace(row, owner=None, owner_phone=None, owner_email=None)
        cards.append(DueCard(shown, find_cover_urgency(row, today), risk, tuple(items[row.cover_id])))
    return cards


PER_PAGE = 25


def read_filter(given: QueryDict, sites: Sequence[Site]) -> tuple[DueFilter, list[str]]:
    """Return what the address asks for, and a sentence for each choice that does not exist and is left out."""
    told = []

    def choose(name: str, allowed: list[str], word: str) -> str:
        value = given.get(name, "")
        if value and value not in allowed:
            told.append(_("%(word)s “%(value)s” does not exist, so all are shown.") % {"word": word, "value": value})
            return ""
        return value

    return (
        DueFilter(
            text=given.get("q", "").replace("\x00", "")[:100],
            site=choose("site", [site.code for site in sites], _("Site")),
            kind=choose("kind", list(DueKind), _("Kind")),
            urgency=choose("urgency", list(URGENCIES), _("Urgency")),
            booked=choose("booked", list(BOOKED_OR_NOT), _("Visit")),
            order=Order(choose("order", list(Order), _("Order")) or Order.PRESSING),
        ),
        told,
    )


def write_query(wanted: DueFilter) -> str:
    """Return the query of the address that asks for a filter, without what is left open."""
    order = "" if wanted.order is Order.PRESSING else wanted.order.value
    asked = {
        "q": wanted.text,
        "site": wanted.site,
        "kind": wanted.kind,
        "urgency": wanted.urgency,
        "booked": wanted.booked,
        "order": order,
    }
    return urlencode({name: value for name, value in asked.items() if value})


@open_to("due_list")
@vary_on_headers("HX-Request")
@require_safe
def due_list(request: HttpRequest) -> HttpResponse:
    """Show the due list; to a search as somebody types, only what it found."""
    if request.htmx and not request.htmx.history_restore_request:  # type: ignore[attr-defined]
        context = read_list(request)
        answer = render(request, "due/found.html", context, using="jinja2")
        answer["HX-Push-Url"] = f"{request.path}?{context['query']}" if context["query"] else request.path
        return answer
    return show_due_list(request)


def show_due_list(request: HttpRequest, *, status: int = 200, **context: Any) -> HttpResponse:
    """Return the whole page of the due list."""
    user = get_user(request)
    context |= read_list(request)
    context["saved_filters"] = list_filters(user)
    context["faults"] = read_shown_faults(user)
    context["asks_to_release"] = _find_what_waits_for_release() if may_open(user, "go_live") else ""
    context |= read_notices(request)
    return render(request, "due/list.html", context, status=status)


def _find_what_waits_for_release() -> str:
    """Return "none" where the owner never let reminders out, "wave" where they were stopped, else ''."""
    release = read_release()
    if release is None:
        return "none"
    return "wave" if release.paused_at else ""


def read_list(request: HttpRequest) -> dict[str, Any]:
    """Return what the page shows: the entries, the counts, and the choices of the filter."""
    user, sites = get_user(request), list_sites()
    now = timezone.now()
    wanted, told = read_filter(request.GET, sites)
    # The list is cut by one day: that at the site asked for, else where the person works.
    site = next((site for site in sites if site.code == wanted.site), None)
    today = find_today(now, site or find_site_of(user))
    after = request.GET.get("after", "")
    try:
        page = read_due_page(user, today, wanted, after=after, size=PER_PAGE)
    except PlaceError as error:
        told.append(_("%(error)s The list starts from its beginning.") % {"error": error})
        after = ""
        page = read_due_page(user, today, wanted, size=PER_PAGE)
    counts = count_by_urgency(user, today)
    may_book = may_open(user, "book")
    may_choose = may_book or may_open(user, "remind") or may_open(user, "waive")
    return {
        "today": today,
        "told": told,
        "wanted": wanted,
        "after": after,
        "next": page.after,
        "days_ahead": DAYS_AHEAD,
        "cards": list_cards(page.rows, map_todays(now), shows_owner=not user.is_dealership),
        "counts": [(code, words, counted(counts[code])) for code, words in URGENCIES.items()],
        "sites": sites,
        "kinds": list(DueKind),
        "booked_or_not": list(BOOKED_OR_NOT.items()),
        "finds_people": not user.is_dealership,
        "may_book": may_book,
        "may_remind": may_open(user, "remind"),
        "may_waive": may_open(user, "waive"),
        "may_choose": may_choose,
        "all_chosen": request.GET.get("chosen") == "all",
        "orders": [(Order.PRESSING, _("most pressing first")), (Order.RISK, _("most at risk first"))],
        "query": write_query(wanted),
    }


@open_to("due_list")
@require_safe
def wall_list(request: HttpRequest) -> HttpResponse:
    """Print the due list as it is narrowed down, without anybody's name, for the wall of the workshop."""
    user, sites, now = get_user(request), list_sites(), timezone.now()
    wanted, _told = read_filter(request.GET, sites)
    site = next((site for site in sites if site.code == wanted.site), None) or find_site_of(user)
    today = find_today(now, site)
    letterhead = site or next(iter(sites), None)
    content = read_wall_list_pdf(user, wanted, todays=map_todays(now), as_of=today, site=letterhead)
    return answer_pdf(content, f"due-{today:%Y-%m-%d}.pdf")


@open_to("due_list")
@vary_on_headers("HX-Request")
@require_safe
def due_why(request: HttpRequest, number: str) -> HttpResponse:
    """Say why the dates of a cover are what they are; the list asks for it when somebody wants to know."""
    cover = access_cover(get_user(request), number)
    context = {
        "cover": cover,
        "items": list_near_items([cover.pk], find_horizon(find_today(timezone.now(), cover.site))),
        "zone_names": map_zone_names(),
    }
    template = "due/why.html" if request.htmx else "due/why_page.html"  # type: ignore[attr-defined]
    return render(request, template, context)


class FilterForm(forms.Form):
    name = forms.CharField(label=gettext_lazy("Keep what is shown under the name"), max_length=60)


@open_to("due_list")
@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """Keep the filter that is shown, and show its list; where it can't be kept, the list with the errors."""
    given = QueryDict(request.POST.get("query", "")[:2000])
    query = write_query(read_filter(given, list(Site.objects.all()))[0])
    form = FilterForm(request.POST)
    if form.is_valid():
        try:
            kept = keep_filter(user=get_user(request), name=form.cleaned_data["name"], query=query)
        except ValidationError as error:
            add_errors(form, error)
        else:
            messages.success(request, _("The filter “%(name)s” is kept.") % {"name": kept.name})
            return _show(query)
    request.GET = given
    return show_due_list(request, status=400, filter_form=form)


@open_to("due_list")
@require_POST
def drop(request: HttpRequest) -> HttpResponse:
    """Take a kept filter out."""
    name = request.POST.get("name", "")
    if drop_filter(user=get_user(request), name=name):
        messages.success(request, _("The filter “%(name)s” is taken out.") % {"name": name})
    return redirect("desk:due_list")


def _show(query: str) -> HttpResponse:
    answer = redirect("desk:due_list")
    answer["Location"] += f"?{query}"
    return answer
