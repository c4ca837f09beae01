"""Reads what the owners of covers have been told already, and which of it never reached them."""

from collections import defaultdict
from collections.abc import Iterable
from typing import NamedTuple

from notifications.consents.queries import Reach
from notifications.enums import MessageStatus, NoticeStatus, Step
from notifications.models import Notice
from notifications.reminders.rules.ladder import ORDER
from scheduling.models import Cover
from treatments.models import Customer


class PastNotice(NamedTuple):
    """What is asked of a step that was told earlier, and of the message that told it."""

    pk: int
    key: str
    cover_id: int
    customer_id: int
    due_key: str
    step: str
    status: str
    again: int
    message_id: int | None
    message__status: str | None
    message__channel: str | None
    message__address: str | None


# These never reached anybody.
FAILED = (MessageStatus.FAILED, MessageStatus.WITHHELD)


def has_told(notice: PastNotice, reach: Reach) -> bool:
    """Say whether a step counts as told: not where its message was withdrawn, or never came and could now.

    Args:
        reach: how its receiver is written to now.
    """
    if notice.status != NoticeStatus.TOLD or notice.message__status == MessageStatus.WITHDRAWN:
        return False
    return notice.message__status not in FAILED or _is_same_address(notice, reach)


def _is_same_address(notice: PastNotice, reach: Reach) -> bool:
    if reach.to is None:
        return True
    return (notice.message__channel, notice.message__address) == (reach.to.channel, reach.to.address)


class PastNotices:
    """The notices about some covers."""

    def __init__(self) -> None:
        self._by_receiver: dict[tuple[int, int], list[PastNotice]] = defaultdict(list)
        self.by_key: dict[str, PastNotice] = {}

    def read(self, covers: Iterable[int]) -> None:
        """Read what was told about some more covers."""
        for row in Notice.objects.filter(cover__in=covers).order_by("pk").values_list(*PastNotice._fields):
            notice = PastNotice(*row)
            self._by_receiver[notice.cover_id, notice.customer_id].append(notice)
            self.by_key[notice.key] = notice

    def read_told(self, cover: Cover, owner: Customer, reach: Reach) -> dict[str, Step]:
        """Return by the key of a due item the latest step that an owner was told of, on whichever channel."""
        told: dict[str, Step] = {}
        for notice in self._by_receiver[cover.pk, owner.pk]:
            step = Step(notice.step)
            if has_told(notice, reach) and (notice.due_key not in told or ORDER[step] > ORDER[told[notice.due_key]]):
                told[notice.due_key] = step
        return told

    def is_unreachable(self, cover: Cover, owner: Customer, reach: Reach) -> bool:
        """Say whether the last message to this owner never arrived, at the address that is still on record."""
        sent = [notice for notice in self._by_receiver[cover.pk, owner.pk] if notice.message_id]
        last = max(sent, key=lambda notice: notice.message_id or 0, default=None)
        return last is not None and last.message__status in FAILED and _is_same_address(last, reach)
