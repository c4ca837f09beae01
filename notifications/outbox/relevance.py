"""Says which messages are not to be sent any more, for a batch of them at once.

What a message tells of must still be so when it goes; its customer must want it, and its address take mail.
"""

from collections.abc import Sequence
from datetime import datetime

from notifications.claim_news.services import is_claim_news_true
from notifications.enums import ABOUT_A_CLAIM, ABOUT_AN_ADDRESS, REMINDERS, MessageKind
from notifications.invitations.follow_ups import make_key
from notifications.invitations.services import is_invitation_true
from notifications.models import Message, Suppression
from notifications.reminders.relevance import find_untrue_reminders
from scheduling.models import AppointmentStatus
from treatments.rules.explanation import Explanation, Label, explain
from treatments.shared.faults import work_apart

# Nobody need see to these; what keeps any other from being sent is a failure.
WITHDRAWING = frozenset({"message.stopped", "message.not_so_any_more"})


def find_why_not_sent(messages: Sequence[Message], *, now: datetime) -> dict[int, Explanation]:
    """Return why each of these is not to be sent, by its key; what may go is left out."""
    suppressed = _find_suppressed(messages)
    untrue = _find_untrue(messages, now)
    found: dict[int, Explanation] = {}
    for message in messages:
        if message.customer.messages_stopped_at and message.kind not in ABOUT_AN_ADDRESS:
            found[message.pk] = explain("message.stopped")
        elif message.pk in untrue:
            found[message.pk] = explain("message.not_so_any_more")
        elif reason := suppressed.get((message.channel, message.address)):
            found[message.pk] = explain("message.suppressed", reason=Label(reason))
    return found


def sort_out(messages: Sequence[Message], *, now: datetime) -> tuple[dict[int, Explanation], dict[int, Explanation]]:
    """Return why each of these is not to be sent, as ``find_why_not_sent``, and what the program failed at for some."""
    faults: dict[int, Explanation] = {}
    found: dict[int, Explanation] = {}
    for part in work_apart(
        messages,
        lambda some: find_why_not_sent(some, now=now),
        name=lambda message: f"Sending message {message.pk}",
        tell=lambda message, why: faults.__setitem__(message.pk, why[0]),
        writes=False,
    ):
        found |= part
    return found, faults


def is_still_true(message: Message, now: datetime) -> bool:
    """Say whether what a message tells of is still so."""
    return not _find_untrue([message], now)


def _find_suppressed(messages: Sequence[Message]) -> dict[tuple[str, str], str]:
    addresses = {message.address for message in messages}
    rows = Suppression.objects.filter(address__in=addresses, lifted_at__isnull=True)
    return {(channel, address): reason for channel, address, reason in rows.values_list("channel", "address", "reason")}


def _find_untrue(messages: Sequence[Message], now: datetime) -> set[int]:
    untrue = {message.pk for message in messages if message.appointment is not None and not _is_visit_so(message, now)}
    untrue |= {message.pk for message in messages if message.kind in ABOUT_A_CLAIM and not is_claim_news_true(message)}
    return untrue | find_untrue_reminders([message for message in messages if message.kind in REMINDERS], now=now)


def _is_visit_so(message: Message, now: datetime) -> bool:
    visit = message.appointment
    assert visit is not None
    if message.kind == MessageKind.VISIT_THANKS:
        return visit.status == AppointmentStatus.DONE
    if message.kind == MessageKind.VISIT_TOMORROW:
        is_as_told = message.key == make_key(visit)
        return is_as_told and visit.status == AppointmentStatus.BOOKED and now < visit.starts_at
    return is_invitation_true(message, now)
