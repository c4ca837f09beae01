"""Shows an owner what a release would send, to whom and when, before anything is written."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from math import ceil

from dateutil.relativedelta import relativedelta
from django.db.models import Q

from notifications.customer_page.links import mask_links
from notifications.enums import Channel, MessageKind
from notifications.languages import choose_language
from notifications.models import Release
from notifications.reminders.evaluation import ReminderStatus
from notifications.reminders.planning import Plan, PlannedMessage, plan_reminders
from notifications.reminders.rules.joining import BY_PRESSURE, find_most_in_all
from notifications.reminders.services import write_texts
from scheduling.models import DueItem
from treatments.queries import find_shop_day

DAYS_FORESEEN = 28


@dataclass(frozen=True, slots=True)
class Sample:
    """One message as its receiver would read it."""

    kind: MessageKind
    channel: Channel
    address: str
    name: str
    due_at: datetime
    language: str
    subject: str
    body: str


@dataclass(frozen=True, slots=True)
class ReleasePreview:
    """What a release would send.

    Attributes:
        counts: how many messages of which kind on which channel, the most pressing first.
        today: how many of them go at once; the others wait for the portions of the days to come.
        days: how many days the portions take, today included.
        is_wave: whether the run would stop and ask, since more than ``most_in_all`` fell due by today alone.
        too_old: how many steps are not told, since they lie before the chosen day.
        capped: how many covers wait since their owner had enough reminders this week.
    """

    counts: tuple[tuple[MessageKind, Channel, int], ...]
    today: int
    waiting: int
    days: int
    is_wave: bool
    most_in_all: int
    too_old: int
    capped: int
    stopped: int
    without_owner: tuple[str, ...]
    without_address: tuple[str, ...]
    unreachable: tuple[str, ...]
    samples: tuple[Sample, ...] = field(default=())

    @property
    def messages(self) -> int:
        return self.today + self.waiting


def preview_release(*, now: datetime, missed_since: date, daily_portion: int, usual_per_day: int) -> ReleasePreview:
    """Return what reminders would go out were they released now; nothing is written.

    Args:
        missed_since: what was missed before this day is not told.
        daily_portion: messages a day about what fell due by today, 1 or more.
        usual_per_day: messages on a usual day.
    """
    release = Release(
        missed_since=missed_since, daily_portion=daily_portion, usual_per_day=usual_per_day, released_at=now
    )
    return describe_plan(plan_reminders(now=now, release=release), release)


def describe_plan(plan: Plan, release: Release) -> ReleasePreview:
    """Return what a plan comes to under a release, with one message of each kind as it would be read."""
    every = [*plan.going, *plan.waiting]
    counts = Counter((one.kind, _find_channel(one)) for one in every)
    evaluated = plan.evaluated
    return ReleasePreview(
        counts=tuple(
            (kind, channel, counts[kind, channel])
            for kind in BY_PRESSURE
            for channel in Channel
            if counts[kind, channel]
        ),
        today=len(plan.going),
        waiting=len(plan.waiting),
        days=1 + ceil(len(plan.waiting) / max(1, release.daily_portion)),
        is_wave=plan.is_wave,
        most_in_all=find_most_in_all(release.usual_per_day),
        too_old=plan.too_old,
        capped=len(plan.capped),
        stopped=evaluated.count(ReminderStatus.STOPPED),
        without_owner=evaluated.list_numbers(ReminderStatus.WITHOUT_OWNER),
        without_address=evaluated.list_numbers(ReminderStatus.WITHOUT_ADDRESS),
        unreachable=evaluated.list_numbers(ReminderStatus.UNREACHABLE),
        samples=_write_samples(every),
    )


def _find_channel(message: PlannedMessage) -> Channel:
    to = message.wanted[0].reach.to
    assert to is not None  # else it would not be planned
    return to.channel


def _write_samples(every: list[PlannedMessage]) -> tuple[Sample, ...]:
    """Put the first message of each kind into words, and the one that tells of the most vehicles."""
    firsts: dict[MessageKind, PlannedMessage] = {}
    for one in every:
        firsts.setdefault(one.kind, one)
    chosen = [firsts[kind] for kind in BY_PRESSURE if kind in firsts]
    largest = max(every, key=lambda one: len(one.wanted), default=None)
    if largest is not None and len(largest.wanted) > 1 and largest not in chosen:
        chosen.append(largest)
    found = []
    for message, text in write_texts(chosen).made:
        to = message.wanted[0].reach.to
        assert to is not None
        found.append(
            Sample(
                message.kind,
                to.channel,
                to.address or message.customer.address,
                message.customer.name,
                message.due_at,
                choose_language(message.customer),
                text["subject"],
                mask_links(text["body"]),
            )
        )
    return tuple(found)


def foresee_usual_day(now: datetime) -> int:
    """Return how many messages a usual day has, by the steps that lie in the next four weeks; at least 1."""
    first = find_shop_day(now)
    last = first + timedelta(days=DAYS_FORESEEN)

    def count(column: str, before: relativedelta | timedelta) -> int:
        days = {f"{column}__gt": first + before, f"{column}__lte": last + before}
        return DueItem.objects.filter(Q(**days)).values("cover").distinct().count()

    day = timedelta(days=1)
    steps = (
        count("opens_on", timedelta()),
        count("last_on", relativedelta(months=1)),
        count("last_on", timedelta(days=7)),
        count("last_on", timedelta()),
        count("last_on", -day),
        count("grace_until", -day),
    )
    return max(1, ceil(sum(steps) / DAYS_FORESEEN))
