"""Says which reminders tell what is not so any more; the next run writes anew what of them still is."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import NamedTuple

from notifications.enums import Step
from notifications.models import Message, Notice
from scheduling.covers.rules.due_item import DueStatus
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import CoverState, DueItem
from treatments.queries import map_todays

COMPLETE = "complete:"


class Days(NamedTuple):
    """The days of a due item that tell its steps apart."""

    last_on: date
    grace_until: date


def find_untrue_reminders(messages: Sequence[Message], *, now: datetime) -> set[int]:
    """Return the keys of those messages of which some part is not so any more; each has notices."""
    notices = list(Notice.objects.filter(message__in=[message.pk for message in messages]).select_related("cover"))
    covers = {notice.cover_id for notice in notices}
    states = dict(CoverState.objects.filter(cover__in=covers).values_list("cover", "status"))
    items: dict[int, dict[str, Days]] = defaultdict(dict)
    open_items = DueItem.objects.filter(cover__in=covers).exclude(status=DueStatus.BOOKED)
    for cover, key, last_on, grace_until in open_items.values_list("cover", "key", "last_on", "grace_until"):
        items[cover][key] = Days(last_on, grace_until)
    todays = map_todays(now)
    return {
        notice.message_id or 0
        for notice in notices
        if not _is_so(notice, states.get(notice.cover_id, ""), items[notice.cover_id], todays[notice.cover.site_id])
    }


def _is_so(notice: Notice, state: str, items: Mapping[str, Days], today: date) -> bool:
    if notice.step == Step.LAPSED:
        return state == CoverStatus.LAPSED
    if notice.step == Step.CURED:
        return state == CoverStatus.IN_FORCE
    if notice.due_key.startswith(COMPLETE):
        # It tells of zones, not of due items; the cover stays pending while one of them is missing.
        return state == CoverStatus.PENDING
    days = items.get(notice.due_key)
    if days is None:
        return False
    match notice.step:
        case Step.MISSED:
            return today > days.grace_until
        case Step.GRACE:
            return days.last_on < today <= days.grace_until
        case Step.OPENS:
            # Also of a thing that is told beside a more pressing one, whatever has become of its days.
            return True
    return today <= days.last_on
