"""The steps at which the owner of a vehicle hears of one due item, and on which day each of them comes.

The terms name the dates; the steps between them are the same for every shop.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from dateutil.relativedelta import relativedelta

from notifications.enums import MessageKind, Step
from notifications.reminders.rules.reminders import DueThing, Reminder

MONTH, WEEK, ONE_DAY = relativedelta(months=1), timedelta(days=7), timedelta(days=1)
# Told within the same week in one message, where one of them is to be told today.
DAYS_JOINED = 6
ORDER = {step: place for place, step in enumerate(Step)}
# These name days to come, so they may be told a few days early; the others are true from their day on only.
EARLY_STEPS = frozenset({Step.OPENS, Step.MONTH_LEFT, Step.WEEK_LEFT, Step.LAST_DAY})


@dataclass(frozen=True, slots=True)
class StepOnDay:
    """A step of one due item, and the day from which it holds."""

    due_key: str
    step: Step
    day: date


def list_steps(thing: DueThing) -> tuple[StepOnDay, ...]:
    """Return the steps of a due item that nobody comes for, by day; each takes the place of the one before.

    What would come within a week of the opening is left out, since its dates were told with it.
    """
    days = {Step.OPENS: thing.opens_on}
    for step, day in ((Step.MONTH_LEFT, thing.last_on - MONTH), (Step.WEEK_LEFT, thing.last_on - WEEK)):
        if day >= thing.opens_on + WEEK:
            days[step] = day
    days[Step.LAST_DAY] = thing.last_on
    if thing.grace_until > thing.last_on:
        days[Step.GRACE] = thing.last_on + ONE_DAY
    days[Step.MISSED] = thing.grace_until + ONE_DAY
    return tuple(StepOnDay(thing.key, step, day) for step, day in days.items())


def find_step(thing: DueThing, day: date, *, ahead: int = 0) -> StepOnDay | None:
    """Return the newest step of a due item on a day, None before its window opens.

    Args:
        ahead: by how many days a step that names days to come may be taken early.
    """
    found = None
    for step in list_steps(thing):
        if step.day <= (day + timedelta(days=ahead) if step.step in EARLY_STEPS else day):
            found = step
    return found


def find_news(reminder: Reminder, day: date, told: Mapping[str, Step], *, ahead: int = 0) -> tuple[StepOnDay, ...]:
    """Return the steps in a reminder that its receiver has not been told of; none: it is not written.

    Only what the message is about first goes through all steps; of other things in it their opening is news.

    Args:
        reminder: what the cover calls for on ``day``.
        told: by the key of a due item, the latest step that its owner was told of.
        ahead: as for ``find_step``.
    """
    if reminder.main is None:
        step = {MessageKind.COVER_LAPSED: Step.LAPSED, MessageKind.COVER_IN_FORCE: Step.CURED}.get(
            reminder.kind, Step.OPENS
        )
        found = [StepOnDay(key, step, reminder.since or day) for key in reminder.keys]
    else:
        main = find_step(reminder.main, day, ahead=ahead)
        last = day + timedelta(days=ahead)
        others = [thing for thing in reminder.things if thing is not reminder.main and thing.opens_on <= last]
        found = [step for step in (main,) if step is not None]
        found += [StepOnDay(thing.key, Step.OPENS, thing.opens_on) for thing in others]
    return tuple(one for one in found if not _is_told(one, told))


def list_told_with(reminder: Reminder, told: Mapping[str, Step]) -> tuple[StepOnDay, ...]:
    """Return the openings that are told with a reminder although their days have not come; they need no further one."""
    others = [thing for thing in reminder.things if thing is not reminder.main]
    found = [StepOnDay(thing.key, Step.OPENS, thing.opens_on) for thing in others]
    return tuple(one for one in found if not _is_told(one, told))


def _is_told(one: StepOnDay, told: Mapping[str, Step]) -> bool:
    return one.due_key in told and ORDER[told[one.due_key]] >= ORDER[one.step]
