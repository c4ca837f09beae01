"""Reads what mail systems report of a mail: that it was not delivered (RFC 3464), or that its receiver complained of it
(RFC 5965). Which mail it was is read from its Message-ID, which holds the message's reference.
"""

import re
import uuid
from dataclasses import dataclass
from email import message_from_bytes
from email.message import Message as Part
from email.policy import compat32
from email.utils import parseaddr

from notifications.enums import SuppressionReason

# RFC 3463. The address is bad for good: no such mailbox (X.1.x), disabled (X.2.1), or no such host (X.4.4).
BAD_ADDRESS = re.compile(r"5\.(1\.\d{1,3}|2\.1|4\.4)")
# Of these, the sender's own address is bad.
BAD_SENDER = frozenset({"5.1.7", "5.1.8"})
STATUS = re.compile(r"\b[245]\.\d{1,3}\.\d{1,3}\b")
FAILED = "failed"
# Other feedback is no complaint: that it is not spam after all, or what the mail systems tell each other.
COMPLAINTS = frozenset({"abuse", "fraud", "opt-out", "opt-out-list", "other"})
REFERENCE = re.compile(r"<([0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12})@", re.IGNORECASE)
MOST_OF_A_DETAIL = 300
# Nobody nests them deeper; a mail that does is not read on.
MOST_PARTS = 200


@dataclass(frozen=True, slots=True)
class MailReport:
    """What is reported of one mail to one address.

    Attributes:
        addresses: those that it may be about, as the report writes them.
        status: the enhanced code (RFC 3463) of a bounce, '' of a complaint.
        detail: what the mail server said.
        is_for_good: whether the address is not to be written to any more.
        reference: that of the message; None where the report does not say which mail it was.
    """

    reason: SuppressionReason
    addresses: tuple[str, ...]
    status: str
    detail: str
    is_for_good: bool
    reference: uuid.UUID | None


def read_reports(raw: bytes) -> list[MailReport]:
    """Return what a mail reports, one for each address; none where it is no report or none that ends anything.

    Args:
        raw: the mail as it came in, whatever it is.
    """
    mail = message_from_bytes(raw, policy=compat32)
    parts = [part for _number, part in zip(range(MOST_PARTS), mail.walk(), strict=False)]
    reference = _find_reference(parts)
    reports = []
    for part in parts:
        kind = part.get_content_type()
        if kind == "message/delivery-status":
            reports += _read_delivery_status(part, reference)
        elif kind == "message/feedback-report":
            reports += _read_feedback(part, reference)
    return reports


def _find_reference(parts: list[Part]) -> uuid.UUID | None:
    """Return the reference in the Message-ID of the mail that comes back; the report's own is another."""
    for part in parts[1:]:
        kind = part.get_content_type()
        returned = str(part.get("Message-ID", ""))
        if kind == "text/rfc822-headers":
            content = part.get_payload(decode=True)
            text = content.decode("utf-8", "replace") if isinstance(content, bytes) else ""
            returned = next(iter(re.findall(r"^message-id:\s*(.*)$", text, re.IGNORECASE | re.MULTILINE)), "")
        found = REFERENCE.search(returned)
        if found:
            return uuid.UUID(found[1])
    return None


def _read_delivery_status(part: Part, reference: uuid.UUID | None) -> list[MailReport]:
    blocks = part.get_payload()
    reports = []
    for block in blocks if isinstance(blocks, list) else []:
        # The first block is of the whole report and has no receiver.
        if not isinstance(block, Part) or _read_field(block, "Action").lower() != FAILED:
            continue
        detail = _read_typed(block, "Diagnostic-Code")
        status = next(iter(STATUS.findall(_read_field(block, "Status")) or STATUS.findall(detail)), "")
        addresses = tuple(
            dict.fromkeys(
                address
                for name in ("Original-Recipient", "Final-Recipient")
                if (address := parseaddr(_read_typed(block, name))[1])
            )
        )
        for_good = BAD_ADDRESS.fullmatch(status) is not None and status not in BAD_SENDER
        reports.append(MailReport(SuppressionReason.BOUNCED, addresses, status, detail, for_good, reference))
    return reports


def _read_feedback(part: Part, reference: uuid.UUID | None) -> list[MailReport]:
    held = part.get_payload()
    fields = held[0] if isinstance(held, list) and held else part
    if not isinstance(fields, Part) or _read_field(fields, "Feedback-Type").lower() not in COMPLAINTS:
        return []
    wanted = [str(value) for value in fields.get_all("Original-Rcpt-To", [])]
    addresses = tuple(dict.fromkeys(address for value in wanted if (address := parseaddr(value)[1])))
    kind = _read_field(fields, "Feedback-Type")
    return [MailReport(SuppressionReason.COMPLAINED, addresses, "", kind, True, reference)]


def _read_field(block: Part, name: str) -> str:
    return " ".join(str(block.get(name, "")).split())[:MOST_OF_A_DETAIL]


def _read_typed(block: Part, name: str) -> str:
    """Return the value of a field that names its type first, as in ``rfc822; lena@example.org``."""
    kind, separator, value = _read_field(block, name).partition(";")
    return value.strip() if separator else kind.strip()
