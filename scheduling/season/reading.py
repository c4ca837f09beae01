"""Builds a season from the index and the bays: one visit for each cover that is due and not booked, and what is free.

Set-based: a constant number of queries however many covers there are, so that a whole season fits in one read.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.core.exceptions import ValidationError

from scheduling.bays.queries import read_terms_of
from scheduling.booking.reading import read_site_times
from scheduling.booking.work import read_workload
from scheduling.covers.rules.cover import NO_MORE_COVER
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import VisitKind
from scheduling.models import CoverState, DueItem
from scheduling.season.rules.from_times import describe_site
from scheduling.season.rules.season import Season, SeasonVisit
from scheduling.terms.rules.terms import MissedMeans
from treatments.enums import CorrosivityCategory
from treatments.models import Ownership, Site

# After a missed reinspection under these the cover is not in force.
STOPS = (MissedMeans.SUSPENDS, MissedMeans.LAPSES)
# The weekdays and the part of the day that a customer asked for.
Wish = tuple[frozenset[int], str]
NO_WISH: Wish = (frozenset(), "")
RISK = {category: rank for rank, category in enumerate(CorrosivityCategory, start=1)}


@dataclass(frozen=True, slots=True)
class Found:
    """The season, and the covers for which no visit can be planned since no duration is on record."""

    season: Season
    without_duration: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Item:
    kind: DueKind
    zones: int
    opens_on: date
    last_on: date
    grace_until: date


def read_season(sites: Sequence[Site], first: date, last: date) -> Found:
    """Return what is to be planned at some sites; the key of a visit is that of its cover."""
    states = list(
        CoverState.objects.filter(site__in=sites, due_opens_on__lte=last, booked_on__isnull=True)
        .exclude(status__in=NO_MORE_COVER)
        .order_by("cover_id")
        .values_list(
            "cover_id",
            "site_id",
            "corrosivity",
            "cover__terms_version_id",
            "cover__vehicle_id",
            "cover__vehicle__body_style",
        )
    )
    items = _read_items([row[0] for row in states], last)
    terms = read_terms_of(frozenset(row[3] for row in states))
    duties = {version: under.reinspection for version, under in terms.items()}
    stops = {version: duty is not None and duty.missed_means in STOPS for version, duty in duties.items()}
    vehicles = [row[4] for row in states]
    wishes = _read_wishes(vehicles)
    workload = read_workload(vehicles)
    visits: list[SeasonVisit] = []
    without: list[int] = []
    for cover, site, corrosivity, version, vehicle, style in states:
        mine = items.get(cover)
        if not mine or version not in terms:
            continue  # what unreadable terms want stands with the cover, not here
        zones = sum(item.zones for item in mine if item.kind is DueKind.TOUCH_UP)
        kind = VisitKind.ANNUAL_TOUCH_UP if zones else VisitKind.REINSPECTION
        try:
            work = workload.find_work(vehicle=vehicle, body_style=style, site=site, visit=kind, zones=zones)
        except ValidationError:
            without.append(cover)
            continue
        opens_on, last_on, lapses_after = find_dates(mine, first, stops[version])
        weekdays, part_of_day = wishes.get(vehicle, NO_WISH)
        visits.append(
            SeasonVisit(
                key=str(cover),
                site=site,
                minutes=work.work_minutes,
                bay_kind=work.bay_kind,
                opens_on=opens_on,
                last_on=last_on,
                lapses_after=lapses_after,
                risk_per_week=RISK[CorrosivityCategory(corrosivity)],
                weekdays=weekdays,
                part_of_day=part_of_day,
                skill=work.skill,
                training=work.training,
                standing_minutes=work.standing_minutes if work.stands_in_bay else 0,
                height_mm=work.height_mm,
                mass_kg=work.mass_kg,
            )
        )
    times = read_site_times(sites, first, last)
    return Found(
        Season(first, last, tuple(describe_site(site, first, last) for site in times), tuple(visits)), tuple(without)
    )


def _read_items(covers: list[int], last: date) -> dict[int, list[_Item]]:
    found: dict[int, list[_Item]] = defaultdict(list)
    rows = DueItem.objects.filter(cover__in=covers, opens_on__lte=last)
    for cover, kind, zones, opens_on, last_on, grace_until in rows.values_list(
        "cover_id", "kind", "zones", "opens_on", "last_on", "grace_until"
    ):
        found[cover].append(_Item(DueKind(kind), len(zones), opens_on, last_on, grace_until))
    return found


def find_dates(items: Iterable[_Item], first: date, stops: bool) -> tuple[date, date, date | None]:
    """Return from when a visit serves, its last day in the window, and the day after which the cover stops.

    What is overdue when the season begins is not kept waiting for what opens later.
    """
    mine = sorted(items, key=lambda item: (item.grace_until, item.opens_on))
    pressing = mine[0]
    visits = [item for item in mine if item.kind is DueKind.REINSPECTION]
    if pressing.last_on < first or not visits:
        opens_on = pressing.opens_on
    else:
        opens_on = max(pressing.opens_on, visits[0].opens_on)
    ends = [item.grace_until for item in visits if stops and item.grace_until >= first]
    return opens_on, pressing.last_on, min(ends, default=None)


def _read_wishes(vehicles: list[int]) -> dict[int, Wish]:
    owned = Ownership.objects.filter(vehicle__in=vehicles, until_day__isnull=True)
    rows = owned.exclude(customer__wish__isnull=True).values_list(
        "vehicle_id", "customer__wish__weekdays", "customer__wish__part_of_day"
    )
    return {vehicle: (frozenset(map(int, weekdays)), part) for vehicle, weekdays, part in rows}
