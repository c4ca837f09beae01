"""Reads of season plans for people: the newest plan, a week of its proposals, and how many weeks there are."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Q, QuerySet

from scheduling.enums import ProposalStatus
from scheduling.models import SeasonPlan, SeasonProposal
from treatments.models import User


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
