"""Evaluates what a reminder of each cover would come to: whether one is to be written, or why not."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any

from django.db.models import F, QuerySet

from notifications.consents.queries import Reach, read_reach
from notifications.documents.job_sheets import read_zones_to_complete
from notifications.enums import Step
from notifications.reminders.past import PastNotices
from notifications.reminders.rules.ladder import DAYS_JOINED, StepOnDay, find_news, find_step, list_told_with
from notifications.reminders.rules.reminders import TOLD_TOGETHER_DAYS, DueThing, Reminder, choose_reminder
from notifications.reminders.turns import read_turns
from scheduling.covers.queries import COVERS_AT_ONCE
from scheduling.covers.rules.due_item import DueKind, DueStatus
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import Cover, CoverState, DueItem
from treatments.models import Customer
from treatments.queries import map_todays
from treatments.rules.explanation import Explanation, from_json
from treatments.shared.faults import explain_fault


class ReminderStatus(StrEnum):
    """What a reminder of one cover would come to."""

    TO_BE_WRITTEN = "to_be_written"
    ALREADY_TOLD = "already_told"
    STOPPED = "stopped"
    WITHOUT_ADDRESS = "without_address"
    WITHOUT_OWNER = "without_owner"
    UNREACHABLE = "unreachable"  # told already, but it never arrived and the address has not been corrected
    NOTHING_OPEN = "nothing_open"  # or a visit for it is booked


@dataclass(frozen=True, slots=True)
class Wanted:
    """What one cover calls for and its owner has not been told of yet.

    Attributes:
        day: today at the site of the cover.
        news: the steps that are to be told; where there are none, ``soon`` alone may be told with something else.
        soon: steps that come within the next days; where a message goes out anyway they are told instead of today's.
        along: openings that the text names with the others.
    """

    cover: Cover
    owner: Customer
    reach: Reach
    reminder: Reminder
    day: date
    news: tuple[StepOnDay, ...]
    soon: tuple[StepOnDay, ...] = ()
    along: tuple[StepOnDay, ...] = ()

    def list_told(self) -> tuple[StepOnDay, ...]:
        """Return the steps that a message about the cover tells, each thing at one step only."""
        by_key = {one.due_key: one for one in (*self.along, *self.news, *self.soon)}
        return tuple(by_key.values())

    def find_step(self) -> Step | None:
        """Return where the thing that the message is about first stands; None where a treatment is to be completed."""
        if self.reminder.main is None:
            return next((one.step for one in self.news if one.step in (Step.LAPSED, Step.CURED)), None)
        step = find_step(self.reminder.main, self.day, ahead=DAYS_JOINED if self.soon else 0)
        return step.step if step is not None else Step.OPENS


@dataclass(slots=True)
class Evaluated:
    """Covers with something open, each with what a reminder would come to, and what is needed to write those wanted.

    Attributes:
        failed: by key of a cover, why what a reminder would come to can't be told.
    """

    past: PastNotices
    statuses: list[tuple[Cover, ReminderStatus]] = field(default_factory=list)
    wanted: list[Wanted] = field(default_factory=list)
    failed: dict[int, tuple[Explanation, ...]] = field(default_factory=dict)

    def count(self, wanted: ReminderStatus) -> int:
        return len(self.list_numbers(wanted))

    def list_numbers(self, wanted: ReminderStatus) -> tuple[str, ...]:
        return tuple(cover.number for cover, status in self.statuses if status is wanted)


def foresee_reminders(*, now: datetime, covers: Iterable[Cover]) -> dict[int, ReminderStatus]:
    """Return by cover what a reminder written now would come to; nothing is written.

    Args:
        covers: covers with ``site`` loaded.
    """
    known = {cover.pk: cover for cover in covers}
    evaluated = evaluate_reminders(map_todays(now), known, known)
    found = {cover.pk: status for cover, status in evaluated.statuses}
    return {key: found.get(key, ReminderStatus.NOTHING_OPEN) for key in known}


def evaluate_reminders(
    days: Mapping[int, date], keys: Iterable[int] | None, known: Mapping[int, Cover] | None = None
) -> Evaluated:
    """Return what a reminder of each cover with something open would come to.

    Args:
        days: by site, the day on which the reminders are to be told there.
        keys: the only covers to be looked at; all where None.
        known: all of these covers with ``site`` loaded, where the caller has read them already and wants to know only
            what would be; the reminders then lack zones and sentences.
    """
    by_cover, pending = _read_due_things(days, keys) if known is None else _read_due_dates(days, list(known))
    turns = read_turns(days, list(known) if known is not None else keys)
    evaluated = Evaluated(PastNotices())
    listed = sorted({*by_cover, *turns})
    for first in range(0, len(listed), COVERS_AT_ONCE):
        some = listed[first : first + COVERS_AT_ONCE]
        if known is None:
            covers = Cover.objects.select_related("vehicle", "site", "terms_version__terms").in_bulk(some)
        else:
            covers = {key: known[key] for key in some}
        evaluated.past.read(some)
        owners: dict[int, Customer] = {
            owner.owned_vehicle: owner  # type: ignore[attr-defined]
            for owner in list_owners([cover.vehicle_id for cover in covers.values()])
        }
        reaches = read_reach(owners.values())
        lacking = _read_lacking([covers[key] for key in some if key in pending], days)
        for key in some:
            cover = covers[key]
            day = days[cover.site_id]
            try:
                reminder = turns.get(key) or choose_reminder(
                    by_cover[key], day, lacking.get(key, ()), ahead=DAYS_JOINED
                )
                owner = owners.get(cover.vehicle_id)
                if reminder is not None:
                    _evaluate(evaluated, cover, owner, reaches, reminder, day)
            except Exception as error:
                evaluated.failed[key] = explain_fault(error, f"Evaluating the reminder of cover {cover.number}")
    return evaluated


def _read_lacking(pending: list[Cover], days: Mapping[int, date]) -> dict[int, tuple[str, ...]]:
    by_day: dict[date, list[Cover]] = defaultdict(list)
    for cover in pending:
        by_day[days[cover.site_id]].append(cover)
    found: dict[int, tuple[str, ...]] = {}
    for day, covers in by_day.items():
        found |= read_zones_to_complete(covers, day)
    return found


def _evaluate(
    evaluated: Evaluated,
    cover: Cover,
    owner: Customer | None,
    reaches: Mapping[int, Reach],
    reminder: Reminder,
    day: date,
) -> None:
    """Add to what was evaluated what a reminder of one cover would come to."""
    is_open = reminder.main is None or any(thing.opens_on <= day for thing in reminder.things)
    if owner is None:
        if is_open:
            evaluated.statuses.append((cover, ReminderStatus.WITHOUT_OWNER))
        return
    reach = reaches[owner.pk]
    told = evaluated.past.read_told(cover, owner, reach)
    news = find_news(reminder, day, told)
    soon = tuple(one for one in find_news(reminder, day, told, ahead=DAYS_JOINED) if one not in news)
    status = ReminderStatus.TO_BE_WRITTEN
    if not news and (evaluated.past.is_unreachable(cover, owner, reach) or reach.is_dead):
        status = ReminderStatus.UNREACHABLE
    elif not news:
        status = ReminderStatus.ALREADY_TOLD
    elif reach.is_stopped:
        status = ReminderStatus.STOPPED
    elif reach.to is None:
        status = ReminderStatus.UNREACHABLE if reach.is_dead else ReminderStatus.WITHOUT_ADDRESS
    if is_open:
        evaluated.statuses.append((cover, status))
    if (news or soon) and not reach.is_stopped and reach.to is not None:
        along = list_told_with(reminder, told)
        evaluated.wanted.append(Wanted(cover, owner, reach, reminder, day, news, soon, along))


def list_owners(vehicles: Iterable[int]) -> "QuerySet[Customer]":
    """Return who owns each vehicle now, with its key as ``owned_vehicle``; a vehicle has one open row of an owner."""
    return (
        Customer.objects.filter(ownerships__vehicle__in=vehicles, ownerships__until_day__isnull=True)
        .order_by()
        .annotate(owned_vehicle=F("ownerships__vehicle_id"))
    )


_DATES_OF_THING = ("key", "kind", "opens_on", "target_on", "last_on", "grace_until")
_COLUMNS_OF_THING = ("key", "kind", "zones", "opens_on", "target_on", "last_on", "grace_until", "reasons")
TOLD_TOGETHER = timedelta(days=TOLD_TOGETHER_DAYS)


def _list_due_things(soon: "QuerySet[DueItem]") -> "QuerySet[Any, Any]":
    """Return of due items the cover with its site and state, and what a reminder may say of each."""
    # Who has a visit booked need not be called to it; given up, it is due again and told of again.
    called = soon.exclude(status=DueStatus.BOOKED).order_by()
    return called.values_list("cover_id", "cover__site_id", "cover__last_state__status", *_COLUMNS_OF_THING)


def _read_due_things(
    days: Mapping[int, date], keys: Iterable[int] | None
) -> tuple[dict[int, list[DueThing]], set[int]]:
    """Return by cover what is due, of covers with a window that is open or opens soon, and which covers are pending."""
    if not days:
        return {}, set()
    soon = DueItem.objects.filter(opens_on__lte=max(days.values()) + TOLD_TOGETHER)
    if keys is not None:
        soon = soon.filter(cover__in=keys)
    by_cover: dict[int, list[DueThing]] = defaultdict(list)
    sites: dict[int, int] = {}
    pending = set()
    for cover, site, status, key, kind, zones, *dates, reasons in _list_due_things(soon):
        if dates[0] <= days[site] + TOLD_TOGETHER:
            opens_on, target_on, last_on, grace_until = dates
            why = tuple(map(from_json, reasons))
            thing = DueThing(key, DUE_KINDS[kind], tuple(zones), opens_on, target_on, last_on, grace_until, why)
            by_cover[cover].append(thing)
            sites[cover] = site
            if status == CoverStatus.PENDING:
                pending.add(cover)
    return _leave_opened(by_cover, sites, days), pending


def _read_due_dates(days: Mapping[int, date], keys: list[int]) -> tuple[dict[int, list[DueThing]], set[int]]:
    """Return what ``_read_due_things`` returns, without zones and sentences, which are long."""
    # By the states, so that each of those is looked up once and not for every thing.
    rows = (
        CoverState.objects.filter(
            cover__in=keys,
            cover__due_items__opens_on__lte=max(days.values(), default=date.min) + TOLD_TOGETHER,
            cover__due_items__status__in=[status for status in DueStatus if status != DueStatus.BOOKED],
        )
        .order_by()
        .values_list("cover_id", "site_id", "status", *(f"cover__due_items__{name}" for name in _DATES_OF_THING))
    )
    by_cover: dict[int, list[DueThing]] = defaultdict(list)
    sites: dict[int, int] = {}
    for cover, site, _status, key, kind, *dates in rows:
        if dates[0] <= days[site] + TOLD_TOGETHER:
            by_cover[cover].append(DueThing(key, DUE_KINDS[kind], (), *dates))
            sites[cover] = site
    pending = {cover for cover, _site, status, *_thing in rows if status == CoverStatus.PENDING}
    return _leave_opened(by_cover, sites, days), pending


def _leave_opened(
    by_cover: dict[int, list[DueThing]], sites: Mapping[int, int], days: Mapping[int, date]
) -> dict[int, list[DueThing]]:
    """Return the covers with at least one window that is open or opens within the days that are told together."""
    return {
        key: things
        for key, things in by_cover.items()
        if any(thing.opens_on <= days[sites[key]] + timedelta(days=DAYS_JOINED) for thing in things)
    }


DUE_KINDS = {kind.value: kind for kind in DueKind}
