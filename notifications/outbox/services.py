"""Sends the messages whose time has come, many over one connection, and marks what came of each.

A row is the truth; losing a task loses nothing. Reminders write rows in ``reminders``, visits in ``invitations``.
"""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from notifications.enums import Channel, SuppressionReason
from notifications.mail.carrier import EmailCarrier
from notifications.models import Message
from notifications.outbox.carriers import (
    SENT_BY_WORKERS,
    BrokenOffError,
    Carrier,
    CarrierError,
    PolicyRefusalError,
    RefusedForGoodError,
    ServerFaultError,
)
from notifications.outbox.channels import Standing, note_fault, note_success, take_standing
from notifications.outbox.leases import (
    BATCH,
    Batch,
    count_attempt,
    free_lapsed_leases,
    give_back,
    lease_messages,
    record_sent,
)
from notifications.outbox.outcomes import (
    MOST_ATTEMPTS,
    mark_failed,
    mark_program_failed,
    mark_put_off,
    mark_sent,
    mark_server_failed,
    mark_withdrawn,
)
from notifications.outbox.relevance import WITHDRAWING, sort_out
from notifications.outbox.text_carriers import make_text_carrier
from notifications.suppressions.services import suppress_address
from treatments.rules.explanation import Explanation, explain
from treatments.shared.faults import NO_FAULT_OF_A_ROW, explain_fault
from treatments.shared.rendering import render

# Whether a message is still wanted is found for a batch at once, so a batch may not take long.
BATCH_TIME = timedelta(minutes=1)
# So many messages in a row that the server does not take for the time being are the server's own fault.
NONE_TAKEN = 3
# So many that it hangs up at, each on a fresh connection.
ALL_BROKEN_OFF = 2


@dataclass(slots=True)
class SendReport:
    """What a run came to; a failure is told with whom it was for and why."""

    sent: int = 0
    withdrawn: int = 0
    failed: list[str] = field(default_factory=list)
    to_be_retried: list[str] = field(default_factory=list)


def send_all_due_messages(*, clock: Callable[[], datetime]) -> SendReport:
    """Send every message whose time has come, in this process; other workers may do the same meanwhile.

    Args:
        clock: tells the moment; a long run must not hold its leases by the moment at which it began.
    """
    report = SendReport()
    free_lapsed_leases(now=clock())
    for channel in SENT_BY_WORKERS:
        send_due_messages(channel, clock=clock, report=report)
    return report


def send_due_messages(
    channel: Channel,
    *,
    clock: Callable[[], datetime],
    report: SendReport | None = None,
    time_limit: timedelta | None = None,
) -> SendReport:
    """Send the messages of one channel, over one connection, until none is due or its server fails.

    No message comes up twice in a run: each ends, or its time is put off, or the channel is.

    Args:
        time_limit: after which no further batch is begun; None: when all are sent.
    """
    report = report or SendReport()
    began = clock()
    standing = take_standing(channel, now=began)
    if standing is None:
        return report
    with closing(make_carrier(channel)) as carrier:
        while time_limit is None or clock() - began < time_limit:
            batch = lease_messages(channel, now=clock(), limit=BATCH)
            if not batch.messages:
                break
            run = _BatchRun(batch, carrier, standing, clock, report)
            if not run.send():
                return report
            standing = run.standing
        if standing.is_failing:
            _try_server(channel, carrier, standing, now=clock())
    return report


def _try_server(channel: Channel, carrier: Carrier, standing: Standing, *, now: datetime) -> None:
    """See whether a server that failed answers again, where it has nothing to be sent."""
    try:
        carrier.open()
    except ServerFaultError as fault:
        note_fault(channel, str(fault), standing, now=now)
    else:
        note_success(channel)


def make_carrier(channel: Channel) -> Carrier:
    """Return what carries the messages of a channel, not connected yet."""
    return EmailCarrier() if channel is Channel.EMAIL else make_text_carrier()


class _BatchRun:
    """One worker's work on one batch: which messages the server does not take for now, and which it accepted."""

    def __init__(
        self, batch: Batch, carrier: Carrier, standing: Standing, clock: Callable[[], datetime], report: SendReport
    ) -> None:
        self.batch, self.carrier, self.standing = batch, carrier, standing
        self.clock, self.report = clock, report
        # In a row, without one accepted between: with the next ones shows whether they are at fault or the server.
        self.not_taken: list[tuple[Message, CarrierError]] = []
        self.sent: list[int] = []

    def send(self) -> bool:
        """Send the batch; False where the server failed. What was not begun is given back."""
        began = self.clock()
        left = list(self.batch.messages)
        try:
            left = self._take_out_unwanted(left)
            while left and self.clock() - began <= BATCH_TIME:
                message = left.pop(0)
                if count_attempt(self.batch, message):
                    self._send_one(message)
            self._settle()
            return True
        except ServerFaultError as fault:
            again_at = note_fault(self.batch.channel, str(fault), self.standing, now=self.clock())
            for message, error in self.not_taken:
                mark_server_failed(self.batch, message, str(error), again_at=again_at)
                self._tell(self.report.to_be_retried, message, str(error))
            return False
        finally:
            give_back(self.batch, left)
            record_sent(self.sent, now=self.clock())

    def _take_out_unwanted(self, messages: list[Message]) -> list[Message]:
        why_not, faults = sort_out(messages, now=self.clock())
        wanted = []
        for message in messages:
            if message.pk in faults:
                count_attempt(self.batch, message)
                self._note_program_fault(message, faults[message.pk])
                continue
            why = why_not.get(message.pk)
            if why is None and message.attempts >= MOST_ATTEMPTS:
                # Attempts that no worker lived to finish count too, or such a message would be tried for ever.
                why = explain("message.broke_off", attempts=message.attempts)
            if why is None:
                wanted.append(message)
            elif why.code in WITHDRAWING:
                self.report.withdrawn += mark_withdrawn(self.batch, message, why)
            else:
                self._fail(message, why)
        return wanted

    def _send_one(self, message: Message) -> None:
        try:
            self._hand_over(message)
        except RefusedForGoodError as error:
            self._fail(message, error.explanation, str(error))
            if error.explanation.code == "message.address_refused":
                channel, bounced = self.batch.channel, SuppressionReason.BOUNCED
                suppress_address(channel, message.address, bounced, str(error), now=self.clock())
        except CarrierError as error:
            self.not_taken.append((message, error))
            if isinstance(error, BrokenOffError):
                self.carrier.close()
            if self._is_servers_fault(error):
                raise ServerFaultError(str(error)) from error
        except NO_FAULT_OF_A_ROW:
            raise
        except Exception as error:
            self._note_program_fault(message, explain_fault(error, f"Sending message {message.pk}")[0])
        else:
            if mark_sent(self.batch, message, now=self.clock()):
                self.sent.append(message.pk)
                self.report.sent += 1
            if self.standing.is_failing:
                self.standing = note_success(self.batch.channel)
            self._settle(is_well=True)

    def _hand_over(self, message: Message) -> None:
        """Send a message; where a connection that carried others was closed meanwhile, once more over a new one."""
        prepared: Any = self.carrier.prepare(message)
        self.carrier.open()
        is_fresh = not self.carrier.carried
        try:
            self.carrier.send(prepared)
        except BrokenOffError:
            if is_fresh:
                raise
            self.carrier.close()
            self.carrier.open()
            self.carrier.send(prepared)

    def _is_servers_fault(self, error: CarrierError) -> bool:
        if isinstance(error, ServerFaultError):
            return True
        # An address that was put off before says nothing about the server: it may be busy for days.
        telling = [other for message, other in self.not_taken if message.first_refused_at is None]
        broken_off = sum(isinstance(other, BrokenOffError) for other in telling)
        if self.standing.is_failing:
            return bool(telling)
        return broken_off >= ALL_BROKEN_OFF or len(telling) >= NONE_TAKEN

    def _settle(self, *, is_well: bool = False) -> None:
        """Lay what was not taken at the door of the messages, since the server took another or answered to the end.

        Args:
            is_well: the server accepted another message just now.

        Raises:
            ServerFaultError: where it hung up at one and has accepted none since.
        """
        for message, error in self.not_taken:
            if isinstance(error, BrokenOffError) and not is_well and message.first_refused_at is None:
                raise ServerFaultError(str(error)) from error
        for message, error in self.not_taken:
            if isinstance(error, PolicyRefusalError) and is_well:
                self._fail(message, explain("message.address_refused"), str(error))
            else:
                is_over = mark_put_off(self.batch, message, str(error), now=self.clock())
                self._tell(self.report.failed if is_over else self.report.to_be_retried, message, str(error))
        self.not_taken = []

    def _note_program_fault(self, message: Message, why: Explanation) -> None:
        is_over = mark_program_failed(self.batch, message, why, now=self.clock())
        self._tell(self.report.failed if is_over else self.report.to_be_retried, message, render(why))

    def _fail(self, message: Message, why: Explanation, answer: str = "") -> None:
        if mark_failed(self.batch, message, why, answer):
            self._tell(self.report.failed, message, answer or render(why))

    def _tell(self, told: list[str], message: Message, answer: str) -> None:
        cover = f", cover {message.cover.number}" if message.cover else ""
        told.append(f"{message.customer.name}{cover}: {answer}")
