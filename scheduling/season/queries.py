"""Reads of season plans for people: the newest plan, a week of its proposals, and how many weeks there are. Builds a
season from the index and the bays: one visit for each cover that is due and not booked, and what is free.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.db.models import Count, Q, QuerySet

from scheduling.bays.queries import read_terms_of
from scheduling.booking.finding import read_workload
from scheduling.booking.reading import read_site_times
from scheduling.covers.rules.cover import NO_MORE_COVER
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import ProposalStatus, VisitKind
from scheduling.models import CoverState, DueItem, SeasonPlan, SeasonProposal
from scheduling.season.rules.plan import describe_site
from scheduling.season.rules.season import Season, SeasonVisit
from scheduling.terms.rules.terms import MissedMeans
from treatments.enums import CorrosivityCategory
from treatments.models import Ownership, Site, User


def find_newest_plan() -> SeasonPlan | None:
    """Return the plan that counts: the one made last."""
    made = SeasonPlan.objects.filter(finished_at__isnull=False, failure__isnull=True)
    return made.prefetch_related("sites").select_related("made_by").first()


def find_plan_to_come() -> SeasonPlan | None:
    """Return the last plan that was asked for, where it is not made yet or could not be made; else None."""
    last = SeasonPlan.objects.first()
    return last if last is not None and (last.finished_at is None or last.failure) else None


@dataclass(frozen=True, slots=True)
class WeekOfPlan:
    """A week of a plan: its Monday, or None for what has no day; how many proposals it has and how many are open."""

    monday: date | None
    proposals: int
    still_open: int


def list_weeks(plan: SeasonPlan) -> list[WeekOfPlan]:
    """Return the weeks of a plan that have proposals, in order; what has no day comes last."""
    open_ones = Count("pk", filter=Q(status__in=[ProposalStatus.OPEN, ProposalStatus.REFUSED]))
    counted = plan.proposals.order_by("day").values("day").annotate(count=Count("pk"), still_open=open_ones)
    weeks: dict[date | None, tuple[int, int]] = {}
    for day, count, still_open in counted.values_list("day", "count", "still_open"):
        monday = day - timedelta(days=day.isoweekday() - 1) if day else None
        before = weeks.get(monday, (0, 0))
        weeks[monday] = (before[0] + count, before[1] + still_open)
    ordered = sorted(weeks, key=lambda monday: monday or date.max)
    return [WeekOfPlan(monday, *weeks[monday]) for monday in ordered]


def list_proposals(plan: SeasonPlan, monday: date | None, most: int) -> QuerySet[SeasonProposal]:
    """Return the proposals of one week, those that can be saved from stopping first within a day."""
    found = plan.proposals.select_related("cover__vehicle", "site", "bay", "appointment")
    if monday is None:
        return found.filter(day__isnull=True).order_by("-lapses", "pk")[:most]
    return found.filter(day__gte=monday, day__lt=monday + timedelta(days=7)).order_by("day", "bay", "pk")[:most]


def list_asked_for(person: User, asked_at: datetime) -> list[SeasonProposal]:
    """Return the proposals that a person accepted with one press, those that are not booked yet included."""
    found = SeasonProposal.objects.filter(asked_by=person, asked_at=asked_at)
    return list(found.select_related("cover__vehicle", "appointment__site", "appointment__bay").order_by("day", "pk"))


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
