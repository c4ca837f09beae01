"""Writes reminders as rows with a due time. Messages about appointments are written in ``invitations``."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction

from notifications.enums import NoticeStatus
from notifications.going_live.queries import read_release
from notifications.going_live.services import pause_release
from notifications.mail.rendering import render_message
from notifications.models import Message, Notice
from notifications.reminders.evaluation import Evaluated, ReminderStatus, Wanted
from notifications.reminders.planning import Plan, PlannedMessage, plan_reminders
from notifications.reminders.rules.ladder import StepOnDay
from notifications.reminders.text import DueVehicle, write_due_message
from scheduling.covers.queries import CoverCase, read_cases_apart
from scheduling.models import Cover
from treatments.models import Zone
from treatments.rules.explanation import Explanation, explain, to_json
from treatments.shared.faults import explain_fault, work_apart
from treatments.shared.rendering import render_all


@dataclass(frozen=True, slots=True)
class ReminderReport:
    """What a run of ``write_due_reminders`` came to; nobody is left out silently.

    Attributes:
        is_released: whether the owner lets reminders out; where not, none was written.
        is_wave: whether so many were due at once that the run stopped and asks the owner.
        waiting: how many messages the day's portion leaves for another day.
        capped: covers whose owner has had as many reminders this week as one person gets.
        without_address: covers whose owner can't be written to on any channel.
        unreachable: covers whose owner's address was refused for good and has not been corrected since.
        failed: covers whose reminder could not be written, each with why.
    """

    written: int = 0
    already_told: int = 0
    stopped: int = 0
    is_released: bool = True
    is_wave: bool = False
    waiting: int = 0
    capped: tuple[str, ...] = ()
    without_address: tuple[str, ...] = ()
    without_owner: tuple[str, ...] = ()
    unreachable: tuple[str, ...] = ()
    failed: tuple[str, ...] = ()


@transaction.atomic
def write_due_reminders(*, now: datetime, covers: Iterable[int] | None = None) -> ReminderReport:
    """Write a message for each person who has not been told yet of what is due on their covers.

    Without a release of the owner nothing is written, nor while it is paused; covers that a person at the desk chose
    are told of all the same.

    Args:
        now: the moment from which the messages are due, quiet hours apart.
        covers: keys of the only covers to be looked at, chosen by a person; all where left out.
    """
    release = None
    if covers is None:
        release = read_release()
        if release is None or release.paused_at:
            return ReminderReport(is_released=False, is_wave=release is not None)
    plan = plan_reminders(now=now, covers=covers, release=release)
    if plan.is_wave:
        assert release is not None
        pause_release(release=release, now=now)
        return _report(plan, 0, {})
    texts = write_texts(plan.going)
    faults = plan.evaluated.failed | texts.faults
    ready = texts.made
    by_hand = covers is not None
    written = sum(
        work_apart(
            ready,
            lambda some: _write(some, plan.evaluated, now, by_hand=by_hand),
            name=lambda pair: f"The reminder to customer {pair[0].customer.pk}",
            tell=lambda pair, why: faults.update({one.cover.pk: why for one in pair[0].wanted}),
        )
    )
    _note_capped(plan.capped, now)
    return _report(plan, written, faults)


def _report(plan: Plan, written: int, faults: Mapping[int, tuple[Explanation, ...]]) -> ReminderReport:
    evaluated = plan.evaluated
    numbers = dict(Cover.objects.filter(pk__in=faults).values_list("pk", "number"))
    already = evaluated.count(ReminderStatus.ALREADY_TOLD) + evaluated.count(ReminderStatus.UNREACHABLE)
    return ReminderReport(
        written,
        already,
        evaluated.count(ReminderStatus.STOPPED),
        is_wave=plan.is_wave,
        waiting=len(plan.waiting),
        capped=tuple(one.cover.number for one in plan.capped),
        without_address=evaluated.list_numbers(ReminderStatus.WITHOUT_ADDRESS),
        without_owner=evaluated.list_numbers(ReminderStatus.WITHOUT_OWNER),
        unreachable=evaluated.list_numbers(ReminderStatus.UNREACHABLE),
        failed=tuple(f"{numbers[key]}: {render_all(why)}" for key, why in sorted(faults.items())),
    )


@dataclass(frozen=True, slots=True)
class Texts:
    """Planned messages, as far as they could be put into words, each with its columns of text; and what could not."""

    made: list[tuple[PlannedMessage, dict[str, str]]]
    faults: dict[int, tuple[Explanation, ...]]


def write_texts(planned: Sequence[PlannedMessage]) -> Texts:
    """Put messages into words; a cover that can't be told of holds up no other of the same person."""
    zone_names = dict(Zone.objects.values_list("code", "name"))
    read, faults = read_cases_apart([one.cover for message in planned for one in message.wanted])
    cases = {case.cover.pk: case for case in read}
    made = []
    for message in planned:
        able = tuple(one for one in message.wanted if one.cover.pk in cases)
        if not any(one.news for one in able):
            continue
        try:
            made.append((replace(message, wanted=able), write_text(able, cases, zone_names)))
        except Exception as error:
            fault = explain_fault(error, f"The reminder of cover {able[0].cover.number}")
            faults |= {one.cover.pk: fault for one in able}
    return Texts(made, faults)


def write_text(
    wanted: Sequence[Wanted], cases: Mapping[int, CoverCase], zone_names: Mapping[str, str]
) -> dict[str, str]:
    """Return what a row keeps of the text of a message, by column."""
    first = wanted[0]
    assert first.reach.to is not None
    vehicles = [
        DueVehicle(one.cover, one.reminder, cases[one.cover.pk].read_state(one.day), one.find_step()) for one in wanted
    ]
    return render_message(write_due_message(vehicles, first.owner, zone_names, first.day), first.reach.to.channel)


def _write(
    some: Sequence[tuple[PlannedMessage, dict[str, str]]], evaluated: Evaluated, now: datetime, *, by_hand: bool
) -> int:
    """Write messages with their notices and return how many are new.

    A notice is claimed by its row as it was read, so that of two runs at once only one writes its message.
    """
    wanted = [_make_notices(message, evaluated, now) for message, _text in some]
    fresh = [notice for notices in wanted for notice in notices.values() if notice.pk is None]
    Notice.objects.bulk_create(fresh, ignore_conflicts=True)
    rows = {
        row.key: row
        for row in Notice.objects.select_for_update()
        .filter(key__in=[key for notices in wanted for key in notices])
        .order_by("pk")
    }
    messages, told = [], []
    for (planned, text), notices in zip(some, wanted, strict=True):
        claimed = [rows[key] for key in notices]
        if any(
            (row.message_id, row.again) != (expected.message_id, expected.again)
            for row, expected in zip(claimed, notices.values(), strict=True)
        ):
            continue
        message = _make_message(planned, text, claimed, now, by_hand=by_hand)
        messages.append(message)
        for row in claimed:
            row.again += row.message_id is not None
            row.message, row.status, row.why = message, NoticeStatus.TOLD, None
            told.append(row)
    Message.objects.bulk_create(messages)
    Notice.objects.bulk_update(told, ["message", "status", "why", "again"])
    _mark_overtaken(told)
    return len(messages)


def _make_notices(message: PlannedMessage, evaluated: Evaluated, now: datetime) -> dict[str, Notice]:
    """Return by key the notices of a message, each as its row was read or as a new one."""
    found = {}
    for one in message.wanted:
        for step in one.list_told():
            notice = _make_notice(one, step, now)
            past = evaluated.past.by_key.get(notice.key)
            if past is not None:
                notice.pk, notice.message_id, notice.again = past.pk, past.message_id, past.again
            found[notice.key] = notice
    return found


def _make_notice(one: Wanted, step: StepOnDay, now: datetime) -> Notice:
    assert one.reach.to is not None
    channel = one.reach.to.channel
    return Notice(
        key=f"{one.cover.number}:{step.due_key}:{step.step}:{channel}:{one.owner.pk}",
        customer=one.owner,
        cover=one.cover,
        due_key=step.due_key,
        step=step.step,
        day=step.day,
        channel=channel,
        created_at=now,
    )


def _make_message(
    planned: PlannedMessage, text: dict[str, str], notices: Sequence[Notice], now: datetime, *, by_hand: bool
) -> Message:
    first = planned.wanted[0]
    assert first.reach.to is not None
    keys = first.reminder.keys if len(planned.wanted) == 1 else [notice.due_key for notice in notices]
    return Message(
        key=f"{notices[0].key}:{notices[0].again + (notices[0].message_id is not None)}",
        customer=planned.customer,
        cover=first.cover,
        due_keys=list(dict.fromkeys(keys)),
        kind=planned.kind,
        channel=first.reach.to.channel,
        address=first.reach.to.address,
        due_at=planned.due_at,
        by_hand=by_hand,
        of_backlog=planned.is_backlog,
        created_at=now,
        **text,
    )


def _mark_overtaken(told: Sequence[Notice]) -> None:
    """Mark the earlier steps that waited for their turn and need not be told any more."""
    newest = {(notice.cover_id, notice.customer_id, notice.due_key) for notice in told}
    waiting = Notice.objects.filter(cover__in={notice.cover_id for notice in told}, status=NoticeStatus.WAITING)
    overtaken = [row.pk for row in waiting if (row.cover_id, row.customer_id, row.due_key) in newest]
    if overtaken:
        Notice.objects.filter(pk__in=overtaken).update(status=NoticeStatus.OVERTAKEN, why=None)


def _note_capped(capped: Sequence[Wanted], now: datetime) -> None:
    """Write down which steps wait since their receiver has had enough for this week; the next run finds them again."""
    why = to_json(explain("notice.capped"))
    waiting = [_make_notice(one, step, now) for one in capped for step in one.news]
    for notice in waiting:
        notice.why = why
    Notice.objects.bulk_create(waiting, ignore_conflicts=True)
