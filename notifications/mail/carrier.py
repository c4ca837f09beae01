"""Carries e-mails over one connection of Django's mail backend, and reads what a mail server's answers mean.

The codes are those of RFC 5321, the enhanced ones those of RFC 3463.
"""

import smtplib
from contextlib import suppress
from email.utils import parseaddr
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage, get_connection
from django.core.validators import validate_email

from notifications.mail.mailing import make_email
from notifications.models import Message
from notifications.outbox.carriers import (
    BrokenOffError,
    CarrierError,
    PolicyRefusalError,
    PutOffError,
    RefusedForGoodError,
    ServerFaultError,
    describe_error,
)
from treatments.rules.explanation import explain

# The server closes: at any stage it says nothing about the message (RFC 5321, 3.8).
CLOSING = 421
# The server's answer to the size that MAIL FROM announces is about the message.
TOO_LARGE = 552
# RFC 3463: X.7.x is the server's policy, which may be against the shop and not against the address.
POLICY = b"5.7."


class EmailCarrier:
    """A connection to the mail server, opened at the first message."""

    def __init__(self) -> None:
        self._connection: Any = get_connection()
        self.carried = 0

    def open(self) -> None:
        """Connect and log in, unless that is done."""
        try:
            validate_email(parseaddr(settings.DEFAULT_FROM_EMAIL)[1])
        except ValidationError:
            raise ServerFaultError("DEFAULT_FROM_EMAIL is no address to send from.") from None
        try:
            self._connection.open()
        except (OSError, smtplib.SMTPException) as error:
            self.close()
            raise ServerFaultError(describe_error(error)) from error

    def prepare(self, message: Message) -> EmailMessage:
        """Return the mail of a message."""
        try:
            validate_email(message.address)
            message.address.rpartition("@")[2].encode("idna")
        except (ValidationError, UnicodeError):
            raise RefusedForGoodError("", explain("message.no_address")) from None
        if any(sign in message.subject for sign in "\r\n"):
            raise RefusedForGoodError("", explain("message.line_break_in_subject"))
        return make_email(message)

    def send(self, prepared: EmailMessage) -> None:
        """Hand a mail to the server."""
        try:
            self._connection.send_messages([prepared])
            self.carried += 1
        except (smtplib.SMTPException, OSError) as error:
            raise read_smtp_error(error) from error

    def close(self) -> None:
        """Hang up, also where the server did so first."""
        self.carried = 0
        # Django's backend forgets the connection all the same.
        with suppress(OSError, smtplib.SMTPException):
            self._connection.close()


def read_smtp_error(error: Exception) -> CarrierError:
    """Return what a failure at one mail means."""
    match error:
        case smtplib.SMTPRecipientsRefused():
            # Each mail has one receiver.
            code, answer = next(iter(error.recipients.values()))
            return _read_answer(code, answer, explain("message.address_refused"))
        case smtplib.SMTPDataError():
            return _read_answer(error.smtp_code, error.smtp_error, explain("message.refused"))
        case smtplib.SMTPSenderRefused(smtp_code=code) if code == TOO_LARGE:
            return _read_answer(code, error.smtp_error, explain("message.refused"))
        case smtplib.SMTPSenderRefused(smtp_code=code) if code != CLOSING:
            # It lets the shop send nothing to anybody.
            return ServerFaultError(_describe(code, error.smtp_error))
        case smtplib.SMTPResponseException(smtp_code=code) if code != CLOSING:
            return ServerFaultError(_describe(code, error.smtp_error))
        case smtplib.SMTPNotSupportedError():
            # An address with signs that this server's mail can't hold.
            return RefusedForGoodError(describe_error(error), explain("message.address_refused"))
    return BrokenOffError(describe_error(error))


def _read_answer(code: int, answer: bytes | str, for_good: Any) -> CarrierError:
    said = _describe(code, answer)
    if code == CLOSING:
        return BrokenOffError(said)
    if code < 500:
        return PutOffError(said)
    if POLICY in (answer if isinstance(answer, bytes) else answer.encode()):
        return PolicyRefusalError(said)
    return RefusedForGoodError(said, for_good)


def _describe(code: int, answer: bytes | str) -> str:
    text = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
    return " ".join(f"{code} {text}".split())[:300]
