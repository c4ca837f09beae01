"""Ends writing to an address that mail bounces from or whose owner complained, and lifts that by a person's word."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from notifications.enums import Channel, MessageStatus, SuppressionReason
from notifications.mail.bounces import MailReport, read_reports
from notifications.models import Message, Suppression
from treatments.event_log import Happening, record_events
from treatments.models import Customer, User
from treatments.rules.explanation import explain, to_json

# A report that names no mail is believed about an address that was written to lately, and about no other.
BELIEVED_FOR = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class ReportsTaken:
    """What a mail of reports came to.

    Attributes:
        suppressed: addresses that are not written to any more since.
        failed: messages that did not arrive.
        unknown: reports of which no message of ours is known.
    """

    suppressed: int = 0
    failed: int = 0
    unknown: int = 0

    def __add__(self, other: "ReportsTaken") -> "ReportsTaken":
        return ReportsTaken(
            self.suppressed + other.suppressed, self.failed + other.failed, self.unknown + other.unknown
        )


def take_reports(raw: bytes, *, now: datetime) -> ReportsTaken:
    """Take in a mail that reports of ours; read twice, it changes nothing more.

    Args:
        raw: the mail as it came in.
    """
    taken = ReportsTaken()
    for report in read_reports(raw):
        taken += _take(report, now)
    return taken


@transaction.atomic
def _take(report: MailReport, now: datetime) -> ReportsTaken:
    message = _find_message(report, now)
    if message is None:
        return ReportsTaken(unknown=1)
    failed = 0
    if report.reason is SuppressionReason.BOUNCED:
        failed = _mark_bounced(message, report, now)
    if not report.is_for_good:
        return ReportsTaken(failed=failed)
    # A report that is read again does not undo what a person lifted since.
    again = Suppression.objects.filter(
        channel=message.channel, address=message.address, created_at__gte=message.sent_at
    )
    if again.exists():
        return ReportsTaken(failed=failed)
    suppressed = suppress_address(Channel(message.channel), message.address, report.reason, _describe(report), now=now)
    return ReportsTaken(int(suppressed), failed)


def _find_message(report: MailReport, now: datetime) -> Message | None:
    """Return which message a report is about: by its reference, else the last one to the address."""
    mails = Message.objects.select_for_update().filter(channel=Channel.EMAIL, sent_at__isnull=False)
    if report.reference is not None:
        return mails.filter(reference=report.reference).first()
    for address in report.addresses:
        lately = mails.filter(address__iexact=address, sent_at__gte=now - BELIEVED_FOR)
        found = lately.order_by("-sent_at", "-pk").first()
        if found is not None:
            return found
    return None


def _mark_bounced(message: Message, report: MailReport, now: datetime) -> int:
    sent = Message.objects.filter(pk=message.pk, status=MessageStatus.SENT)
    why = explain("message.bounced" if report.is_for_good else "message.not_delivered")
    changed = sent.update(status=MessageStatus.FAILED, why=to_json(why), last_error=_describe(report))
    if changed:
        after = {"customer": message.customer_id, "kind": message.kind}
        record_events([Happening("message.bounced", "message", str(message.pk), after=after)], actor=None, now=now)
    return changed


def _describe(report: MailReport) -> str:
    # Servers often say the code themselves.
    told = report.detail if report.status in report.detail else f"{report.status} {report.detail}"
    return told.strip()[:300]


@transaction.atomic
def suppress_address(channel: Channel, address: str, reason: SuppressionReason, detail: str, *, now: datetime) -> bool:
    """Write to an address no more; True where this call ended it.

    Args:
        detail: what the server said.
    """
    _row, is_new = Suppression.objects.get_or_create(
        channel=channel, address=address, lifted_at=None,
        defaults={"reason": reason, "detail": detail[:300], "created_at": now},
    )  # fmt: skip
    if is_new:
        _record("customer.address_suppressed", channel, address, actor=None, now=now)
    return is_new


@transaction.atomic
def lift_suppression(*, suppression: Suppression, actor: User, now: datetime) -> bool:
    """Write to an address again, since a person says that it takes mail; True where this call lifted it."""
    lifted = Suppression.objects.filter(pk=suppression.pk, lifted_at__isnull=True).update(lifted_at=now)
    if lifted:
        channel = Channel(suppression.channel)
        _record("customer.suppression_lifted", channel, suppression.address, actor=actor, now=now)
    return bool(lifted)


def _record(kind: str, channel: Channel, address: str, *, actor: User | None, now: datetime) -> None:
    """Record for each customer of an address what became of it; the address itself is in no event."""
    column = "phone" if channel is Channel.TEXT else "email"
    customers = Customer.objects.filter(**{f"{column}__iexact": address}).order_by("pk")
    record_events(
        [Happening(kind, "customer", str(key), after={}) for key in customers.values_list("pk", flat=True)],
        actor=actor, now=now,
    )  # fmt: skip
