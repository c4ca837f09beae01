"""Plans the messages of a run: the steps of each person's covers joined, and when each message goes; writes nothing."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from django.db.models import Count

from notifications.consents.queries import SiteHours, find_customer_zone, read_contact_hours
from notifications.enums import REMINDERS, MessageKind, MessageStatus
from notifications.going_live.queries import read_portion
from notifications.models import Message, Release
from notifications.reminders.evaluation import Evaluated, Wanted, evaluate_reminders
from notifications.reminders.rules.joining import Joined, choose_portion, join
from notifications.rules.quiet_hours import find_telling_moment
from treatments.models import Customer
from treatments.queries import find_shop_day
from treatments.reference.queries import list_sites
from treatments.rules.site_days import find_day

ONE_WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Part:
    """What one cover calls for, as the rules of joining see it."""

    wanted: Wanted

    @property
    def kind(self) -> MessageKind:
        return self.wanted.reminder.kind

    @property
    def first_day(self) -> date | None:
        return min((one.day for one in self.wanted.news), default=None)


@dataclass(frozen=True, slots=True)
class PlannedMessage:
    """One message to one person: what it tells of, the most pressing first, and when it may go."""

    customer: Customer
    wanted: tuple[Wanted, ...]
    due_at: datetime
    is_backlog: bool = False

    @property
    def kind(self) -> MessageKind:
        return self.wanted[0].reminder.kind


@dataclass(slots=True)
class Plan:
    """What a run would write.

    Attributes:
        waiting: messages that the day's portion leaves for another day.
        capped: what persons call for who have had as many reminders this week as one gets.
        too_old: steps from before the day from which the owner wants missed things told.
        is_wave: whether there are so many that none goes out before somebody has looked.
    """

    evaluated: Evaluated
    going: list[PlannedMessage] = field(default_factory=list)
    waiting: list[PlannedMessage] = field(default_factory=list)
    capped: list[Wanted] = field(default_factory=list)
    too_old: int = 0
    is_wave: bool = False


def plan_reminders(*, now: datetime, covers: Iterable[int] | None = None, release: Release | None = None) -> Plan:
    """Return the reminders that a run at ``now`` would write.

    Args:
        covers: keys of covers that a person chose, for whom neither release nor cap counts; all where None.
        release: what the owner released; wanted where no covers are given.
    """
    hours = read_contact_hours()
    days = _find_days_of_telling(now, hours)
    evaluated = evaluate_reminders(days, None if covers is None else list(covers))
    plan = Plan(evaluated)
    wanted = evaluated.wanted
    if release is not None:
        wanted = _leave_out_what_is_too_old(plan, release)
    by_person: dict[int, list[Wanted]] = defaultdict(list)
    for one in wanted:
        by_person[one.owner.pk].append(one)
    counts = {} if release is None else _count_this_week(by_person, now)
    released_on = None if release is None else find_shop_day(release.released_at)
    joined: list[Joined[Part]] = []
    for person, theirs in by_person.items():
        message = join([Part(one) for one in theirs], released_on)
        if message is None:
            continue
        if counts.get(person, 0) >= _find_hours(hours, theirs).most_per_week:
            plan.capped += [one for one in theirs if one.news]
            continue
        joined.append(message)
    if release is None:
        plan.going = [_plan(one, hours, now) for one in joined]
        return plan
    chosen = choose_portion(joined, read_portion(release, now))
    plan.is_wave = chosen.is_wave
    plan.going = [_plan(one, hours, now) for one in chosen.going]
    plan.waiting = [_plan(one, hours, now) for one in chosen.waiting]
    return plan


def _find_days_of_telling(now: datetime, hours: Mapping[int, SiteHours]) -> dict[int, date]:
    """Return by site the day on which a message that is written now may go: what it tells must be so then."""
    return {
        site.pk: find_day(find_telling_moment(now, site.clock, hours.get(site.pk, SiteHours()).quiet), site.clock)
        for site in list_sites()
    }


def _leave_out_what_is_too_old(plan: Plan, release: Release) -> list[Wanted]:
    found = []
    for one in plan.evaluated.wanted:
        news = tuple(step for step in one.news if step.day >= release.missed_since)
        plan.too_old += len(one.news) - len(news)
        if news or one.soon:
            found.append(replace(one, news=news))
    return found


def _count_this_week(people: Iterable[int], now: datetime) -> dict[int, int]:
    """Return how many reminders each person has had in the last seven days, or is to get."""
    written = Message.objects.filter(customer__in=list(people), kind__in=REMINDERS, due_at__gt=now - ONE_WEEK).exclude(
        status=MessageStatus.WITHDRAWN
    )
    return dict(written.order_by().values_list("customer").annotate(Count("pk")))


def _find_hours(hours: Mapping[int, SiteHours], theirs: Sequence[Wanted]) -> SiteHours:
    return hours.get(theirs[0].cover.site_id, SiteHours())


def _plan(message: Joined[Part], hours: Mapping[int, SiteHours], now: datetime) -> PlannedMessage:
    wanted = tuple(part.wanted for part in message.parts)
    first = wanted[0]
    zone = find_customer_zone(first.reach, first.cover.site)
    due_at = find_telling_moment(now, zone, _find_hours(hours, wanted).quiet)
    return PlannedMessage(first.owner, wanted, due_at, message.is_backlog)
