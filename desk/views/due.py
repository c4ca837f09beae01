"""The due list: who must come, by when and why, one entry per vehicle since one visit serves all that is due."""

from dataclasses import dataclass, field
from datetime import date, timedelta

from django.core.paginator import Paginator
from django.db.models import Count, Min, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from desk.access import get_user, open_to
from scheduling.models import Cover, DueItem
from scheduling.queries import URGENCIES, DueFilter, find_urgency, list_due_items
from scheduling.rules.due import DueKind
from treatments.models import Customer, Ownership, Role, Site, Zone
from treatments.queries import find_today

PER_PAGE = 25


@dataclass(slots=True)
class DueEntry:
    """One vehicle on the list with all that is due for it."""

    cover: Cover
    urgency: str
    owner: Customer | None = None
    items: list[DueItem] = field(default_factory=list)

    @property
    def urgency_words(self) -> str:
        return URGENCIES[self.urgency]

    @property
    def first(self) -> DueItem:
        return self.items[0]


def read_filter(request: HttpRequest) -> DueFilter:
    """Return what the address asks for; an unknown choice is taken for none."""
    kind, urgency = request.GET.get("kind", ""), request.GET.get("urgency", "")
    return DueFilter(
        text=request.GET.get("q", "")[:100],
        site=request.GET.get("site", ""),
        kind=kind if kind in list(DueKind) else "",
        urgency=urgency if urgency in URGENCIES else "",
    )


@open_to("due_list")
def due_list(request: HttpRequest) -> HttpResponse:
    """Show the due list."""
    user, today = get_user(request), find_today(timezone.now())
    wanted = read_filter(request)
    items = list_due_items(user, today, wanted)
    covers = items.order_by().values("cover").annotate(grace=Min("grace_until"), target=Min("target_on"))
    page = Paginator(covers.order_by("grace", "target", "cover"), PER_PAGE).get_page(request.GET.get("page"))
    entries = gather_entries([row["cover"] for row in page], today, shows_owner=user.role != Role.DEALERSHIP)
    counts = count_by_urgency(list_due_items(user, today, DueFilter()), today)
    context = {
        "today": today,
        "wanted": wanted,
        "page": page,
        "entries": entries,
        "counts": [(code, words, counts[code]) for code, words in URGENCIES.items()],
        "sites": Site.objects.all(),
        "kinds": list(DueKind),
        "query_without_page": _drop_page(request),
        "zone_names": dict(Zone.objects.values_list("code", "name")),
    }
    return render(request, "desk/due_list.html", context)


def _drop_page(request: HttpRequest) -> str:
    query = request.GET.copy()
    query.pop("page", None)
    return query.urlencode()


def gather_entries(covers: list[int], today: date, *, shows_owner: bool) -> list[DueEntry]:
    """Return the entries of one page, in its order."""
    found = (
        DueItem.objects.filter(cover__in=covers, opens_on__lte=today + timedelta(days=DueFilter().days_ahead))
        .select_related("cover__vehicle", "cover__site", "cover__last_state")
        .order_by("grace_until", "target_on", "id")
    )
    by_cover: dict[int, DueEntry] = {}
    for item in found:
        entry = by_cover.get(item.cover_id)
        if entry is None:
            entry = by_cover[item.cover_id] = DueEntry(item.cover, find_urgency(item, today))
        entry.items.append(item)
    if shows_owner:
        owners = {
            owned.vehicle_id: owned.customer
            for owned in Ownership.objects.filter(
                vehicle__in=[entry.cover.vehicle_id for entry in by_cover.values()], until_day__isnull=True
            ).select_related("customer")
        }
        for entry in by_cover.values():
            entry.owner = owners.get(entry.cover.vehicle_id)
    return [by_cover[key] for key in covers if key in by_cover]


def count_by_urgency(items: QuerySet[DueItem], today: date) -> dict[str, int]:
    """Return how many vehicles have something in each urgency."""
    counted = items.order_by().aggregate(
        overdue=Count("cover", distinct=True, filter=Q(grace_until__lt=today)),
        in_grace=Count("cover", distinct=True, filter=Q(grace_until__gte=today, last_on__lt=today)),
        in_window=Count("cover", distinct=True, filter=Q(last_on__gte=today, opens_on__lte=today)),
        coming=Count("cover", distinct=True, filter=Q(opens_on__gt=today)),
    )
    return dict(counted)
